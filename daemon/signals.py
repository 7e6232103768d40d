"""The signals of a running watch: which end it, which it answers, and which mean nothing to it.

The rule of this file: it loads nothing, because it must come before whatever starts a thread.
"""

import os
import signal
from typing import Final

#: Each ends the watch cleanly.
ENDING: Final = frozenset({signal.SIGTERM, signal.SIGINT, signal.SIGQUIT})
#: What the loop's thread sends when it ends by itself; from anybody else it means nothing.
ENDED: Final = signal.SIGUSR1
#: The main thread takes these; the last is asked of many daemons and answered by a line in the log.
TAKEN: Final = ENDING | {ENDED, signal.SIGHUP}
#: Each would end the process without a word.
_MEANINGLESS: Final = (
    signal.SIGUSR2,
    signal.SIGALRM,
    signal.SIGVTALRM,
    signal.SIGPROF,
    signal.SIGIO,
)


def prepare() -> None:
    """Keep signals from whoever is not asked: every thread started later inherits what is blocked here."""
    for meaningless in _MEANINGLESS:
        signal.signal(meaningless, signal.SIG_IGN)
    signal.pthread_sigmask(signal.SIG_BLOCK, TAKEN)


def hold_standard_streams() -> None:
    """Open nothing onto standard streams that are closed: else a database would take their place."""
    for descriptor in (0, 1, 2):
        try:
            os.fstat(descriptor)
        except OSError:
            os.open(os.devnull, os.O_RDWR)
