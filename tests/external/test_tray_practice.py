"""What propagators see under a cover, shown by the pretended tray by itself.

Sources: each figure has its own beside it. "From memory" is what growers and makers of probes commonly say
and nobody looked up; it is a span, and the tray need only lie in it. Readings are what the pretended probes
show, the truth is what is there; each test says which it looks at.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from lone_bench import TRAYS, Pour, PouredBench, at, bench_setup, fault, soon_after
from lone_tray import holding, humidity_pct
from tray_by_hand import dripping_at

from wardian.rules.readings import Series, Values
from wardian.rules.truth import TrueCare, Truth
from wardian.simulator.bench import Bench, Trace, truth
from wardian.simulator.evening_class import START_MS
from wardian.simulator.flows import Surroundings
from wardian.simulator.parameters import TrayParameters
from wardian.simulator.probes import Probes, Read

P = TrayParameters()
SEEDS = (1, 2, 3)
MINUTE_MS = 60_000


class Lived(NamedTuple):
    """What is true of a bench for some hours, what acted on it, what was read, and what people did."""

    trace: Trace
    around: Surroundings
    readings: dict[Series, Read]
    told: Truth

    def minute(self, hours: float) -> int:
        return int(self.trace.times_ms.searchsorted(at(hours)))


@cache
def lived(name: str, from_h: float, to_h: float, end_h: float, seed: int = 1) -> Lived:
    setup = bench_setup(fault(name, from_h, to_h) if name else (), seed)
    bench = Bench(setup, START_MS)
    trace = bench.advance(at(end_h))
    around = bench.surroundings(trace.times_ms)
    return Lived(trace, around, Probes(setup, START_MS).read(trace), truth(setup, START_MS, at(end_h)))


def steady(seed: int) -> Lived:
    return lived("", 0, 0, 72, seed)


class Airing(NamedTuple):
    """One lifting of a cover in the readings of the humidity probe; minutes count from its return."""

    before_pct: float
    lowest_pct: float
    back_min: float


def airings(one: Lived) -> Iterator[Airing]:
    for care in one.told.care:
        if care.event == "lifted" and care.to_ms + 60 * MINUTE_MS < one.told.end_ms:
            yield airing(one.readings[Series(care.tray, "relative_humidity")], care)


def airing(read: Read, care: TrueCare) -> Airing:
    lifted, back, later = read.times_ms.searchsorted((care.from_ms, care.to_ms, care.to_ms + 60 * MINUTE_MS))
    moist = back + np.flatnonzero(read.values[back:later] > 90)
    return Airing(
        before_pct=float(read.values[lifted - 6 : lifted].mean()),
        lowest_pct=float(read.values[lifted:later].min()),
        back_min=float(read.times_ms[moist[0]] - care.to_ms) / MINUTE_MS if len(moist) else np.inf,
    )


# -------------------------------------------------------------------------------------- humidity


@pytest.mark.parametrize("seed", SEEDS)
def test_a_closed_tray_is_above_90_per_cent_most_of_the_time(seed: int) -> None:
    """Closed propagators without mist: J. Hort. Sci. 68(3):421-430, 1993."""
    assert (steady(seed).trace.humidity_pct > 90).mean() > 0.9


@pytest.mark.parametrize("seed", SEEDS)
def test_an_airing_dips_the_reading_to_40_to_75_per_cent(seed: int) -> None:
    """From memory: room air warmed to the tray's is at 39 %, a probe among leaves sees 60 to 75 %."""
    lowest = [one.lowest_pct for one in airings(steady(seed))]
    assert len(lowest) > 40
    assert min(lowest) > 40
    assert max(lowest) < 75


@pytest.mark.parametrize("seed", SEEDS)
def test_the_reading_is_back_above_90_per_cent_6_to_20_minutes_after_the_cover_is(seed: int) -> None:
    """From 60 % to 90 % of 97 %: 6, 10 and 20 min with time constants of 3, 5 and 10 min, from memory.

    An airing that fell less far is back a little sooner: one in ten may take 5 min.
    """
    back_min = np.array([one.back_min for one in airings(steady(seed))])
    assert np.percentile(back_min, 10) >= 6
    assert back_min.min() >= 5
    assert back_min.max() <= 20


