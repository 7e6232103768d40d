"""What probes make of a truth that is written by hand."""

from collections.abc import Sequence
from functools import cache
from itertools import pairwise

import numpy as np
import pytest
from hand_traces import NOON_MS, TRAYS, Course, fault, hand_setup, one_probe, part, read, trace
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.faults import FAULTS
from wardian.rules.readings import Series, Values
from wardian.rules.truth import TrueFault
from wardian.simulator.probes import PROBES, Read

EVERY_MINUTE = 60_000
FAULTS_OF_PROBES = [name for name, one in FAULTS.items() if one.of_sensor]
DAY_H = 24.0
#: Of each probe, what is stated of it: time constants as it rises and falls, accuracy, noise, resolution.
LAGS_S = {"air_temperature": (60, 60), "medium_temperature": (120, 120), "relative_humidity": (280, 60)}
#: +-0.3 °C and +-2 %RH: data sheets of common chips; the rest from memory.
ACCURACY = {
    "air_temperature": 0.3,
    "medium_temperature": 0.25,
    "relative_humidity": 2.0,
    "illuminance": 0.04 * 5000,
    "tray_mass": 2.0,
}
NOISE = {
    "air_temperature": 0.03,
    "medium_temperature": 0.02,
    "relative_humidity": 0.15,
    "illuminance": 0.01 * 5000,
    "tray_mass": 0.4,
}
STEPS = {
    "air_temperature": 0.01,
    "medium_temperature": 0.0625,
    "relative_humidity": 0.1,
    "illuminance": 1.0,
    "tray_mass": 1.0,
}
TRUE = {
    "air_temperature": 25.0,
    "medium_temperature": 26.0,
    "relative_humidity": 80.0,
    "illuminance": 5000.0,
    "tray_mass": 3000.0,
}


def stepping(low: float, high: float) -> Course:
    """Return a course that is low, high from the first hour on, and low again from the second hour on."""
    return lambda minutes: np.interp(minutes, [60, 61, 120, 121], [low, high, high, low])


def lagged(minutes: Values, truth: Values, rising_s: float, falling_s: float) -> Values:
    """Return a first-order lag at whole minutes, in steps so small that their error does not count."""
    steps_per_min = 600
    fine = np.interp(np.arange(len(minutes) * steps_per_min) / steps_per_min, minutes, truth)
    felt, kept = truth[0], []
    for place, true in enumerate(fine):
        if place % steps_per_min == 0:
            kept.append(felt)
        felt += (true - felt) * (60 / steps_per_min) / (rising_s if true > felt else falling_s)
    return np.array(kept)


@pytest.mark.parametrize(
    ("quantity", "column", "low", "high"),
    [
        ("air_temperature", "air_c", 20.0, 30.0),
        ("medium_temperature", "medium_c", 20.0, 30.0),
        ("relative_humidity", "humidity_pct", 50.0, 80.0),
    ],
)
def test_a_probe_follows_with_its_own_time_constants(
    quantity: str, column: str, low: float, high: float
) -> None:
    course = stepping(low, high)
    seen = one_probe(hand_setup(every_ms=EVERY_MINUTE), quantity, trace(3, **{column: course}))
    minutes = np.arange(181.0)
    expected = lagged(minutes, course(minutes), *LAGS_S[quantity])
    at_min = (seen.times_ms - NOON_MS) / EVERY_MINUTE
    bias = seen.values[at_min < 60].mean() - low
    error = seen.values - bias - np.interp(at_min, minutes, expected)
    assert np.abs(error).max() < 5 * NOISE[quantity] + STEPS[quantity]


def test_light_and_mass_are_seen_at_once() -> None:
    setup = hand_setup(every_ms=EVERY_MINUTE)
    for quantity, column in (("illuminance", "light_lx"), ("tray_mass", "mass_g")):
        seen = one_probe(setup, quantity, trace(3, **{column: stepping(1000.0, 5000.0)}))
        at_min = (seen.times_ms - NOON_MS) / EVERY_MINUTE
        truth = stepping(1000.0, 5000.0)(at_min)
        assert np.abs(seen.values / truth - 1).max() < 0.1


def test_moist_air_is_seen_later_than_dry_air() -> None:
    seen = one_probe(hand_setup(), "relative_humidity", trace(3, humidity_pct=stepping(50.0, 80.0)))
    at_s = (seen.times_ms - NOON_MS) / 1000
    rising = (seen.values < 65) & (at_s > 3600) & (at_s < 7200)
    falling = (seen.values > 65) & (at_s > 7200)
    # It comes back with 3 to 5 minutes, and falls within one or two (from memory).
    # Half of a step is seen after ln 2 of the time constant, and half of the minute that the step takes.
    assert at_s[rising].max() - 3600 == pytest.approx(np.log(2) * 280 + 30, abs=20)
    assert at_s[falling].max() - 7200 == pytest.approx(np.log(2) * 60 + 30, abs=20)


@cache
def settled(seed: int) -> dict[Series, Read]:
    return read(hand_setup(seed, 10 * EVERY_MINUTE), trace(DAY_H))


@pytest.mark.parametrize("quantity", PROBES)
def test_a_bias_is_for_life_and_within_the_accuracy(quantity: str) -> None:
    biases = []
    for seed in range(30):
        errors = settled(seed)[Series(TRAYS[0], quantity)].values - TRUE[quantity]
        first, last = np.array_split(errors, 2)
        # So far may two means of 72 readings be apart that have one bias.
        assert abs(first.mean() - last.mean()) < 0.7 * NOISE[quantity]
        biases.append(errors.mean())
    assert np.abs(biases).max() < ACCURACY[quantity] + 0.3 * NOISE[quantity]
    assert 0.3 * ACCURACY[quantity] < np.std(biases) < 0.6 * ACCURACY[quantity]


