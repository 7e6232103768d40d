"""Channels that refuse what they are sent, for good: a target that is gone, an address that is wrong.

The rule of this file: one channel's refusal is told through the others, and is over when it takes something again.
"""

import threading
from typing import Final

from wardian.daemon.own_troubles import OwnTroubles

MESSAGES_REFUSED: Final = "messages-refused"


class RefusingChannels:
    """Hears how each channel answered; safe from any thread."""

    def __init__(self, troubles: OwnTroubles) -> None:
        """Say to these what is wrong."""
        self._troubles = troubles
        self._lock = threading.Lock()
        self._why: dict[str, str] = {}

    def answered(self, channel: str, why: str) -> None:
        """Take an answer of a channel: why it refused a message, or nothing where it took one."""
        with self._lock:
            if self._why.get(channel, "") == why:
                return
            self._why[channel] = why
            refusing = [f"{name} ({why})" for name, why in sorted(self._why.items()) if why]
            if refusing:
                words = f"{', '.join(refusing)} refuses messages, which are not tried again there."
                self._troubles.begin(MESSAGES_REFUSED, words)
            else:
                self._troubles.end(MESSAGES_REFUSED)
