"""The integration of the pretended tray against scipy's, on one stiff day and through the kinks of an airing.

Numbers: scipy's ``solve_ivp`` with Radau (implicit Runge and Kutta of order 5) on the balance as written by
hand in ``tray_by_hand``, relative tolerance 1e-9: it knows neither our method nor our table of flows.

The day is stiff: vapour condenses within 3 s, the medium cools within 3 h, a step is a minute. What we claim
and test: order 2 for the temperatures of air and medium in steps of 60 s down to 7.5 s, and for the vapour too
once steps are shorter than its own 3 s; above that its error (and through it the cover's) falls more slowly, as
is known of stiff parts, and is below 1e-3 K and 0.01 %RH all the same.
"""

from collections.abc import Sequence
from functools import cache
from math import cos, pi
from typing import Final

import numpy as np
import pytest
from lone_bench import at, bench_setup, fault, set_in_pieces, soon_after
from lone_tray import by_hand, holding, live, warm
from tray_by_hand import Around, State, lived, magnus_kpa, rates, water_flows

from wardian.rules.readings import Values
from wardian.simulator.bench import Bench
from wardian.simulator.evening_class import START_MS
from wardian.simulator.parameters import VAPOUR_KPA_M3_PER_G_K, TrayParameters

P = TrayParameters()
DAY_S: Final = 86_400
ROOM_KPA = 0.48 * magnus_kpa(19.0)


def hour_of_day(hour: int) -> Around:
    """Return a day hour by hour: the room's swing, the lamp from 5 to 23, a mat that never switches."""
    lit = 5 <= hour < 23
    return Around(
        room_c=19 + 3 * cos(2 * pi * (hour - 15) / 24),
        room_kpa=ROOM_KPA,
        lamp=float(lit),
        mat=0.25 if lit else 0.45,
    )


STIFF_DAY = tuple((hour_of_day(hour), 3600) for hour in range(24))
AIRED = Around(19.0, ROOM_KPA, mat=0.45)
#: Minutes of a cover that is lifted for eight of them, and of a lamp that comes on and goes off.
AIRING = (
    *((AIRED, 60),) * 5,
    *((AIRED._replace(is_open=True), 60),) * 8,
    *((AIRED, 60),) * 30,
    *((AIRED._replace(lamp=1.0), 60),) * 30,
    *((AIRED, 60),) * 30,
)
LIFTED_MIN, BACK_MIN = 5, 13


@cache
def dripping() -> tuple[float, ...]:
    """Return a tray that has dripped for hours: no kink is left in its way but those a test puts there."""
    balance = warm(P)
    live(balance, hour_of_day(0), 30 * 3600)
    return tuple(by_hand(balance.now))


@cache
def by_scipy(way: tuple[tuple[Around, int], ...]) -> Values:
    state, seen = np.array(dripping()), []
    for around, seconds in way:
        state = lived(P, around, state, seconds)
        seen.append(state)
    return np.array(seen)


def by_steps(way: Sequence[tuple[Around, int]], step_s: float) -> Values:
    balance, seen = holding(P, np.array(dripping())), []
    for around, seconds in way:
        live(balance, around, seconds, step_s)
        seen.append(by_hand(balance.now))
    return np.array(seen)


def humidities_pct(states: Values) -> Values:
    kpa = states[:, 3] * VAPOUR_KPA_M3_PER_G_K * (states[:, 0] + 273.15) / P.air_m3
    pct: Values = 100 * kpa / np.array([magnus_kpa(air_c) for air_c in states[:, 0]])
    return pct


def order(errors: Sequence[float]) -> float:
    """Return the order of convergence: by which power of the step errors fell as it was halved each time."""
    return float(np.log2(errors[0] / errors[-1])) / (len(errors) - 1)


def test_a_day_converges_with_order_two_as_steps_shrink() -> None:
    errors = [np.abs(by_steps(STIFF_DAY, step_s) - by_scipy(STIFF_DAY)) for step_s in (60, 30, 15, 7.5)]
    for place in (0, 2):
        assert order([float(error[:, place].max()) for error in errors]) >= 1.8
    assert order([float(error[:, 1].max()) for error in errors]) >= 1
    assert max(error[:, :3].max() for error in errors) < 1e-3
    pct = np.abs(humidities_pct(by_steps(STIFF_DAY, 60)) - humidities_pct(by_scipy(STIFF_DAY)))
    assert pct.max() < 0.01


