"""Messages to the terminal or the service manager's journal, by standard error.

Needs nothing. Every error may heal.
"""

import os
import select
import sys
from dataclasses import dataclass
from io import UnsupportedOperation
from typing import Final, TextIO

from wardian.adapters.outgoing import harmless, one_line
from wardian.rules.errors import DeliveryFailed
from wardian.rules.ports import Message

#: How long is waited for whoever reads.
PATIENCE_MS: Final = 5_000
#: A pipe that can be written takes at least so much at once (PIPE_BUF of Linux, pipe(7)).
AT_ONCE_BYTES: Final = 4096


@dataclass(frozen=True, slots=True)
class ConsoleSettings:
    """One console channel."""

    name: str = "console"


class ConsoleNotifier:
    """Writes each message as one block: its subject, then its body and key indented.

    Only a line at the margin begins a message, whatever a name may hold.
    """

    def __init__(self, settings: ConsoleSettings, stream: TextIO | None = None) -> None:
        """Write to ``stream``, or to what is standard error at the time of each message."""
        self.name = settings.name
        self._stream = stream

    def send(self, message: Message) -> None:
        """Write one message at once.

        Raises:
            DeliveryFailed: Standard error is closed or does not take it.
        """
        stream = sys.stderr if self._stream is None else self._stream
        if stream is None:
            raise DeliveryFailed(self.name, "there is no standard error to write to")
        try:
            _write(_fitting(_block(message), stream), stream)
        except (OSError, ValueError) as error:
            raise DeliveryFailed(self.name, f"standard error takes nothing: {error}") from error

    def close(self) -> None:
        """Leave standard error open: it is not ours."""


def _write(text: str, stream: TextIO) -> None:
    """Write to what is behind a stream, without waiting long for a pipe that nobody reads.

    Raises:
        OSError: It is not taken, or not in time; a part may have been.
        ValueError: The stream is closed.
    """
    try:
        descriptor = stream.fileno()
    except UnsupportedOperation:
        stream.write(text)
        stream.flush()
        return
    stream.flush()
    raw, ready = text.encode(stream.encoding or "utf-8"), select.poll()
    ready.register(descriptor, select.POLLOUT)
    while raw:
        if not any(event & select.POLLOUT for _, event in ready.poll(PATIENCE_MS)):
            raise TimeoutError("nobody reads it")
        raw = raw[os.write(descriptor, raw[:AT_ONCE_BYTES]) :]


def _block(message: Message) -> str:
    inner = [*harmless(message.body).split("\n"), f"(message {one_line(message.key)})"]
    return "\n".join([one_line(message.subject), *(f"  {line}".rstrip() for line in inner)]) + "\n"


def _fitting(text: str, stream: TextIO) -> str:
    """Return the text with what the stream's encoding lacks written out."""
    encoding = stream.encoding or "utf-8"
    return text.encode(encoding, "backslashreplace").decode(encoding)
