"""How the last run ended, where it did not end as it was told to: kept in a small file for the next start.

The rule of this file: it never raises, and it needs no room on a full disk once it is there. It lies beside the
database and in the folder that a service manager gives us, as one of them may be what failed.
"""

import contextlib
import json
import os
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Final

_NAME: Final = "last-end"


@dataclass(frozen=True, slots=True)
class End:
    """When it ended and why, in words; when channels were told last that nobody watches, if ever.

    ``is_news``: no later run has told of it.
    """

    ended_ms: int
    why: str
    told_ms: int | None = None
    is_news: bool = True


def places(database: Path | None) -> list[Path]:
    """Return where it is kept."""
    given = os.environ.get("RUNTIME_DIRECTORY", "").partition(":")[0]
    found = [Path(given) / _NAME] if given else []
    return [*found, Path(f"{database}-{_NAME}")] if database else found


def last_end(places: Iterable[Path]) -> End | None:
    """Return how the last run ended, None where that was as it should be."""
    found = [end for place in places if (end := _read(place)) is not None]
    return max(found, key=lambda end: end.ended_ms, default=None)


def note_end(places: Iterable[Path], end: End) -> None:
    """Keep it, wherever it can be."""
    text = json.dumps(asdict(end)).encode()
    for place in places:
        with contextlib.suppress(OSError):
            descriptor = os.open(place, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o600)
            try:
                # Where there is no room for a word, the time of the file itself tells that it was told.
                os.utime(descriptor, ns=(end.ended_ms * 1_000_000,) * 2)
                os.pwrite(descriptor, text, 0)
                os.ftruncate(descriptor, len(text))
            finally:
                os.close(descriptor)


def _read(place: Path) -> End | None:
    try:
        text, changed_ms = place.read_bytes(), place.stat().st_mtime_ns // 1_000_000
    except OSError:
        return None
    try:
        return End(**json.loads(text))
    except (ValueError, TypeError):
        return End(changed_ms, "", changed_ms)