@pytest.mark.parametrize("quantity", PROBES)
def test_readings_scatter_by_the_noise_in_steps_of_the_resolution(quantity: str) -> None:
    seen = one_probe(hand_setup(), quantity, trace(DAY_H))
    steps = seen.values / STEPS[quantity]
    assert np.abs(steps - np.round(steps)).max() < 1e-6
    # Rounding to a step adds the deviation of an even spread over it.
    expected = np.hypot(NOISE[quantity], STEPS[quantity] / np.sqrt(12))
    if NOISE[quantity] > STEPS[quantity]:
        assert seen.values.std() == pytest.approx(expected, rel=0.1)
    else:
        assert 0 < seen.values.std() < 1.5 * expected


def test_no_probe_shows_more_than_saturation_or_less_than_nothing() -> None:
    dark_and_wet = trace(
        DAY_H,
        humidity_pct=lambda minutes: np.full_like(minutes, 99.9),
        light_lx=np.zeros_like,
        mass_g=np.zeros_like,
    )
    for seed in range(8):
        seen = read(hand_setup(seed, EVERY_MINUTE), dark_and_wet)
        for tray in TRAYS:
            assert seen[Series(tray, "relative_humidity")].values.max() == 100.0
            assert set(seen[Series(tray, "illuminance")].values) == {0.0}
            assert seen[Series(tray, "tray_mass")].values.min() >= 0


def test_after_long_condensation_humidity_reads_too_high_for_days() -> None:
    """It is up to 3 %RH and comes back over days: user manual of a research humidity probe."""
    course: Course = lambda minutes: np.interp(  # noqa: E731  # named by its type
        minutes / 60, [24, 24.1, 72, 72.1], [90.0, 99.0, 99.0, 90.0]
    )
    seen = one_probe(hand_setup(every_ms=EVERY_MINUTE), "relative_humidity", trace(240, humidity_pct=course))
    at_h = (seen.times_ms - NOON_MS) / 3_600_000

    def shift(from_h: float) -> float:
        return float(
            seen.values[(at_h > from_h) & (at_h < from_h + 4)].mean() - seen.values[at_h < 24].mean()
        )

    assert 1.5 < shift(74) < 3.0
    assert 0.3 < shift(120) < 0.6 * shift(74)
    assert shift(230) < 0.2


def test_a_short_airing_or_a_moist_day_short_of_condensation_shifts_nothing() -> None:
    seen = one_probe(
        hand_setup(every_ms=EVERY_MINUTE),
        "relative_humidity",
        trace(96, humidity_pct=lambda minutes: np.full_like(minutes, 96.0)),
    )
    assert abs(seen.values[:1000].mean() - seen.values[-1000:].mean()) < 0.05


def test_readings_come_at_the_interval_give_or_take_a_little_and_a_tray_at_one_moment() -> None:
    seen = read(hand_setup(), trace(DAY_H))
    starts = []
    for tray in TRAYS:
        times = [set(seen[Series(tray, quantity)].times_ms.tolist()) for quantity in PROBES]
        ticks = np.array(sorted(set().union(*times)))
        starts.append(ticks[0])
        assert np.abs(np.diff(ticks) - 10_000).max() < 250
        # What one probe lacks was lost on its way; all five of a tick are hardly ever.
        assert len(ticks) == pytest.approx(DAY_H * 360, abs=3)
        assert all(len(ticks) - len(one) < 60 for one in times)
        assert len(set(np.diff(ticks).tolist())) > 100
    assert starts[0] != starts[1]
    assert min(starts) >= NOON_MS


def test_one_reading_in_five_hundred_is_lost() -> None:
    seen = read(hand_setup(), trace(3 * DAY_H))
    made = len(seen) * 3 * DAY_H * 360
    arrived = sum(len(one.times_ms) for one in seen.values())
    assert 0.0015 < 1 - arrived / made < 0.0025


@pytest.mark.parametrize("faults", [(), FAULTS_OF_PROBES], ids=["healthy", "every fault of a probe"])
@given(cuts=st.lists(st.integers(1, 359), max_size=8, unique=True))
@settings(max_examples=25, deadline=None)
def test_readings_are_the_same_however_time_is_cut_into_pieces(
    faults: Sequence[str], cuts: list[int]
) -> None:
    setup = hand_setup(every_ms=30_000, faults=overlapping(faults))
    whole = trace(6, air_c=stepping(20.0, 30.0), humidity_pct=stepping(60.0, 99.5))
    edges = [0, *sorted(cuts), 360]
    pieces = [part(whole, first, last) for first, last in pairwise(edges)]
    at_once, cut = read(setup, whole), read(setup, *pieces)
    for series, one in at_once.items():
        assert rows_of(one) == rows_of(cut[series])


def overlapping(names: Sequence[str]) -> list[TrueFault]:
    """Return faults of every probe of the first tray, several at any time."""
    return [fault(name, 0.4 * place, 0.4 * place + 2.1) for place, name in enumerate(names)]


def rows_of(seen: Read) -> list[tuple[float, ...]]:
    return sorted(zip(*(column.tolist() for column in seen), strict=True))
