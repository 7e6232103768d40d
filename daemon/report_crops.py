"""What ``wardian crops`` prints: crops in a line each, one in full with its sources, and what a configuration changes."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from wardian.daemon.config_crops import Grown
from wardian.daemon.crop_library import CropLibrary, LibraryCrop
from wardian.daemon.crop_values import NOTES, STAGES
from wardian.daemon.crops_in_force import WAITING, Change, CropValue
from wardian.rules.crops import Crop
from wardian.rules.documents import dotted


def listed(name: str, crop: Crop, about: LibraryCrop | None, like: str) -> dict[str, Any]:
    """Return one crop in few words, for programs."""
    return {
        "crop": name,
        "group": about.group if about else None,
        "like": like or None,
        "botanical": about.botanical if about else None,
        "cutting": about.cutting if about else None,
        "roots_days": list(crop.roots_days) if crop.roots_days else None,
        "due": crop.due_day,
    }


def listed_lines(rows: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield a line for each crop."""
    width = max(len(row["crop"]) for row in rows)
    for row in rows:
        roots = row["roots_days"]
        told = [
            row["group"] or (f"like {row['like']}" if row["like"] else ""),
            f"roots on days {roots[0]} to {roots[1]}" if roots else "",
            "" if row["due"] is None else f"due on day {row['due']}",
            ", ".join(filter(None, (row["botanical"], row["cutting"]))),
        ]
        yield f"{row['crop']:<{width}}  " + "; ".join(filter(None, told))


def crop_lines(
    title: str, values: Sequence[CropValue], file: str, *, fahrenheit: bool = False
) -> Iterator[str]:
    """Yield a crop in full, as whoever reads it is used to temperatures; a number in brackets names the mark, or the place in the file, that stands at the end.

    Deadbands and delays that nobody wrote are those of every crop and are left out.
    """
    marks: dict[str, int] = {}
    lines: dict[tuple[str, ...], list[str]] = {}
    for one in values:
        if one.path[-1] in WAITING and one.line is None:
            continue
        source = one.mark if one.line is None else f"{file}:{one.line}"
        number = marks.setdefault(source, len(marks) + 1)
        head, words = _words(one._replace(text=_in_fahrenheit(one)) if fahrenheit else one)
        lines.setdefault(head, []).append(f"{words} [{number}]")
    yield title
    stage = ""
    for head, told in lines.items():
        if len(head) > 1 and head[0] != stage:
            stage = head[0]
            yield f"  {stage}"
        yield f"{'  ' * len(head)}{head[-1]}: {', '.join(told)}"
    yield ""
    yield from (f"[{number}] {mark}" for mark, number in marks.items())


def _in_fahrenheit(one: CropValue) -> str:
    """Return a value as its reader knows it; what somebody wrote in °F stays as it is."""
    if one.number is None or not one.text.endswith("°C"):
        return one.text
    return f"{one.number * 9 / 5 + 32:g} °F"


def _words(one: CropValue) -> tuple[tuple[str, ...], str]:
    """Return the headings of the line on which a value stands, the stage first, and the value."""
    if one.path[0] == NOTES:
        return (f"note {int(one.path[1]) + 1}",), one.text
    steps = [str(step) for step in one.path]
    if steps[0] != STAGES:
        return (steps[0],), one.text
    if len(steps) == 3:
        return (steps[1], steps[2]), one.text
    return (steps[1], f"{steps[3]} {steps[2]}"), f"{steps[4]} {one.text}"


def margin_lines(known: CropLibrary) -> Iterator[str]:
    """Yield how far outside the aims the limits of the library stand, and why."""
    yield "Limits of the library that are not written out stand outside the aim"
    for quantity, reasoned in known.margins.items():
        yield f"  of {quantity} by {reasoned.text}: {reasoned}"


def change_lines(name: str, grown: Grown, changed: Sequence[Change], file: str) -> Iterator[str]:
    """Yield what a configuration has otherwise in one crop."""
    after = grown.like or name
    stages = ", with stages of its own" if grown.is_listed else ""
    yield f"{name}, beside {after}{stages}:"
    for one in changed:
        where = f"  ({file}:{one.line})" if one.line else ""
        yield f"  {dotted(one.path)}: {one.there or 'nothing'} -> {one.here or 'nothing'}{where}"
    if not changed:
        yield "  nothing is otherwise"
