"""What people do at the trays: airing and misting three times a day, watering every few days."""

from collections.abc import Iterator
from typing import Final, NamedTuple

from wardian.rules.truth import TrueCare, TrueFault
from wardian.simulator.chance import chance
from wardian.simulator.setup import BenchSetup, TraySetup
from wardian.simulator.wall import MS_PER_DAY, MS_PER_MINUTE, at_wall_ms

#: Morning, noon and evening. Common practice, no source: two to three times a day.
_ROUNDS_H: Final = (8.5, 13.5, 18.5)
#: Nobody is on the minute.
_JITTER_MIN: Final = 15
#: How long a cover is off at a round. [min] From memory.
_LIFTED_MIN: Final = (3, 5)
#: A light misting, of a tray. [g] From memory: 5 to 40 g.
_MIST_G: Final = (3.0, 6.0)
_TEMPERED_C: Final = 20.0
#: Every sixth day, of tempered water. [g] From memory.
_WATERED_EVERY_DAYS: Final = 6
_WATERED_G: Final = (30.0, 60.0)
#: A tray with open vents is watered every morning: what an air change an hour carries off in a day. [g]
#: Chosen so that its medium keeps its water: 0.16 g/kPa of 22 litres times half a kPa times 24 h.
_VENTED_G: Final = 2.0
#: From so many air changes on a tray counts as one with open vents. [1/h] Chosen: a closed cover leaks about two.
_VENTED_PER_H: Final = 5.0
#: Far too much: cold, heavy, and nearly every hour of the day.
_OVER_MISTED_H: Final = (7, 9, 10, 11, 12, 14, 15, 16, 17, 20)
_OVER_MIST_G: Final = 30.0
_COLD_C: Final = 12.0


class Deed(NamedTuple):
    """One thing done at a tray, with the water it brought."""

    care: TrueCare
    grams: float = 0.0
    water_c: float = _TEMPERED_C


def deeds(setup: BenchSetup, tray: TraySetup, from_ms: int, to_ms: int) -> list[Deed]:
    """Return what is done at one tray in days that touch a span of time, in order of time."""
    first, last = from_ms // MS_PER_DAY - 1, to_ms // MS_PER_DAY + 1
    done = [deed for day in range(first, last + 1) for deed in _day(setup, tray, day)]
    return [deed for deed in done if deed.care.to_ms > from_ms and deed.care.from_ms < to_ms]


def _day(setup: BenchSetup, tray: TraySetup, day: int) -> Iterator[Deed]:
    draw = chance(setup.seed, tray.name, "care", day)
    faults = [fault for fault in setup.faults if fault.tray == tray.name]
    rounds = [60 * hour + int(draw.integers(-_JITTER_MIN, _JITTER_MIN + 1)) for hour in _ROUNDS_H]
    lifted = [int(minutes) for minutes in draw.integers(_LIFTED_MIN[0], _LIFTED_MIN[1] + 1, len(rounds))]
    mists = draw.uniform(*_MIST_G, len(rounds))
    watered_g = float(draw.uniform(*_WATERED_G))
    regime = [one for one in tray.regimes if one.from_ms <= at_wall_ms(day, rounds[0], setup.zone)][-1]
    for minutes, lasts, grams in zip(rounds, lifted, mists, strict=True):
        begin_ms = at_wall_ms(day, minutes, setup.zone)
        if _holds("never aired", faults, begin_ms):
            continue
        yield Deed(_lasts(tray, "lifted", begin_ms, lasts))
        if regime.is_misted and not _holds("medium left dry", faults, begin_ms):
            yield Deed(_lasts(tray, "misted", begin_ms + MS_PER_MINUTE, 1), float(grams))
    begin_ms = at_wall_ms(day, rounds[0] + 2, setup.zone)
    turn = int(chance(setup.seed, tray.name, "watering").integers(_WATERED_EVERY_DAYS))
    has_vents = regime.changes_per_h > _VENTED_PER_H
    is_due = day % _WATERED_EVERY_DAYS == turn or has_vents
    if is_due and not _holds("medium left dry", faults, begin_ms):
        grams = _VENTED_G * regime.changes_per_h if has_vents else watered_g
        yield Deed(_lasts(tray, "watered", begin_ms, 1), grams)
    for hour in _OVER_MISTED_H:
        begin_ms = at_wall_ms(day, 60 * hour, setup.zone)
        if _holds("over-misted", faults, begin_ms):
            yield Deed(_lasts(tray, "lifted", begin_ms, 3))
            yield Deed(_lasts(tray, "misted", begin_ms + MS_PER_MINUTE, 1), _OVER_MIST_G, _COLD_C)


def _lasts(tray: TraySetup, event: str, begin_ms: int, minutes: int) -> TrueCare:
    return TrueCare(tray.name, event, begin_ms, begin_ms + minutes * MS_PER_MINUTE)


def _holds(name: str, faults: list[TrueFault], time_ms: int) -> bool:
    return any(fault.fault == name and fault.from_ms <= time_ms < fault.to_ms for fault in faults)
