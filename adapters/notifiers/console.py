"""Messages to the terminal or the service manager's journal, by standard error.

Needs nothing. Every error may heal.
"""

import sys
from dataclasses import dataclass
from typing import TextIO

from wardian.adapters.outgoing import harmless, one_line
from wardian.rules.errors import DeliveryFailed
from wardian.rules.ports import Message


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
            stream.write(_fitting(_block(message), stream))
            stream.flush()
        except (OSError, ValueError) as error:
            raise DeliveryFailed(self.name, f"standard error takes nothing: {error}") from error

    def close(self) -> None:
        """Leave standard error open: it is not ours."""


def _block(message: Message) -> str:
    inner = [*harmless(message.body).split("\n"), f"(message {one_line(message.key)})"]
    return "\n".join([one_line(message.subject), *(f"  {line}".rstrip() for line in inner)]) + "\n"


def _fitting(text: str, stream: TextIO) -> str:
    """Return the text with what the stream's encoding lacks written out."""
    encoding = stream.encoding or "utf-8"
    return text.encode(encoding, "backslashreplace").decode(encoding)