@pytest.mark.parametrize("seed", SEEDS)
def test_a_lifted_cover_cools_the_air_by_1_to_3_kelvin_in_the_reading(seed: int) -> None:
    """From memory, of air at 24 °C in a room at 20 °C: so only where the air is 3 to 5 K above its room.

    Mist that dries on leaves cools them a little more.
    """
    one = steady(seed)
    fallen_k = []
    for care in one.told.care:
        place, minute = TRAYS.index(care.tray), int(one.trace.times_ms.searchsorted(care.from_ms))
        above_k = one.trace.air_c[minute, place] - one.around.room_c[minute, place]
        if care.event == "lifted" and 3 < above_k < 5:
            read = one.readings[Series(care.tray, "air_temperature")]
            lifted, back = read.times_ms.searchsorted((care.from_ms, care.to_ms + 2 * MINUTE_MS))
            fallen_k.append(read.values[lifted - 6 : lifted].mean() - read.values[lifted:back].min())
    assert len(fallen_k) > 10
    assert min(fallen_k) >= 1
    assert np.median(fallen_k) <= 3
    assert max(fallen_k) <= 4


def test_a_cover_left_off_leaves_the_humidity_flat_at_40_to_60_per_cent() -> None:
    """From memory; the truth, from three hours after the cover was left off: by then leaves are dry."""
    one = lived("cover left off", 20, 30, 30)
    later = slice(one.minute(23), one.minute(30))
    humidity = one.trace.humidity_pct[later]
    dry = ~soon_after(one.around.mist_g_per_s, 180)[later]
    for tray in range(len(TRAYS)):
        flat = humidity[dry[:, tray], tray]
        assert 40 < np.median(flat) < 60
        assert np.percentile(flat, 95) - np.percentile(flat, 5) < 10


def test_a_cracked_cover_ends_at_a_plateau_of_70_to_80_per_cent() -> None:
    """From memory; the reading, from six hours on and away from airings."""
    one = lived("cover cracked", 24, 66, 66)
    moved = soon_after(one.around.is_open, 45) | (one.around.is_open > 0)
    for place, tray in enumerate(TRAYS):
        read = one.readings[Series(tray, "relative_humidity")]
        minutes = one.trace.times_ms.searchsorted(read.times_ms, side="right") - 1
        settled_now = (read.times_ms > at(30)) & ~moved[minutes, place]
        assert 70 < np.median(read.values[settled_now]) < 80
        assert (np.abs(read.values[settled_now] - 75) < 8).mean() > 0.9


def test_over_a_dry_medium_the_air_sags_to_80_to_88_per_cent() -> None:
    """From memory; the truth after two days, less than a fifth of the water left, half a day after an airing.

    That is long after growers water, when a third to a half is gone (common practice, no source). The
    tighter the cover the later: drops on it feed the air for days.
    """
    bench = PouredBench(bench_setup(), held=0.14, pours=())
    dry = bench.advance(at(56)).humidity_pct[56 * 60]
    moist = Bench(bench_setup(), START_MS).advance(at(56)).humidity_pct[56 * 60]
    assert 80 < np.median(dry) < 88
    assert (dry < moist).all()
    assert np.median(moist - dry) > 5


@pytest.mark.parametrize("room_c", [13.0, 12.0, 11.0])
def test_a_heated_tray_in_a_cool_room_drips_at_80_to_88_per_cent(room_c: float) -> None:
    """Air of 24 °C under a cover of 20 to 22 °C: the ceiling, computed; that trays do sit there, from memory.

    That is a cover of one thin skin, which loses two and a half times as much as the double one.
    """
    single = replace(P, cover_to_room_w_per_k=2.5 * P.cover_to_room_w_per_k)
    state = dripping_at(single, 24.0, room_c)
    assert state[5] > P.most_on_cover_g
    assert 20 < state[1] < 22
    assert 80 < humidity_pct(holding(single, state).now) < 88


# ------------------------------------------------------------------------------------------ heat


def test_cold_water_chills_the_medium_for_an_hour_or_longer() -> None:
    """Mist water of 10 °C or colder lowers the medium, which then needs an hour or longer to come back.

    Michigan State University Extension in Greenhouse Management, "Maximize propagation light levels for
    cuttings". Here half of the medium's water is given back at 5 °C (watering when a third to a half is gone: common
    practice, no source), and it is back within 0.3 K. Trays that are kept cool have heat to spare and are the first.
    """
    half_g = P.saturated_g / 2
    chilled, left = (
        PouredBench(bench_setup(), held=1 / 2, pours=pours).advance(at(18)).medium_c
        for pours in ([Pour(10, half_g, 5.0)], [Pour(10, half_g, 24.0)])
    )
    poured = 10 * 60
    usual_c = np.median(left[poured - 240 : poured], axis=0)
    back_min = []
    for tray in range(len(TRAYS)):
        below_k = usual_c[tray] - chilled[poured:, tray]
        assert below_k.max() > 2
        coldest = int(below_k.argmax())
        back_min.append(coldest + int(np.argmax(below_k[coldest:] < 0.3)))
    assert np.median(back_min) >= 55
    assert min(back_min) >= 40
    assert max(back_min) <= 150


