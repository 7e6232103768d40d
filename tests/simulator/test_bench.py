"""What goes wrong with a tray shows in its trace and in its time, and in no other tray."""

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime
from functools import cache
from itertools import pairwise
from typing import NamedTuple
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.faults import FAULTS
from wardian.rules.readings import Values
from wardian.rules.truth import TrueFault
from wardian.simulator.bench import Bench, Trace, truth
from wardian.simulator.flows import BEADS
from wardian.simulator.parameters import TrayParameters
from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup
from wardian.simulator.wall import MS_PER_HOUR, MS_PER_MINUTE

#: Midnight of 1 March 2026 in New York: the lamps come on at five.
START_MS = 1_772_341_200_000
ZONE = ZoneInfo("America/New_York")
TRAYS = ("tray-a", "tray-b", "tray-c")
BEFALLEN = 1
COVER_G = TrayParameters().cover_g
SETUP = BenchSetup(
    tuple(TraySetup(name, (Regime(SOME_TIME_MS, 26.0),)) for name in TRAYS), room_c=19.0, zone=ZONE
)


def at(hours: float) -> int:
    return START_MS + round(hours * MS_PER_HOUR)


def fault(name: str, from_h: float, to_h: float) -> TrueFault:
    return TrueFault(TRAYS[BEFALLEN], name, at(from_h), at(to_h))


def life(setup: BenchSetup, hours: float) -> Trace:
    return Bench(setup, START_MS).advance(at(hours))


@cache
def healthy(hours: float) -> Trace:
    return life(SETUP, hours)


def faulty(hours: float, *faults: TrueFault) -> Trace:
    return life(replace(SETUP, faults=faults), hours)


class Seen(NamedTuple):
    """The befallen tray from an hour on until another, without the fault and with it."""

    without: dict[str, Values]
    with_it: dict[str, Values]

    def more(self, column: str) -> float:
        """By how much a column is above its healthy course in the end."""
        return float(self.with_it[column][-1] - self.without[column][-1])


def between(trace: Trace, from_h: float, to_h: float) -> dict[str, Values]:
    during = (trace.times_ms >= at(from_h)) & (trace.times_ms < at(to_h))
    return {name: getattr(trace, name)[during, BEFALLEN] for name in Trace._fields[1:]}


def _warms(seen: Seen) -> bool:
    # Four hours of a stuck heater climb by 2 to 6 K an hour (trade knowledge, no source), less at the end.
    return 6 < seen.more("medium_c") < 24 and seen.more("air_c") > 3


#: Fault → when it is there [h after midnight], and how the tray is seen to suffer from it.
SHOWS: dict[str, tuple[float, float, Callable[[Seen], bool]]] = {
    "heater dead": (6, 14, lambda seen: seen.more("medium_c") < -3 and seen.more("air_c") < -2),
    "heater stuck on": (6, 10, _warms),
    "thermostat probe fallen out": (6, 10, _warms),
    "cover left off": (
        6,
        10,
        lambda seen: (
            seen.with_it["humidity_pct"][30:].max() < 75
            # The cover, the drops on it, and what evaporates.
            and -COVER_G - 150 < seen.more("mass_g") < -COVER_G
            and seen.more("air_c") < -1.5
        ),
    ),
    "cover cracked": (6, 20, lambda seen: 60 < float(np.median(seen.with_it["humidity_pct"][120:])) < 82),
    "lamp dead": (6, 20, lambda seen: seen.with_it["light_lx"].max() < 100 and seen.more("air_c") < -1),
    "lamp never off": (
        0,
        5,
        lambda seen: seen.with_it["light_lx"].min() > 5000 and seen.without["light_lx"].max() < 100,
    ),
    "lamp on late": (
        4,
        8,
        lambda seen: (
            (seen.with_it["light_lx"] > 5000).tolist() == [False] * 120 + [True] * 120
            and (seen.without["light_lx"] > 5000).tolist() == [False] * 60 + [True] * 180
        ),
    ),
    "half the lamp": (
        8,
        14,
        lambda seen: np.allclose(seen.without["light_lx"] - 60, 2 * (seen.with_it["light_lx"] - 60)),
    ),
    "cold night": (
        0,
        8,
        lambda seen: (
            seen.with_it["cover_c"].min() < seen.without["cover_c"].min() - 2
            and seen.with_it["air_c"].min() < seen.without["air_c"].min() - 2
        ),
    ),
    "heat wave": (6, 18, lambda seen: seen.with_it["air_c"].max() > 28 and seen.more("air_c") > 0),
    "mains lost": (8, 14, lambda seen: seen.with_it["light_lx"].max() < 100 and seen.more("medium_c") < -3),
    "medium left dry": (6, 22, lambda seen: seen.more("mass_g") < -300),
    "over-misted": (
        6,
        22,
        lambda seen: (
            seen.more("mass_g") > 50 and seen.with_it["air_c"].min() < seen.without["air_c"].min() - 0.5
        ),
    ),
    "never aired": (
        6,
        22,
        lambda seen: (
            seen.with_it["humidity_pct"].min() > 88
            and seen.without["humidity_pct"].min() < 75
            and len({round(one) for one in np.diff(seen.with_it["mass_g"])}) == 1
        ),
    ),
}


