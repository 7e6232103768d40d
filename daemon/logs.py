"""The program's own log: lines to standard error, an event phrase and its fields.

The rule of this file: nothing outside can break a line in two, and a log that cannot be written
stops nothing: what finds no room at once is left out and counted.
"""

import logging
import os
import select
import sys
from collections.abc import Mapping
from contextlib import suppress
from typing import Final

_STANDARD: Final = frozenset(logging.makeLogRecord({}).__dict__) | {"message", "asctime", "taskName"}
#: What a journal calls each level (sd-daemon(3); the numbers are those of syslog, RFC 5424, 6.2.1).
_PRIORITIES: Final = {logging.CRITICAL: 2, logging.ERROR: 3, logging.WARNING: 4, logging.INFO: 6}
_DEBUG_PRIORITY: Final = 7
#: A pipe that can be written takes at least so much at once (PIPE_BUF of Linux, pipe(7)). [bytes]
_AT_ONCE_BYTES: Final = 4096
#: No entry is longer: of a long traceback the end is what matters. [bytes]
_MOST_BYTES: Final = 32 * 1024
_CUT: Final = "…\n".encode()


class _Lines(logging.Formatter):
    """``WARNING store cannot keep readings: why=the disk is full``, for a journal with a priority before each line."""

    def __init__(self, *, is_for_journal: bool) -> None:
        super().__init__()
        self._is_for_journal = is_for_journal

    def format(self, record: logging.LogRecord) -> str:
        fields = [f"{name}={value}" for name, value in record.__dict__.items() if name not in _STANDARD]
        line = f"{record.levelname} {record.getMessage()}" + (f": {', '.join(fields)}" if fields else "")
        line = "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in line)
        text = f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line
        if not self._is_for_journal:
            return text
        priority = _PRIORITIES.get(record.levelno, _DEBUG_PRIORITY)
        return "\n".join(f"<{priority}>{one}" for one in text.split("\n"))


class BoundedHandler(logging.Handler):
    """Writes to a file descriptor only what it takes at once, and never raises."""

    def __init__(self, descriptor: int) -> None:
        super().__init__()
        self._descriptor = descriptor
        self._poll = select.poll()
        self._poll.register(descriptor, select.POLLOUT)
        self.left_out = 0

    def emit(self, record: logging.LogRecord) -> None:
        """Write one entry, or count it as left out."""
        try:
            if self.left_out and self._write(f"WARNING {self.left_out} entries of the log were left out\n"):
                self.left_out = 0
            if not self._write(f"{self.format(record)}\n"):
                self.left_out += 1
        except Exception:  # noqa: BLE001 - a log that fails must stop nothing
            self.left_out += 1

    def _write(self, text: str) -> bool:
        raw = text.encode("utf-8", "backslashreplace")
        if len(raw) > _MOST_BYTES:
            raw = raw[: _MOST_BYTES // 2] + _CUT + raw[-_MOST_BYTES // 2 :]
        while raw:
            if not self._can_be_written():
                return False
            raw = raw[os.write(self._descriptor, raw[:_AT_ONCE_BYTES]) :]
        return True

    def _can_be_written(self) -> bool:
        return any(event & select.POLLOUT for _, event in self._poll.poll(0))


def begin(level: int = logging.INFO) -> None:
    """Send the log to standard error; times are the service manager's business."""
    logging.raiseExceptions = False
    descriptor = _standard_error()
    handler = BoundedHandler(descriptor)
    handler.setFormatter(_Lines(is_for_journal=is_journal(descriptor, os.environ)))
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("wardian").setLevel(level)


def is_journal(descriptor: int, environment: Mapping[str, str]) -> bool:
    """Return whether a descriptor is the journal that ``JOURNAL_STREAM`` names (systemd.exec(5))."""
    with suppress(OSError):
        status = os.fstat(descriptor)
        return environment.get("JOURNAL_STREAM", "") == f"{status.st_dev}:{status.st_ino}"
    return False


def _standard_error() -> int:
    try:
        return sys.stderr.fileno()
    except (AttributeError, OSError, ValueError):  # there is none, or it is no file
        return 2
