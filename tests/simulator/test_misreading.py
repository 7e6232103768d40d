"""Each fault of a probe does what its words say: in its time, to its series, and to nothing else."""

from itertools import pairwise

import numpy as np
import pytest
from hand_traces import NOON_MS, TRAYS, at, fault, hand_setup, read, trace, with_faults

from wardian.rules.faults import FAULTS
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Points, Series
from wardian.simulator.probes import PROBES, Read

#: Every fault of a probe, with a quantity that it can befall.
QUANTITY = {
    "sensor silent": "air_temperature",
    "sensor stuck": "relative_humidity",
    "sensor implausible": "medium_temperature",
    "sensor drifting": "relative_humidity",
    "sensor saturated": "relative_humidity",
    "sensors disagree": "air_temperature",
    "power-on value": "medium_temperature",
    "repeated and late readings": "illuminance",
    "clock set back": "tray_mass",
}
FROM_H, TO_H = 2.0, 5.0
LONGEST_DELAY_MS = 3_600_000
#: Humidity that wanders through half a day, so that a stuck probe would be seen.
SETUP = hand_setup()
TRUTH = trace(12, humidity_pct=lambda minutes: 80 + 10 * np.sin(minutes / 60))
HEALTHY = read(SETUP, TRUTH)


def befallen(name: str, quantity: str | None) -> dict[Series, Read]:
    return read(with_faults(SETUP, fault(name, FROM_H, TO_H, quantity)), TRUTH)


def one(name: str) -> tuple[Read, Read]:
    """Return what one probe of the first tray shows when nothing is wrong, and when a fault befalls it."""
    series = Series(TRAYS[0], QUANTITY[name])
    return HEALTHY[series], befallen(name, QUANTITY[name])[series]


def within(seen: Read, from_h: float = FROM_H, to_h: float = TO_H) -> Points:
    """Return the readings made from one hour to another."""
    there = (seen.times_ms >= at(from_h)) & (seen.times_ms < at(to_h))
    return Points(seen.times_ms[there], seen.values[there])


def same(one: Read, other: Read) -> bool:
    return all(np.array_equal(*columns) for columns in zip(one, other, strict=True))


def test_every_fault_of_a_sensor_has_a_test_here() -> None:
    assert set(QUANTITY) == {name for name, kind in FAULTS.items() if kind.of_sensor}


@pytest.mark.parametrize("name", QUANTITY)
def test_a_fault_of_one_probe_touches_no_other(name: str) -> None:
    for series, seen in befallen(name, QUANTITY[name]).items():
        assert same(seen, HEALTHY[series]) == (series != (TRAYS[0], QUANTITY[name]))


@pytest.mark.parametrize("name", QUANTITY)
def test_a_fault_of_a_tray_s_probes_touches_no_other_tray(name: str) -> None:
    # Water sits on a probe of humidity, and power-on is seen at thermometers.
    known = {
        "sensor saturated": ("relative_humidity",),
        "power-on value": ("air_temperature", "medium_temperature"),
        "sensor drifting": ("air_temperature", "medium_temperature", "relative_humidity"),
        "sensors disagree": ("air_temperature", "medium_temperature", "relative_humidity"),
    }
    touched = {series for series, seen in befallen(name, None).items() if not same(seen, HEALTHY[series])}
    assert touched == {(TRAYS[0], quantity) for quantity in known.get(name, tuple(PROBES))}


@pytest.mark.parametrize("name", QUANTITY)
def test_before_a_fault_and_after_it_all_is_as_without_it(name: str) -> None:
    healthy, seen = one(name)
    ends_h = TO_H + (1 if name == "repeated and late readings" else 0)
    for from_h, to_h in ((0.0, FROM_H - 1), (ends_h, 12.0)):
        for column, without in zip(within(seen, from_h, to_h), within(healthy, from_h, to_h), strict=True):
            assert np.array_equal(column, without)


def test_nothing_arrives_of_a_silent_sensor() -> None:
    healthy, seen = one("sensor silent")
    assert len(within(seen).times_ms) == 0
    assert len(seen.times_ms) == len(healthy.times_ms) - len(within(healthy).times_ms)


def test_a_stuck_sensor_shows_its_first_value_until_it_is_freed() -> None:
    healthy, seen = one("sensor stuck")
    # Resolution and noise are inside the probe: a stuck one has neither.
    assert set(within(seen).values) == {within(healthy).values[0]}
    assert len(within(seen).times_ms) == len(within(healthy).times_ms)
    assert within(healthy).values.max() - within(healthy).values.min() > 5


