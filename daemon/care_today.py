"""What is due at each tray on a local date, by its plan, what people put on record, and what its traces showed.

The rule of this file: what shows in the traces is known from the daemon alone, which leaves it in a note.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from typing import Any, Final, NamedTuple

from wardian.daemon.beside import Extra
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.lives import Lives
from wardian.rules.care_given import Given, cares_of, found_roots_ms
from wardian.rules.care_plan import Task, Tended, tasks_of
from wardian.rules.crops import day_of, day_start_ms, stage_at
from wardian.rules.observing.looks import Care
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.records import CLOSED, MASSES, SCORES, Record, in_force

#: The note that says what care showed in the traces: by tray a list of events, each with its beginning.
NOTE: Final = "care_seen"

Seen = Mapping[str, Sequence[tuple[str, int]]]


class TrayCare(NamedTuple):
    """One tray on one date: what it is then, and its tasks."""

    tray: TraySettings
    day: int
    stage: str | None
    tasks: Sequence[Task]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of the care of all trays: their plans, what is in force by tray, and what showed."""

    plans: Mapping[str, TrayPlan]
    records: Mapping[str, Sequence[Record]]
    seen: Seen


def by_tray(records: Iterable[Record]) -> dict[str, list[Record]]:
    """Return the records in force by tray, in order of time."""
    found: dict[str, list[Record]] = {}
    for one in in_force(records):
        found.setdefault(one.tray, []).append(one)
    return found


def today(now_ms: int, zone: tzinfo) -> date:
    """Return the local date that an instant belongs to."""
    epoch = date(1970, 1, 1)
    return epoch + timedelta(days=day_of(epoch, zone, now_ms))


def care_of(config: Config, known: Known, day: date) -> list[TrayCare]:
    """Return what is to be done at each tray on a local date."""
    return [_tray_care(config, known, tray, day) for tray in config.trays]


def _tray_care(config: Config, known: Known, tray: TraySettings, day: date) -> TrayCare:
    plan = known.plans[tray.name]
    begin_ms = day_start_ms(tray.stuck, config.site.zone)
    own = [one for one in known.records.get(tray.name, ()) if one.time_ms >= begin_ms]
    seen = [Given(event, from_ms, is_recorded=False) for event, from_ms in known.seen.get(tray.name, ())]
    tended = _tended(tray, plan, own, [one for one in seen if one.from_ms >= begin_ms], config.site.zone)
    tasks = tasks_of(tended, day, config.care.rounds)
    at_ms = tasks[0].at_ms if tasks else day_start_ms(day, config.site.zone)
    stage = stage_at(plan.spans, at_ms)
    return TrayCare(tray, (day - tray.stuck).days, stage.name if stage else None, tasks)


def _tended(
    tray: TraySettings, plan: TrayPlan, own: Sequence[Record], seen: Iterable[Given], zone: tzinfo
) -> Tended:
    recorded = cares_of(own)
    times = {kind: [one.time_ms for one in own if one.kind == kind] for kind in (MASSES, SCORES, CLOSED)}
    return Tended(
        crop=tray.crop,
        stuck=tray.stuck,
        zone=zone,
        spans=plan.spans,
        given=sorted([*recorded, *seen], key=lambda one: one.from_ms),
        has_balance="tray_mass" in plan.silent_after_ms,
        weighed_ms=min(times[MASSES], default=None),
        scored_ms=times[SCORES],
        rooted_ms=found_roots_ms(recorded),
        closed_ms=min(times[CLOSED], default=None),
    )


def seen_in(observer: Observer) -> dict[str, list[tuple[str, int]]]:
    """Return the care that shows in the traces of each tray and was not recorded."""
    return {name: _unrecorded(tray.care.events) for name, tray in observer.trays.items()}


def _unrecorded(events: Iterable[Care]) -> list[tuple[str, int]]:
    return [(one.event, one.from_ms) for one in events if not one.is_recorded]


class CareSeenNoted:
    """Takes part in the rounds: leaves a note of the care that shows in the traces, whenever there is more of it."""

    def __init__(self, observer: Observer, notes: Mapping[str, Any]) -> None:
        """Go on from the notes of an earlier run."""
        self._observer = observer
        self._noted = seen_of(notes)

    def work(self, _now_ms: int, _lives: Lives) -> Extra:
        """Return the note where it changed."""
        seen = {name: events for name, events in seen_in(self._observer).items() if events}
        if seen == self._noted:
            return Extra()
        self._noted = seen
        return Extra(notes={NOTE: seen})

    def committed(self) -> None:
        """Do nothing: a note waits for nothing."""


def seen_of(notes: Mapping[str, Any]) -> dict[str, list[tuple[str, int]]]:
    """Return the care that showed in the traces by the notes of a store."""
    return {
        name: [(event, from_ms) for event, from_ms in events] for name, events in notes.get(NOTE, {}).items()
    }
