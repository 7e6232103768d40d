"""What growers say of rooting under cover, in our units: common practice, no source.

75 to 80 °F by day and night, nearly saturated air, about 18 hours of gentle light. The figures are those
of the trade; what they amount to follows by exact conversion (rounded once), by the Magnus form of
WMO-No. 8 and by the definition of the daily light integral. Tolerance: the last digit shown.
"""

import pytest

from wardian.rules.air import dew_point_c, vapour_pressure_deficit_kpa
from wardian.rules.units import UNITS, in_own_unit

LOW_F = "75"  # common practice, no source
HIGH_F = "80"  # common practice, no source
NEARLY_SATURATED_PCT = 95.0  # common practice, no source: "near saturation"
LIGHT_H = "18"  # common practice, no source

FAHRENHEIT = UNITS["temperature"]["°F"]


def test_the_warm_band_in_celsius() -> None:
    assert in_own_unit(LOW_F, FAHRENHEIT) == 23.88888888888889
    assert in_own_unit(HIGH_F, FAHRENHEIT) == 26.666666666666668
    assert round(in_own_unit(LOW_F, FAHRENHEIT), 1) == 23.9
    assert round(in_own_unit(HIGH_F, FAHRENHEIT), 1) == 26.7


@pytest.mark.parametrize(
    ("fahrenheit", "deficit_kpa", "dew_point"), [(LOW_F, 0.148, 23.04), (HIGH_F, 0.174, 25.80)]
)
def test_nearly_saturated_air_draws_little_and_wets_a_leaf_one_kelvin_cooler(
    fahrenheit: str, deficit_kpa: float, dew_point: float
) -> None:
    air_c = in_own_unit(fahrenheit, FAHRENHEIT)
    assert vapour_pressure_deficit_kpa(air_c, NEARLY_SATURATED_PCT) == pytest.approx(deficit_kpa, abs=0.0005)
    assert dew_point_c(air_c, NEARLY_SATURATED_PCT) == pytest.approx(dew_point, abs=0.005)
    assert air_c - dew_point_c(air_c, NEARLY_SATURATED_PCT) < 1


def test_the_day_of_light_in_seconds_and_hours() -> None:
    assert in_own_unit(LIGHT_H, UNITS["duration"]["h"]) == 64_800
    assert in_own_unit(LIGHT_H, UNITS["hours"]["h"]) == 18
    assert in_own_unit("1080", UNITS["hours"]["min"]) == 18
