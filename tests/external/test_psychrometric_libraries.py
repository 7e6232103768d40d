"""Our formulas against three libraries that know nothing of us, over all that a tray can meet.

Numbers: computed on the spot by PsychroLib (ASHRAE Handbook Fundamentals 2017, equation 6), iapws
(IAPWS-95 and IAPWS-IF97, the reference for water and steam) and MetPy (Ambaum 2020; dew point by Bolton 1980).

Tolerances, 0 to 45 °C: saturation pressure 0.35 %, for the Magnus form is at most 0.315 % below IAPWS-95
there; deficits the same share of themselves, and 0.01 kPa where trays live (up to 30 °C, from 40 %);
dew points 0.1 K: PsychroLib from 0 °C up, for below it turns to ice; MetPy in air up to 30 °C, for it
saturates by one formula and inverts another: its saturated air of 35 °C has a dew point of 34.89 °C.
"""

from collections.abc import Callable

import numpy as np
import psychrolib
import pytest
from iapws import IAPWS95, IAPWS97
from metpy.calc import dewpoint_from_relative_humidity, saturation_vapor_pressure
from metpy.units import units

from wardian.rules.air import (
    absolute_humidity_g_m3,
    dew_point_array,
    dew_point_c,
    leaf_vapour_pressure_deficit_kpa,
    saturation_vapour_pressure_kpa,
    saturation_vapour_pressure_kpa_array,
    vapour_pressure_deficit_kpa,
)

SATURATION_REL = 0.0035
DEFICIT_KPA = 0.01
DEW_POINT_K = 0.1
HALF_DEGREES_C = [half / 2 for half in range(1, 91)]
#: Air of 0 to 45 °C, 5 to 100 %.
PAIRS = [(float(air_c), float(humidity_pct)) for air_c in range(46) for humidity_pct in range(5, 101, 5)]

psychrolib.SetUnitSystem(psychrolib.SI)


def by_psychrolib_kpa(temperature_c: float) -> float:
    return float(psychrolib.GetSatVapPres(temperature_c)) / 1000


def by_iapws95_kpa(temperature_c: float) -> float:
    return float(IAPWS95(T=temperature_c + 273.15, x=0).P) * 1000


def by_iapws97_kpa(temperature_c: float) -> float:
    return float(IAPWS97(T=temperature_c + 273.15, x=0).P) * 1000


@pytest.mark.parametrize("reference", [by_psychrolib_kpa, by_iapws95_kpa, by_iapws97_kpa])
def test_saturation_pressure_at_every_half_degree(reference: Callable[[float], float]) -> None:
    for temperature_c in HALF_DEGREES_C:
        expected_kpa = reference(temperature_c)
        assert saturation_vapour_pressure_kpa(temperature_c) == pytest.approx(
            expected_kpa, rel=SATURATION_REL
        )


def test_the_largest_deviation_from_the_reference_is_the_one_we_state() -> None:
    """What the documentation says is kept: 0.315 % too low near 27.5 °C, never more than 0.01 % too high."""
    deviations = [
        saturation_vapour_pressure_kpa(temperature_c) / by_iapws95_kpa(temperature_c) - 1
        for temperature_c in HALF_DEGREES_C
    ]
    assert min(deviations) == pytest.approx(-0.00315, abs=0.00001)
    assert HALF_DEGREES_C[deviations.index(min(deviations))] == pytest.approx(27.5, abs=0.5)
    assert max(deviations) < 0.0001


def test_saturation_pressure_of_metpy() -> None:
    temperatures_c = np.array([0.0, *HALF_DEGREES_C])
    theirs_kpa = saturation_vapor_pressure(temperatures_c * units.degC).to("kPa").magnitude
    assert saturation_vapour_pressure_kpa_array(temperatures_c) == pytest.approx(
        theirs_kpa, rel=SATURATION_REL
    )


@pytest.mark.parametrize("reference", [by_psychrolib_kpa, by_iapws97_kpa])
def test_deficits_over_temperature_and_humidity(reference: Callable[[float], float]) -> None:
    for air_c, humidity_pct in PAIRS:
        if air_c == 0:
            continue  # the steam tables begin at 0.01 °C
        expected_kpa = reference(air_c) * (1 - humidity_pct / 100)
        ours_kpa = vapour_pressure_deficit_kpa(air_c, humidity_pct)
        assert ours_kpa == pytest.approx(expected_kpa, rel=SATURATION_REL)
        if air_c <= 30 and humidity_pct >= 40:
            assert ours_kpa == pytest.approx(expected_kpa, abs=DEFICIT_KPA)


def test_the_deficit_of_psychrolib_itself() -> None:
    humidity_ratio = psychrolib.GetHumRatioFromRelHum(24.0, 0.95, 101_325)
    theirs_kpa = psychrolib.GetVaporPressureDeficit(24.0, humidity_ratio, 101_325) / 1000
    assert vapour_pressure_deficit_kpa(24.0, 95.0) == pytest.approx(theirs_kpa, rel=SATURATION_REL)


@pytest.mark.parametrize("leaf_less_air_k", [-3.0, -1.0, 0.0, 2.0])
def test_leaf_deficits_in_nearly_saturated_air(leaf_less_air_k: float) -> None:
    for air_c in range(15, 31):
        leaf_c = air_c + leaf_less_air_k
        expected_kpa = by_iapws97_kpa(leaf_c) - 0.95 * by_iapws97_kpa(float(air_c))
        ours_kpa = leaf_vapour_pressure_deficit_kpa(leaf_c, float(air_c), 95.0)
        assert ours_kpa == pytest.approx(expected_kpa, abs=DEFICIT_KPA)


def test_dew_points_of_psychrolib_from_freezing_up() -> None:
    for air_c, humidity_pct in PAIRS:
        theirs_c = psychrolib.GetTDewPointFromRelHum(air_c, humidity_pct / 100)
        if theirs_c >= 0:
            assert dew_point_c(air_c, humidity_pct) == pytest.approx(theirs_c, abs=DEW_POINT_K)


def test_dew_points_of_metpy_over_water_on_both_sides_of_freezing() -> None:
    airs_c, humidities_pct = np.array(PAIRS).T
    theirs_c = dewpoint_from_relative_humidity(airs_c * units.degC, humidities_pct / 100).to("degC").magnitude
    within = airs_c <= 30
    ours_c = dew_point_array(airs_c[within], humidities_pct[within])
    assert ours_c == pytest.approx(theirs_c[within], abs=DEW_POINT_K)
    assert ours_c.min() < -30


def test_absolute_humidity_from_the_density_of_saturated_steam() -> None:
    """Steam alone, so without the air: a real gas is up to 0.5 % denser than our ideal one."""
    for temperature_c in HALF_DEGREES_C:
        steam_g_m3 = IAPWS97(T=temperature_c + 273.15, x=1).rho * 1000
        assert absolute_humidity_g_m3(temperature_c, 100.0) == pytest.approx(steam_g_m3, rel=0.006)
