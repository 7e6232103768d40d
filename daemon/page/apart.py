"""What takes long or much memory, done by a command of ours in a process of its own, one at a time.

The rule of this file: no word of a command is of a request, and one that takes too long ends, as does the one that runs when
the page ends.
"""

import logging
import subprocess
import sys
from typing import Final

from wardian.daemon.config import Config

log = logging.getLogger(__name__)

#: A small board may need a minute.
LONGEST_S: Final = 90.0


class Apart:
    """Runs commands about the bench of a configuration, as its file says at that time."""

    def __init__(self, config: Config) -> None:
        self._file = config.document.file
        self._running: subprocess.Popen[bytes] | None = None
        self._is_stopped = False

    def told_by(self, *words: str) -> str | None:
        """Return what a command printed, None where it failed or took too long."""
        command = [sys.executable, "-m", "wardian.daemon.cli", *words, "--config", self._file]
        try:
            told = self._output(command)
        except (OSError, subprocess.SubprocessError) as error:
            why = type(error).__name__
            log.warning("command for the page failed", extra={"words": " ".join(words[:2]), "why": why})
            return None
        return told.decode(errors="replace")

    def _output(self, command: list[str]) -> bytes:
        with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as running:  # noqa: S603  # our own program
            self._running = running
            try:
                if self._is_stopped:
                    running.kill()
                told, _ = running.communicate(timeout=LONGEST_S)
            finally:
                running.kill()
                self._running = None
        if running.returncode:
            raise subprocess.CalledProcessError(running.returncode, command)
        return told

    def stop(self) -> None:
        """End what runs, and begin nothing more."""
        self._is_stopped = True
        running = self._running
        if running:
            running.kill()
