"""Acts on the stages of a tray, as records: each looked over in the light of all that is in force.

The rule of this file: what cannot be meant, alone or with what follows it, is refused with what is accepted.
"""

from collections.abc import Sequence
from typing import Final

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.putting import Said, corrected, correcting, tray_named
from wardian.daemon.tongue import Tongue
from wardian.rules.crops import day_start_ms, stage_at
from wardian.rules.records import STAGE, Record
from wardian.rules.staging import (
    ADVANCED,
    BY_DAY,
    HELD,
    SET_BACK,
    ByDay,
    Course,
    Staging,
    acts_of,
    followed,
    spans_with,
    staging,
)

#: The word by which it is asked for → what becomes of the stage.
ACTS: Final = {"advance": ADVANCED, "hold": HELD, "back": SET_BACK, "by-day": BY_DAY}


def staging_of(config: Config, tray: TraySettings, records: Sequence[Record]) -> Staging:
    """Return the stages of a tray by all that was put on record."""
    return staging(tray.plan, records, _since_ms(config, tray))


def stage_act(
    config: Config, asked: tuple[str, str], said: Said, known: Sequence[Record], now_ms: int
) -> Record:
    """Return the record of an act, ``asked`` as tray and word.

    Raises:
        ValueError: It cannot be meant.
    """
    name, word = asked
    tray = tray_named(config, name)
    if said.corrects is not None and corrected(known, said.corrects, STAGE).tray != tray.name:
        raise ValueError(f"record {said.corrects} is about another tray than {tray.name}")
    number = known[-1].number + 1 if known else 1
    record = correcting(STAGE, said, known, now_ms)
    record = record._replace(tray=tray.name, fields={"event": ACTS[word]}, number=number)
    _refuse_early(config, tray, record)
    acts = acts_of([*known, record], tray.name, _since_ms(config, tray))
    if said.corrects is None:
        _refuse_backwards(config, acts, record)
    else:
        _refuse_gap(tray, acts_of(known, tray.name, _since_ms(config, tray)), acts)
    return record._replace(fields={"event": ACTS[word], "stage": _stage_by(tray, acts, record)}, number=0)


def refuse_gap(config: Config, record: Record, known: Sequence[Record]) -> None:
    """Refuse to withdraw an act on which a later one rests.

    Raises:
        ValueError: One does.
    """
    tray = next((one for one in config.trays if one.name == record.tray), None)
    if tray is not None:
        acts = acts_of(known, tray.name, _since_ms(config, tray))
        _refuse_gap(tray, acts, [one for one in acts if one.number != record.number])


def _since_ms(config: Config, tray: TraySettings) -> int:
    return day_start_ms(tray.stuck, config.site.zone)


def _refuse_early(config: Config, tray: TraySettings, record: Record) -> None:
    first = tray.plan.spans[0]
    if record.time_ms < first.from_ms:
        begins = f"{first.stage.name}, begins {Tongue.of(config.site).moment(first.from_ms)}"
        raise ValueError(f"{tray.name} has no stage yet; the first one, {begins}")


def _refuse_backwards(config: Config, acts: Sequence[Record], record: Record) -> None:
    """Refuse what goes back behind an act that is in force, and days that are followed already."""
    others = [one for one in acts if one.number != record.number]
    if others and record.time_ms < others[-1].time_ms:
        last = f"record {others[-1].number} of {Tongue.of(config.site).moment(others[-1].time_ms)}"
        raise ValueError(f"stages do not go backwards: {last} is later; correct or withdraw that first")
    if record.fields["event"] == BY_DAY and (not others or others[-1].fields["event"] == BY_DAY):
        raise ValueError(f"the stages of {record.tray} follow the days after sticking already")


def _stage_by(tray: TraySettings, acts: Sequence[Record], record: Record) -> str:
    """Return the name of the stage that an act leads to."""
    by_day = ByDay(tray.plan.spans, tray.plan.overdue_ms)
    course = spans_with(by_day, acts[: acts.index(record)])
    try:
        return _present(followed(course, by_day, record), record)
    except ValueError as error:
        raise ValueError(f"{tray.name} cannot be {_TOLD[record.fields['event']]}: {error}") from error


def _refuse_gap(tray: TraySettings, before: Sequence[Record], after: Sequence[Record]) -> None:
    """Refuse what would let an act that stays lead to another stage than it did."""
    led, leads = _leads(tray, before), _leads(tray, after)
    resting = next((number for number in led if leads.get(number, led[number]) != led[number]), None)
    if resting is not None:
        raise ValueError(f"record {resting} rests on it; correct or withdraw that first")


def _leads(tray: TraySettings, acts: Sequence[Record]) -> dict[int, str | None]:
    """Return to which stage each act leads, None for one that cannot be meant."""
    by_day = ByDay(tray.plan.spans, tray.plan.overdue_ms)
    course, leads = spans_with(by_day, ()), dict[int, str | None]()
    for act in acts:
        try:
            course = followed(course, by_day, act)
        except ValueError:
            leads[act.number] = None
        else:
            leads[act.number] = _present(course, act)
    return leads


def _present(course: Course, act: Record) -> str:
    present = stage_at(course.spans, act.time_ms)
    assert present is not None
    return present.name


_TOLD: Final = {ADVANCED: "advanced", HELD: "held", SET_BACK: "set back", BY_DAY: "set by day"}
