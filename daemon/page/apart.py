"""What takes long or much memory, done by a command of ours in a process of its own.

The rule of this file: no word of a command is of a request, and one that takes too long ends.
"""

import logging
import subprocess
import sys
from typing import Final

from wardian.daemon.config import Config

log = logging.getLogger(__name__)

#: A small board may need a minute.
LONGEST_S: Final = 90.0


def told_by(config: Config, *words: str) -> str | None:
    """Return what a command printed about the bench of a configuration, as its file says now; None where it failed."""
    command = [sys.executable, "-m", "wardian.daemon.cli", *words, "--config", config.document.file]
    try:
        done = subprocess.run(command, check=True, capture_output=True, timeout=LONGEST_S)  # noqa: S603  # our own program
    except (OSError, subprocess.SubprocessError) as error:
        log.warning(
            "command for the page failed", extra={"words": " ".join(words[:2]), "why": type(error).__name__}
        )
        return None
    return done.stdout.decode(errors="replace")