def climb_k_per_h(seed: int, hour: float) -> Values:
    one = lived("heater stuck on", hour, hour + 2, hour + 2, seed)
    climbed: Values = one.trace.medium_c[one.minute(hour + 1)] - one.trace.medium_c[one.minute(hour)]
    return climbed


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("hour", [3, 9.5, 15])
def test_a_stuck_heater_climbs_by_2_to_6_kelvin_in_its_first_hour(seed: int, hour: float) -> None:
    """From memory; the truth, by night and under the lamp, on both edges of the thermostat's swing."""
    assert climb_k_per_h(seed, hour).min() >= 2
    assert climb_k_per_h(seed, hour).max() <= 6


@pytest.mark.parametrize("seed", SEEDS)
def test_a_dead_heater_relaxes_with_a_time_constant_of_1_5_to_4_hours(seed: int) -> None:
    """From memory; the truth in the dark, from the dead heater's first minute until the lamp comes on."""
    one = lived("heater dead", 0, 5, 5, seed)
    above_k = one.trace.medium_c - one.around.room_c
    hours = np.arange(len(above_k)) / 60
    for tray in range(len(TRAYS)):
        time_constant_h = -1 / np.polyfit(hours, np.log(above_k[:, tray]), 1)[0]
        assert 1.5 < time_constant_h < 4


@pytest.mark.parametrize("seed", SEEDS)
def test_the_lamp_lifts_the_air_by_1_to_3_kelvin(seed: int) -> None:
    """From memory; the reading, an hour before it goes off against an hour and a half after."""
    one = steady(seed)
    times_ms = one.trace.times_ms
    for place, tray in enumerate(TRAYS):
        read = one.readings[Series(tray, "air_temperature")]
        for off in np.flatnonzero(np.diff(one.around.lamp[:, place]) < 0):
            went_off_ms = times_ms[off]
            before, gone, after, end = read.times_ms.searchsorted(
                went_off_ms + np.array([-60, 0, 60, 120]) * MINUTE_MS
            )
            lifted_k = read.values[before:gone].mean() - read.values[after:end].mean()
            assert 1 < lifted_k < 3


# ----------------------------------------------------------------------------------------- water


def loss_g_per_h(one: Lived, from_h: float, to_h: float) -> Values:
    first, last = one.minute(from_h), one.minute(to_h)
    lost: Values = (one.trace.mass_g[first] - one.trace.mass_g[last]) / (to_h - from_h)
    return lost


@pytest.mark.parametrize("seed", SEEDS)
def test_a_covered_tray_loses_0_2_to_1_5_grams_an_hour_by_night_and_by_day(seed: int) -> None:
    """From memory; on the scale, between the evening's round and the morning's, and between two by day."""
    for from_h, to_h in ((0, 4.5), (10, 13), (24, 28.5), (34, 37)):
        lost = loss_g_per_h(steady(seed), from_h, to_h)
        assert lost.min() > 0.2
        assert lost.max() < 1.5


@pytest.mark.parametrize("seed", SEEDS)
def test_an_uncovered_tray_loses_5_to_25_grams_an_hour(seed: int) -> None:
    """From memory; on the scale, by night."""
    lost = loss_g_per_h(lived("cover left off", 22, 30, 30, seed), 24, 28)
    assert lost.min() > 5
    assert lost.max() < 25


def test_a_lifted_cover_is_a_square_pulse_of_150_to_400_grams_on_the_scale() -> None:
    """From memory; equal each time but for what was misted meanwhile and what hung on the cover."""
    one = steady(1)
    for place in range(len(TRAYS)):
        mass_g = one.trace.mass_g[:, place]
        is_open = one.around.is_open[:, place]
        lifted = np.flatnonzero(np.diff(is_open) > 0)
        back = np.flatnonzero(np.diff(is_open) < 0)
        assert len(lifted) == len(back) > 6
        for pulses in (mass_g[lifted] - mass_g[lifted + 1], mass_g[back + 1] - mass_g[back]):
            assert pulses.min() > 150
            assert pulses.max() < 400
            assert np.ptp(pulses) < 50