def columns_of(trace: Trace, places: Iterable[int]) -> Values:
    return np.stack([getattr(trace, name)[:, list(places)] for name in Trace._fields[1:]])


def test_every_fault_of_a_tray_has_a_test_here() -> None:
    assert set(SHOWS) == {name for name, kind in FAULTS.items() if not kind.of_sensor}


@pytest.mark.parametrize("name", SHOWS)
def test_a_fault_shows_in_its_own_tray_and_time_only(name: str) -> None:
    from_h, to_h, shows = SHOWS[name]
    without, with_it = healthy(to_h), faulty(to_h, fault(name, from_h, to_h))
    assert shows(Seen(between(without, from_h, to_h), between(with_it, from_h, to_h)))
    others = [place for place in range(len(TRAYS)) if place != BEFALLEN]
    assert np.array_equal(columns_of(without, others), columns_of(with_it, others))
    before = without.times_ms < at(from_h)
    assert np.array_equal(
        columns_of(without, [BEFALLEN])[:, before], columns_of(with_it, [BEFALLEN])[:, before]
    )


@pytest.mark.parametrize("name", ["heater dead", "cover left off"])
def test_a_tray_recovers_when_its_fault_ends(name: str) -> None:
    without, with_it = healthy(30), faulty(30, fault(name, 1, 5))
    last = between(with_it, 24, 30)
    for column, value in between(without, 24, 30).items():
        if column != "mass_g":
            assert last[column].mean() == pytest.approx(value.mean(), rel=0.01)


def test_lost_mains_are_lamp_and_heater_together() -> None:
    mains = faulty(12, fault("mains lost", 4, 9))
    both = faulty(12, fault("lamp dead", 4, 9), fault("heater dead", 4, 9))
    assert np.array_equal(columns_of(mains, [BEFALLEN]), columns_of(both, [BEFALLEN]))


@pytest.mark.parametrize("name", [name for name, kind in FAULTS.items() if kind.of_sensor])
def test_a_fault_of_a_sensor_changes_nothing_in_a_tray(name: str) -> None:
    changed = faulty(3, fault(name, 0, 3))
    assert np.array_equal(columns_of(changed, [0, 1, 2]), columns_of(healthy(3), [0, 1, 2]))


@given(cuts=st.lists(st.integers(1, 6 * 60 - 1), max_size=12, unique=True))
@settings(max_examples=6, deadline=None)
def test_a_bench_lives_the_same_in_pieces_of_any_size(cuts: list[int]) -> None:
    faults = [fault(name, place / 3, place / 3 + 1.5) for place, name in enumerate(SHOWS)]
    whole = faulty_whole(tuple(faults))
    bench = Bench(replace(SETUP, faults=tuple(faults)), START_MS)
    pieces = [bench.advance(START_MS + minute * MS_PER_MINUTE) for minute in [*sorted(cuts), 6 * 60]]
    for one, other in pairwise(pieces):
        assert one.times_ms[-1] == other.times_ms[0]
        # Light is what falls from an instant on; the rest is what is there at it.
        assert np.array_equal(one.medium_c[-1], other.medium_c[0])
    for name in Trace._fields:
        parts = [getattr(piece, name)[:-1] for piece in pieces[:-1]] + [getattr(pieces[-1], name)]
        assert np.array_equal(np.concatenate(parts), getattr(whole, name)), name


