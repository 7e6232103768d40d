"""What is due at each tray on a local date, by its plan, what people put on record, and what its traces showed.

The rule of this file: it says the same whoever asks, the daemon or a command.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta, tzinfo
from typing import NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.rules.batches import ROOTED
from wardian.rules.care_done import Tended
from wardian.rules.care_given import Given, cares_of, found_roots_ms
from wardian.rules.care_plan import Task, tasks_of
from wardian.rules.crops import day_of, day_start_ms, stage_at
from wardian.rules.plans import TrayPlan
from wardian.rules.records import BATCH, CLOSED, MASSES, SCORES, Record, in_force


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
    seen: Mapping[str, Sequence[tuple[str, int]]]


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
    times = {kind: [one.time_ms for one in own if one.kind == kind] for kind in (BATCH, MASSES, SCORES)}
    return Tended(
        crop=tray.crop,
        stuck=tray.stuck,
        zone=zone,
        spans=plan.spans,
        given=sorted([*recorded, *seen], key=lambda one: one.from_ms),
        begun_ms=min(times[BATCH], default=None),
        has_balance="tray_mass" in plan.silent_after_ms,
        weighed_ms=min(times[MASSES], default=None),
        scored_ms=times[SCORES],
        rooted_ms=min(_rooted_ms(own, recorded), default=None),
        closed_ms=_closed_ms(own),
    )


def _rooted_ms(own: Iterable[Record], recorded: Iterable[Given]) -> Iterator[int]:
    """Yield when roots were found, by a look or by a score."""
    found_ms = found_roots_ms(recorded)
    if found_ms is not None:
        yield found_ms
    yield from (one.time_ms for one in own if one.kind == SCORES and any(one.fields["counts"][ROOTED:]))


def _closed_ms(own: Iterable[Record]) -> int | None:
    """Return when the last batch was closed, None where another was begun since, or none was."""
    closed_ms = None
    for one in own:
        if one.kind in (BATCH, CLOSED):
            closed_ms = one.time_ms if one.kind == CLOSED else None
    return closed_ms
