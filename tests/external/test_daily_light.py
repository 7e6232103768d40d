"""Light hours and the daily light integral against worked cases.

Numbers: worked out by hand from the definitions. Daily light integral: the sum of photon flux density
times time over a day (terms of ANSI/ASABE S640, from memory); 1 µmol m⁻² s⁻¹ for 24 h is 0.0864 mol m⁻².
Light hours: the overlap of the lamp's spans with a window of 24 h.

Tolerances: sums of constant light 1e-9; light hours none. A half-sine sampled every minute is its
trapezium sum, (π/840)²/12 or 1.2e-6 low for a day of 14 h: 2e-6.
"""

from collections.abc import Callable
from math import pi, sin

import numpy as np
import pytest

from wardian.rules.judging import Stretch
from wardian.rules.light import LitTime, PhotonSum
from wardian.rules.plans import LampRule

MINUTE_MS = 60_000
HOUR_MS = 3_600_000
HOLD_MS = 5 * MINUTE_MS
LAMP = LampRule("illuminance", lit_above=1000.0, dark_at=900.0)


def every_minute(from_h: float, to_h: float, light: Callable[[float], float]) -> Stretch:
    """Return readings each minute, both ends included, of light as a function of the hour."""
    minutes = range(round(from_h * 60), round(to_h * 60) + 1)
    values = np.array([light(minute / 60) for minute in minutes])
    times_ms = np.array(minutes, dtype=np.int64) * MINUTE_MS
    return Stretch(times_ms, times_ms + HOLD_MS, values, values)


def lamp(ppfd: float, hours: float) -> Callable[[float], float]:
    """Return light that is lit from the start of the day for some hours."""
    return lambda hour: ppfd if hour < hours else 0.0


CONSTANT = [
    (1, 24, 0.0864),
    (50, 16, 2.88),
    (60, 16, 3.456),
    (60, 18, 3.888),
    (75, 18, 4.86),
    (100, 12, 4.32),
    (100, 18, 6.48),
    (120, 20, 8.64),
    (200, 16, 11.52),
    (2000, 1, 7.2),
]


@pytest.mark.parametrize(("ppfd", "hours", "integral"), CONSTANT)
def test_the_integral_of_constant_light(ppfd: float, hours: float, integral: float) -> None:
    summed = PhotonSum(HOLD_MS).integrals(every_minute(0, 24, lamp(ppfd, hours)))
    assert summed.for_high[-1] == pytest.approx(integral, rel=1e-9)
    assert summed.for_low[-1] == pytest.approx(integral, rel=1e-9)


def test_the_integral_of_a_triangle_is_its_area() -> None:
    triangle = every_minute(0, 24, lambda hour: max(0.0, 400 * (1 - abs(hour - 6) / 6)))
    assert PhotonSum(HOLD_MS).integrals(triangle).for_high[-1] == pytest.approx(8.64, rel=1e-9)


def test_the_integral_of_a_half_sine() -> None:
    """Peak 500 µmol m⁻² s⁻¹, a day of 14 h: 2/π times peak times length."""
    day = every_minute(0, 24, lambda hour: 500 * sin(pi * hour / 14) if hour < 14 else 0.0)
    assert PhotonSum(HOLD_MS).integrals(day).for_high[-1] == pytest.approx(16.0428183, rel=2e-6)


def test_two_hours_without_data_are_neither_counted_nor_held_against_the_lamp() -> None:
    """18 h at 100 µmol with a gap of 2 h: 5.76 was seen, 6.48 is possible at the highest light seen."""
    day = every_minute(0, 24, lamp(100, 18))
    seen = (day.from_ms <= 6 * HOUR_MS - HOLD_MS) | (day.from_ms >= 8 * HOUR_MS)
    times_ms, values = day.from_ms[seen], day.for_high[seen]
    summed = PhotonSum(HOLD_MS).integrals(Stretch(times_ms, times_ms + HOLD_MS, values, values))
    assert summed.for_high[-1] == pytest.approx(5.76, rel=1e-9)
    assert summed.for_low[-1] == pytest.approx(6.48, rel=1e-9)


#: The lamp's spans, the end of the window of 24 h, light hours in it.
SPANS: list[tuple[list[tuple[float, float]], float, float]] = [
    ([(6, 24)], 24, 18.0),
    ([(5, 23)], 24, 18.0),
    ([(20, 38), (44, 62)], 48, 18.0),  # lit 20:00 to 14:00: the calendar day holds parts of two spans
    ([(6, 12), (12.5, 24)], 24, 17.5),  # half an hour's failure at noon
    ([(6, 24), (30, 48)], 36, 18.0),
    ([(6, 24), (30, 48)], 27, 18.0),
    ([(0, 48)], 34, 24.0),  # stuck on
    ([], 24, 0.0),  # stuck off
]


@pytest.mark.parametrize(("spans", "end_h", "light_h"), SPANS)
def test_light_hours_of_the_trailing_day(
    spans: list[tuple[float, float]], end_h: float, light_h: float
) -> None:
    readings = every_minute(
        end_h - 24, end_h, lambda hour: 7400.0 if any(on <= hour < off for on, off in spans) else 0.0
    )
    hours = LitTime(LAMP, HOLD_MS).hours(readings)
    assert hours.for_high[-1] == light_h
    assert hours.for_low[-1] == light_h


def test_common_practice_of_eighteen_hours_gives_five_moles_at_77_micromoles() -> None:
    """18 h (common practice, no source) at 77.2 µmol m⁻² s⁻¹ is a daily light integral of 5."""
    summed = PhotonSum(HOLD_MS).integrals(every_minute(0, 24, lamp(77.2, 18)))
    assert summed.for_high[-1] == pytest.approx(5.0, abs=0.005)