@cache
def faulty_whole(faults: tuple[TrueFault, ...]) -> Trace:
    return faulty(6, *faults)


def test_a_bench_goes_to_the_first_whole_minute_that_is_not_before_the_instant() -> None:
    bench = Bench(SETUP, START_MS + 1)
    assert bench.now_ms == START_MS
    assert bench.advance(START_MS + MS_PER_MINUTE + 1).times_ms.tolist() == [
        START_MS + place * MS_PER_MINUTE for place in range(3)
    ]
    assert bench.advance(START_MS).times_ms.tolist() == [START_MS + 2 * MS_PER_MINUTE]


def test_in_a_pause_nothing_happens_to_a_tray() -> None:
    bench = Bench(SETUP, START_MS)
    last = bench.advance(at(3))
    bench.skip(at(100.999))
    assert bench.now_ms == at(101) - MS_PER_MINUTE
    first = bench.advance(at(102))
    for name in ("air_c", "medium_c", "cover_c", "humidity_pct"):
        assert np.array_equal(getattr(last, name)[-1], getattr(first, name)[0])
    bench.skip(at(50))
    assert bench.now_ms == at(102)


def test_the_same_seed_gives_the_same_life_and_another_another() -> None:
    assert np.array_equal(columns_of(life(SETUP, 6), [0, 1, 2]), columns_of(life(SETUP, 6), [0, 1, 2]))
    other = life(replace(SETUP, seed=2), 6)
    assert not np.isclose(other.medium_c[-1], life(SETUP, 6).medium_c[-1]).any()


def test_no_two_trays_are_alike_although_they_are_set_alike() -> None:
    trace = life(SETUP, 6)
    for name in Trace._fields[1:]:
        last = getattr(trace, name)[-1].tolist()
        assert len(set(last)) == len(TRAYS), name


def test_a_lamp_burns_the_hours_that_its_regime_says_or_that_the_timer_is_set_to() -> None:
    def lit_h(setup: BenchSetup) -> list[float]:
        return [float(hours) for hours in (life(setup, 24).light_lx[:-1] > 1000).sum(axis=0) / 60]

    regimes = [Regime(SOME_TIME_MS, 26.0, lit_h=hours) for hours in (16.0, 18.0, 24.0)]
    trays = tuple(TraySetup(name, (regime,)) for name, regime in zip(TRAYS, regimes, strict=True))
    assert lit_h(replace(SETUP, trays=trays)) == [16.0, 18.0, 24.0]
    assert lit_h(replace(SETUP, trays=trays, lamp_on_h=20.5, lamp_off_h=8.0)) == [11.5, 11.5, 11.5]


def test_vents_are_set_for_the_light_and_for_the_dark_and_no_beads_hang_over_open_ones() -> None:
    regimes = Regime(SOME_TIME_MS, 26.0), Regime(SOME_TIME_MS, 26.0, 12.0, 30.0, lit_h=14.0)
    trays = tuple(TraySetup(name, (one,)) for name, one in zip(TRAYS, regimes, strict=False))
    bench = Bench(replace(SETUP, trays=trays), START_MS)
    assert (bench.moment.stores[BEADS] > 0).tolist() == [True, False]
    times_ms = START_MS + np.arange(24 * 60) * MS_PER_MINUTE
    around = bench.surroundings(times_ms)
    closed, vented = (around.changes_per_h - around.changes_per_h[0]).T
    assert (closed == 0).all()
    assert (vented == np.where(around.lamp[:, 1] > 0, -18.0, 0.0)).all()


