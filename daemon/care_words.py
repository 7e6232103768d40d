"""The care of a day in words: what is due at each tray in a line, and once below what each task asks for."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any, Final

from wardian.daemon.care_today import TrayCare
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.care_advice import TITLES
from wardian.rules.care_plan import Task

DONE: Final = "done"
DUE: Final = "due"
LATER: Final = "later"
LEFT_OUT: Final = "left out"
#: So many trays are named one by one.
_NAMED: Final = 8


def state_of(task: Task, now_ms: int) -> str:
    """Return what has become of a task by an instant."""
    if task.done_ms is not None and task.done_ms <= now_ms:
        return DONE
    if now_ms < task.from_ms:
        return LATER
    return DUE if now_ms < task.to_ms else LEFT_OUT


def now_lines(trays: Sequence[TrayCare], tongue: Tongue, now_ms: int) -> Iterator[str]:
    """Yield what is due now at each tray, what comes next today, and what was left out."""
    due = [(one, task) for one in trays for task in one.tasks if state_of(task, now_ms) == DUE]
    for one in trays:
        yield ""
        yield heading(one)
        yield from (f"  {line}" for line in _now_of(one, tongue, now_ms))
    yield from below(due, tongue)


def _now_of(one: TrayCare, tongue: Tongue, now_ms: int) -> Iterator[str]:
    by_state: dict[str, list[Task]] = {}
    for task in one.tasks:
        by_state.setdefault(state_of(task, now_ms), []).append(task)
    due = [TITLES[task.name] for task in by_state.get(DUE, ())]
    yield f"now       {', '.join(due)}" if due else "nothing is due now"
    for state, label in ((LATER, "next"), (LEFT_OUT, "left out")):
        if state in by_state:
            yield f"{label:<10}{_by_time(by_state[state], tongue)}"


def _by_time(tasks: Iterable[Task], tongue: Tongue) -> str:
    times: dict[str, list[str]] = {}
    for task in tasks:
        times.setdefault(clock(tongue, task.at_ms), []).append(TITLES[task.name])
    return "; ".join(f"{at} {', '.join(titles)}" for at, titles in times.items())


def day_lines(trays: Sequence[TrayCare], tongue: Tongue, now_ms: int) -> Iterator[str]:
    """Yield the plan of a whole day, tray by tray, with what of it was done."""
    for one in trays:
        yield ""
        yield heading(one)
        for task in one.tasks:
            state = state_of(task, now_ms)
            more = "" if state == LATER else f" ({state})"
            yield f"  {clock(tongue, task.at_ms)}  {TITLES[task.name]}{more}"
        if not one.tasks:
            yield "  nothing is planned"
    yield from below([(one, task) for one in trays for task in one.tasks], tongue)


def heading(one: TrayCare) -> str:
    """Return what a tray is on that day."""
    if one.day < 0:
        return f"{one.tray.name}: {one.tray.crop.name}, before sticking"
    stage = f", {one.stage}" if one.stage else ""
    return f"{one.tray.name}: {one.tray.crop.name}, day {one.day}{stage}"


def below(tasks: Sequence[tuple[TrayCare, Task]], tongue: Tongue) -> Iterator[str]:
    """Yield what each task asks for, once for all trays that it asks the same of, and what to mind."""
    asked: dict[str, dict[str, list[str]]] = {}
    cautions: dict[str, None] = {}
    for one, task in tasks:
        words = tongue.evidence(task.advice.words)
        names = asked.setdefault(TITLES[task.name], {}).setdefault(words, [])
        if one.tray.name not in names:
            names.append(one.tray.name)
        if task.advice.caution.words:
            cautions[tongue.evidence(task.advice.caution)] = None
    if asked:
        yield ""
    for title, by_words in asked.items():
        for words, names in by_words.items():
            yield f"{title}{f' ({named(names)})' if len(by_words) > 1 else ''}: {words}."
    yield from (f"Mind: {caution}." for caution in cautions)


def named(names: Sequence[str]) -> str:
    """Return the names of trays, of many the first ones alone."""
    more = f" and {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return ", ".join(names[:_NAMED]) + more


def clock(tongue: Tongue, time_ms: int) -> str:
    """Return what the clock on the wall shows at an instant."""
    return tongue.moment(time_ms).rpartition(" ")[2]


def care_json(trays: Sequence[TrayCare], tongue: Tongue, day: date, now_ms: int) -> dict[str, Any]:
    """Return the same for programs."""
    return {
        "time": utc_text(now_ms),
        "date": day.isoformat(),
        "trays": [
            {
                "name": one.tray.name,
                "crop": one.tray.crop.name,
                "day": one.day,
                "stage": one.stage,
                "tasks": [task_json(task, tongue, now_ms) for task in one.tasks],
            }
            for one in trays
        ],
    }


def task_json(task: Task, tongue: Tongue, now_ms: int) -> Mapping[str, Any]:
    """Return one task for programs."""
    return {
        "task": task.name,
        "title": TITLES[task.name],
        "words": tongue.evidence(task.advice.words),
        "caution": tongue.evidence(task.advice.caution) or None,
        "source": task.advice.source,
        "date": task.day.isoformat(),
        "number": task.number,
        "at": utc_text(task.at_ms),
        "from": utc_text(task.from_ms),
        "to": utc_text(task.to_ms),
        "state": state_of(task, now_ms),
        "done_at": None if task.done_ms is None else utc_text(task.done_ms),
    }
