"""The program's own log: plain lines to standard error, an event phrase and its fields.

The rule of this file: nothing outside can break a line in two, and a log that cannot be written
stops nothing.
"""

import logging
import sys
from typing import Final

_STANDARD: Final = frozenset(logging.makeLogRecord({}).__dict__) | {"message", "asctime", "taskName"}


class _Lines(logging.Formatter):
    """``WARNING store cannot keep readings: why=the disk is full``."""

    def format(self, record: logging.LogRecord) -> str:
        fields = [f"{name}={value}" for name, value in record.__dict__.items() if name not in _STANDARD]
        line = f"{record.levelname} {record.getMessage()}" + (f": {', '.join(fields)}" if fields else "")
        line = "".join(letter if letter.isprintable() else ascii(letter)[1:-1] for letter in line)
        return f"{line}\n{self.formatException(record.exc_info)}" if record.exc_info else line


def begin(level: int = logging.INFO) -> None:
    """Send the log to standard error; times are the service manager's business."""
    logging.raiseExceptions = False
    handler = logging.StreamHandler(sys.stderr)
    handler.setFormatter(_Lines())
    root = logging.getLogger()
    root.handlers[:] = [handler]
    root.setLevel(logging.WARNING)
    logging.getLogger("wardian").setLevel(level)