def test_a_timer_knows_nothing_of_summer_time() -> None:
    # On 8 March 2026 clocks in New York go from two to three at night.
    start_ms = int(datetime(2026, 3, 7, 5, tzinfo=UTC).timestamp()) * 1000
    trace = Bench(SETUP, start_ms).advance(start_ms + 48 * MS_PER_HOUR)
    lit = trace.light_lx[:, 0] > 1000
    on_ms = trace.times_ms[1:][lit[1:] & ~lit[:-1]]
    local = [datetime.fromtimestamp(ms / 1000, ZONE).strftime("%d %H:%M") for ms in on_ms.tolist()]
    assert local == ["07 05:00", "08 06:00"]


def test_a_regime_holds_from_its_instant_on() -> None:
    regimes = (Regime(SOME_TIME_MS, 24.0), Regime(at(6), 27.0, lit_h=10.0, is_misted=False))
    setup = replace(SETUP, trays=(TraySetup(TRAYS[0], regimes),))
    trace = life(setup, 24)
    hours = (trace.times_ms - START_MS) / MS_PER_HOUR
    assert trace.medium_c[hours < 6].max() < 24.8
    assert 26.2 < trace.medium_c[hours > 12].mean() < 27.8
    care = truth(setup, START_MS, at(24)).care
    assert "misted" not in {one.event for one in care}
    assert [one.event for one in care].count("lifted") == 3


def test_every_thermostat_can_be_set_to_one_temperature() -> None:
    trace = life(SETUP.with_set_point(22.0), 24)
    assert np.abs(trace.medium_c[-600:].mean(axis=0) - 22).max() < 0.7


def test_a_fault_of_a_tray_that_is_not_there_is_refused() -> None:
    with pytest.raises(ValueError, match="'tray-x' is unknown; tray-a, tray-b, tray-c is accepted"):
        replace(SETUP, faults=(TrueFault("tray-x", "heater dead", 0, 1),))


# ------------------------------------------------------------------------------------------ truth


def test_the_truth_tells_every_fault_and_act_of_care_that_touches_the_time() -> None:
    faults = tuple(fault("heater dead", *hours) for hours in ((-5, 0), (-5, 1), (3, 4), (23, 30), (24, 30)))
    told = truth(replace(SETUP, seed=7, faults=faults), START_MS, at(24))
    assert (told.seed, told.start_ms, told.end_ms) == (7, START_MS, at(24))
    assert told.faults == faults[1:4]
    assert [care.from_ms for care in told.care] == sorted(care.from_ms for care in told.care)
    for tray in TRAYS:
        events = [care.event for care in told.care if care.tray == tray]
        assert events.count("lifted") == events.count("misted") == 3
        assert events.count("watered") <= 1


def test_what_is_true_of_care_shows_in_the_trace() -> None:
    trace, told = healthy(24), truth(SETUP, START_MS, at(24))
    for care in told.care:
        tray = TRAYS.index(care.tray)
        first, last = trace.times_ms.searchsorted((care.from_ms, care.to_ms))
        if care.event == "lifted":
            assert trace.humidity_pct[last, tray] < 75 < trace.humidity_pct[first, tray]
            assert trace.mass_g[last, tray] - trace.mass_g[first, tray] > 0.95 * COVER_G  # it is back
        elif care.event == "misted":
            assert 1.5 < trace.mass_g[last, tray] - trace.mass_g[first, tray] < 7
        else:
            assert trace.mass_g[last, tray] - trace.mass_g[first, tray] > 5


@pytest.mark.parametrize(
    ("name", "lifted", "misted", "watered"),
    [
        ("never aired", 0, 0, 1),
        ("medium left dry", 3, 0, 0),
        ("over-misted", 13, 13, 1),
        ("heat wave", 3, 3, 1),
    ],
)
def test_a_fault_of_care_is_what_people_do(name: str, lifted: int, misted: int, watered: int) -> None:
    setup = replace(SETUP, faults=(fault(name, 0, 24 * 6),))
    events = [one.event for one in truth(setup, START_MS, at(24 * 6)).care if one.tray == TRAYS[BEFALLEN]]
    assert (events.count("lifted"), events.count("misted")) == (6 * lifted, 6 * misted)
    assert events.count("watered") == watered