def test_the_day_is_stiff_and_crosses_no_kink() -> None:
    """Else the order would say nothing. Its quickest part is a thousand times quicker than its slowest."""
    state = by_scipy(STIFF_DAY)[12]
    slopes = np.empty((4, 4))
    for place in range(4):
        moved = state.copy()
        moved[place] += 1e-6
        slopes[:, place] = (rates(P, hour_of_day(12), moved) - rates(P, hour_of_day(12), state))[:4] / 1e-6
    per_s = np.sort(np.linalg.eigvals(slopes).real)
    assert per_s[0] * 60 < -10
    assert per_s[0] / per_s[-1] > 1000
    for one_state, (around, _) in zip(by_scipy(STIFF_DAY), STIFF_DAY, strict=True):
        water = water_flows(P, around, one_state)
        assert min(water.condensed, water.dripped, water.transpired, water.evaporated) > 0
        assert one_state[4] == 0


def test_steps_shorter_than_the_vapours_own_time_converge_with_order_two_in_everything() -> None:
    jump = Around(17.0, ROOM_KPA, lamp=1.0, mat=0.2)
    end = lived(P, jump, np.array(dripping()), 120)
    errors = []
    for step_s in (0.25, 0.125, 0.0625):
        balance = holding(P, np.array(dripping()))
        live(balance, jump, 120, step_s)
        errors.append(np.abs(by_hand(balance.now) - end))
    for place in (0, 2, 3):
        assert order([float(error[place]) for error in errors]) >= 1.8


def test_errors_keep_falling_through_the_kinks_of_an_airing() -> None:
    """Dew ends and begins: a minute's steps are within 0.03 K and 1 %RH, and within 0.2 %RH from the third on."""
    reference = by_scipy(AIRING)
    worst = []
    for step_s in (60, 30, 15, 7.5):
        states = by_steps(AIRING, step_s)
        pct = np.abs(humidities_pct(states) - humidities_pct(reference))
        worst.append((float(np.abs(states - reference)[:, :3].max()), float(pct.max())))
        later = [minute for minute in range(len(AIRING)) if minute - LIFTED_MIN not in (0, 1, 8, 9)]
        assert pct[later].max() < 0.2
    kelvins, pcts = zip(*worst, strict=True)
    assert list(kelvins) == sorted(kelvins, reverse=True)
    assert list(pcts) == sorted(pcts, reverse=True)
    assert kelvins[0] < 0.03
    assert pcts[0] < 1
    assert kelvins[-1] < kelvins[0] / 10
    assert pcts[-1] < pcts[0] / 4


def test_ten_seconds_and_a_minute_agree_on_a_whole_bench() -> None:
    """Thermostats decide alike in both; left alone they may switch a minute apart, and stay apart.

    Tolerances at whole minutes: 0.05 K and 0.5 %RH, and for six minutes after a cover moves, begins to leak
    or is misted under, or a lamp jumps, 0.2 K and 4 %RH: there vapour changes within seconds.
    """
    faults = (
        *fault("cover left off", 8, 12, ["tray-a"]),
        *fault("over-misted", 0, 24, ["tray-b"]),
        *fault("cover cracked", 5, 20, ["tray-c"]),
        *fault("heater stuck on", 10, 16, ["tray-d"]),
        *fault("cold night", 10, 22, ["tray-e"]),
        *fault("medium left dry", 0, 24, ["tray-f"]),
    )
    minutely, finely = (Bench(bench_setup(faults), START_MS) for _ in range(2))
    heated = set_in_pieces(minutely).heated
    whole = minutely.advance(at(24))
    set_in_pieces(finely, 6, heated)
    pieces = finely.advance(at(24))
    around = minutely.surroundings(whole.times_ms)
    kelvins = np.max(
        [
            np.abs(whole.air_c - pieces.air_c),
            np.abs(whole.cover_c - pieces.cover_c),
            np.abs(whole.medium_c - pieces.medium_c),
        ],
        axis=0,
    )
    pct = np.abs(whole.humidity_pct - pieces.humidity_pct)
    near_move = soon_after(around.is_open, 6) | soon_after(around.changes_per_h, 6)
    near_move |= soon_after(around.mist_g_per_s, 6) | soon_after(around.lamp, 6)
    assert 0.01 < near_move.mean() < 0.15
    assert kelvins.max() < 0.2
    assert kelvins[~near_move].max() < 0.05
    assert pct.max() < 4
    assert pct[~near_move].max() < 0.5
    assert np.abs(whole.mass_g - pieces.mass_g).max() < 0.2


@pytest.mark.parametrize("step_s", [300.0, 1800.0, 3600.0, 6 * 3600.0])
def test_steps_up_to_six_hours_end_up_in_the_same_place(step_s: float) -> None:
    """Lamp, open cover and watering, rest: six hours of each. Within 0.05 K and 0.2 g of steps of a minute."""

    def end(step_s: float) -> State:
        balance = warm(P)
        for around in (AIRED._replace(lamp=1.0), AIRED._replace(is_open=True, watering_g_per_s=0.002), AIRED):
            live(balance, around, 6 * 3600, step_s)
        return by_hand(balance.now)

    apart = np.abs(end(step_s) - end(60.0))
    assert apart[:3].max() < 0.05
    assert apart[3:].max() < 0.2
