"""The table of lamps, and daily light made of lux by it, against published and computed figures.

Factors: Thimijan and Heins 1983, HortScience 18(6), 818-822, read where two or one public pages repeat its table;
a lamp maker's later additions to it; and computed from the CIE's spectra with colour-science 0.4.7, 380 to 780 nm,
photons from 400 to 700 nm. Tolerance: half a unit of the last digit that is used. The worked day of 38.1 µmol for
12 h is a university extension's; the others are closed forms.
"""

from datetime import UTC

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.lamps import LampFactor, known_lamps
from wardian.rules.light_days import light_days
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import points

LAMPS = known_lamps(parse)
MINUTE_MS = 60_000
UTC_DAY_MS = 1440 * MINUTE_MS

#: Lux of one µmol m⁻² s⁻¹, as printed.
PUBLISHED = {
    "sunlight": 54,
    "incandescent": 50,
    "cool white fluorescent": 74,
    "metal halide": 71,
    "high-pressure sodium": 82,
    "double-ended high-pressure sodium": 77,
    "ceramic metal halide 4200 K": 65,
    "ceramic metal halide 3100 K": 59,
}
#: The same computed from the CIE's spectra, lamps that are in no table.
COMPUTED = {
    "white LED 2700 K": 67.1,
    "white LED 3000 K": 67.9,
    "white LED 4000 K": 69.7,
    "white LED 5000 K": 71.7,
    "white LED 6500 K": 69.4,
    "violet-pumped white LED 2700 K": 53.1,
    "violet-pumped white LED 4000 K": 56.6,
}
#: Computed from spectra of lamps that are in a table, too: the limits hold them.
BESIDE = {
    "sunlight": (55.5, 56.2),
    "incandescent": (50.3,),
    "cool white fluorescent": (76.5,),
    "high-pressure sodium": (85.8,),
    "metal halide": (67.1, 61.8),
}


def test_every_lamp_of_the_table_is_held_against_a_figure() -> None:
    assert LAMPS.factors.keys() == PUBLISHED.keys() | COMPUTED.keys()


@pytest.mark.parametrize("name", PUBLISHED)
def test_a_factor_is_that_of_the_printed_table(name: str) -> None:
    assert LAMPS.factors[name].lux_per_umol == PUBLISHED[name]


@pytest.mark.parametrize("name", COMPUTED)
def test_a_factor_of_an_led_is_that_of_its_spectrum(name: str) -> None:
    assert LAMPS.factors[name].lux_per_umol == pytest.approx(COMPUTED[name], abs=0.5)


@pytest.mark.parametrize("name", BESIDE)
def test_the_limits_of_a_factor_hold_what_its_spectrum_gives(name: str) -> None:
    lamp = LAMPS.factors[name]
    assert all(lamp.least - 0.5 <= one <= lamp.most + 0.5 for one in BESIDE[name])


def test_full_sun_of_108000_lux_is_2000_micromoles() -> None:
    """Printed beside the table of 1983."""
    assert 108_000 / LAMPS.factors["sunlight"].lux_per_umol == pytest.approx(2000)


@pytest.mark.parametrize(
    ("ppfd", "hours", "printed", "within"), [(38.1, 12, 1.6, 0.05), (60, 16, 3.456, 1e-9)]
)
@pytest.mark.parametrize("lamp", LAMPS.factors.values(), ids=lambda lamp: lamp.name)
def test_a_worked_day_is_the_same_by_ppfd_and_by_the_lux_of_any_lamp(
    lamp: LampFactor, ppfd: float, hours: int, printed: float, within: float
) -> None:
    factor = lamp.lux_per_umol
    assert daily_mol(ppfd, hours, None) == pytest.approx(printed, abs=within)
    assert daily_mol(ppfd * factor, hours, factor) == pytest.approx(printed, abs=within)


def test_hourly_means_of_a_cool_white_lamp_make_the_day_of_the_worked_case() -> None:
    """6 h at 0 lx, then 18 h at 7400 lx: 6.48 mol, a sum."""
    assert daily_mol(7400, 18, PUBLISHED["cool white fluorescent"]) == pytest.approx(6.48, rel=1e-9)


def daily_mol(light: float, hours: int, lux_per_umol: float | None) -> float:
    """Return the photons of a day whose last hours are lit, read every minute."""
    plan = TrayPlan("tray-a", (), 5 * MINUTE_MS, LampRule("ppfd", 50, 40), lux_per_umol=lux_per_umol)
    lit_from = 1440 - 60 * hours
    read = points(range(0, UTC_DAY_MS, MINUTE_MS), [light * (minute >= lit_from) for minute in range(1440)])
    (day,) = light_days({plan.photon_light: read}, plan, (0, UTC_DAY_MS), UTC)
    assert day.photons is not None
    return day.photons.measured