@pytest.mark.parametrize("quantity", PROBES)
def test_implausible_readings_are_impossible_ones_among_good_ones(quantity: str) -> None:
    series = Series(TRAYS[0], quantity)
    shown = within(befallen("sensor implausible", quantity)[series]).values
    known = QUANTITIES[quantity]
    impossible = (shown < known.possible_low) | (shown > known.possible_high)
    assert 0.2 < impossible.mean() < 0.4
    assert len(set(shown[impossible])) == 1
    assert np.array_equal(shown[~impossible], within(HEALTHY[series]).values[~impossible])


def test_a_drifting_sensor_leaves_the_truth_evenly() -> None:
    healthy, seen = one("sensor drifting")
    away = within(seen).values - within(healthy).values
    hours = (within(seen).times_ms - at(FROM_H)) / 3_600_000
    per_h = np.polyfit(hours, away, 1)[0]
    assert 0.2 < abs(per_h) < 1.0
    assert np.abs(away - per_h * hours).max() < 0.15  # two roundings to a tenth


def test_a_saturated_sensor_shows_100_per_cent() -> None:
    assert set(within(one("sensor saturated")[1]).values) == {100.0}


def test_of_two_probes_that_disagree_now_the_one_answers_and_now_the_other() -> None:
    healthy, seen = one("sensors disagree")
    away = within(seen).values - within(healthy).values
    other = np.abs(away) > 1.5  # K; more is a finding (from memory)
    assert 0.4 < other.mean() < 0.6
    assert np.abs(away[~other]).max() == 0
    assert away[other].std() < 0.02


def test_a_thermometer_shows_its_power_on_value_now_and_then() -> None:
    """85.0 °C is the power-on value of a common 1-wire thermometer: its data sheet."""
    healthy, seen = one("power-on value")
    restarted = within(seen).values == 85.0
    assert 0.003 < restarted.mean() < 0.02
    assert np.array_equal(within(seen).values[~restarted], within(healthy).values[~restarted])


def test_some_readings_come_twice_and_some_late_and_none_is_lost() -> None:
    healthy, seen = one("repeated and late readings")
    counts = dict(zip(*np.unique(seen.times_ms, return_counts=True), strict=True))
    assert set(counts) == set(healthy.times_ms.tolist())
    twice = np.array([count == 2 for time_ms, count in counts.items() if at(FROM_H) <= time_ms < at(TO_H)])
    assert 0.07 < twice.mean() < 0.13
    assert set(counts.values()) == {1, 2}
    values = dict(zip(healthy.times_ms.tolist(), healthy.values.tolist(), strict=True))
    assert all(values[time_ms] == value for time_ms, value in zip(seen.times_ms, seen.values, strict=True))
    delays_ms = (seen.arrives_ms - seen.times_ms)[(seen.times_ms >= at(FROM_H)) & (seen.times_ms < at(TO_H))]
    late = delays_ms > 0
    assert 0.07 < late.mean() < 0.13
    assert 60_000 < delays_ms[late].min() < delays_ms.max() <= LONGEST_DELAY_MS


def test_a_clock_that_is_set_back_stamps_an_hour_before() -> None:
    healthy, seen = one("clock set back")
    moved = seen.arrives_ms - seen.times_ms
    during = (seen.arrives_ms >= at(FROM_H)) & (seen.arrives_ms < at(TO_H))
    assert set(moved[during]) == {3_600_000}
    assert set(moved[~during]) == {0}
    assert np.array_equal(seen.values, healthy.values)
    assert any(later < earlier for earlier, later in pairwise(seen.times_ms))


@pytest.mark.parametrize("name", sorted(set(QUANTITY) - {"clock set back"}))
def test_what_is_read_arrives_in_order_and_never_before_it_was_made(name: str) -> None:
    _, seen = one(name)
    assert (np.diff(seen.arrives_ms) >= 0).all()
    assert (seen.arrives_ms >= seen.times_ms).all()
    assert seen.times_ms.min() >= NOON_MS


def test_a_fault_of_the_tray_is_none_of_its_probes() -> None:
    setup = with_faults(SETUP, *(fault(name, FROM_H, TO_H) for name in FAULTS if not FAULTS[name].of_sensor))
    seen = read(setup, TRUTH)
    assert all(same(seen[series], HEALTHY[series]) for series in HEALTHY)


def test_two_faults_of_one_probe_at_a_time_both_show() -> None:
    both = (fault("sensor drifting", 2, 6, "relative_humidity"), fault("sensor silent", 4, 5))
    seen = read(with_faults(SETUP, *both), TRUTH)[Series(TRAYS[0], "relative_humidity")]
    alone = read(with_faults(SETUP, both[0]), TRUTH)[Series(TRAYS[0], "relative_humidity")]
    assert len(within(seen, 4, 5).values) == 0
    for from_h, to_h in ((2.0, 4.0), (5.0, 6.0)):
        assert np.array_equal(within(seen, from_h, to_h).values, within(alone, from_h, to_h).values)
