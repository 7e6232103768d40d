"""What happened to the store, in words for people."""

from collections.abc import Callable

from wardian.rules.kept import Mended

_LONGEST = 160
Moment = Callable[[int], str]


def mended_words(mended: Mended, moment: Moment) -> str:
    """Return one sentence about what was wrong with the database and what became of it."""
    why = shortened(mended.why)
    if mended.what == "missing log":
        return f"{why}: what was written last before the program ended may be missing"
    if mended.what == "log":
        return f"{why}; it was put aside as {mended.aside}, and what was written last may be missing"
    if mended.what == "hours":
        return f"{why}; they were put aside into {mended.aside} and read as unknown now"
    what_now = (
        "a new database was begun, as there is no whole backup"
        if mended.backup_ms is None
        else f"the backup of {moment(mended.backup_ms)} was taken in, and what came after it is missing"
    )
    return f"the database was damaged ({why}); it was put aside as {mended.aside}; {what_now}"


def shortened(why: str) -> str:
    """Return what a library says in one line that is not too long."""
    line = " ".join(why.split())
    return line if len(line) <= _LONGEST else f"{line[:_LONGEST]}…"
