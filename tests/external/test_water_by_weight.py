"""Water by weight against what growers and universities say of it, and against a pretended tray's true water.

A tray that weighs 3000 g full and 1200 g dry is a worked example of the trade; the shares follow from the definition.
That 0.89 of what a medium holds can be taken up by plants is published by a university's training pages for growers,
the mean over 38 commercial substrates. What cuttings grow is from memory.
"""

import pytest

from wardian.rules.water import available_g, fraction_lost, mass_at
from wardian.simulator.bench import Bench
from wardian.simulator.flows import WATER
from wardian.simulator.parameters import TrayParameters
from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime, TraySetup
from wardian.simulator.wall import MS_PER_DAY, MS_PER_HOUR

FULL_G, DRY_G = 3000.0, 1200.0


@pytest.mark.parametrize(
    ("mass_g", "fraction", "tolerance"),
    [
        (2400, 1 / 3, 1e-12),  # a third: water a tray without roots
        (2100, 1 / 2, 1e-12),  # a half: water a tray with roots
        (2450, 0.306, 5e-4),
        (2700, 0.17, 5e-3),
        (1920, 0.6, 1e-12),  # urgent
        (3000, 0.0, 1e-12),
    ],
)
def test_the_worked_example_of_the_trade(mass_g: float, fraction: float, tolerance: float) -> None:
    assert fraction_lost(mass_g, FULL_G, DRY_G) == pytest.approx(fraction, abs=tolerance)


def test_plants_can_take_up_nine_tenths_of_what_a_medium_holds() -> None:
    assert available_g(FULL_G, DRY_G) == pytest.approx(1602)


@pytest.mark.parametrize("grown_g", [100, 200])
def test_growth_reads_as_wetter_than_true_until_the_tray_is_weighed_full_anew(grown_g: float) -> None:
    # A hundred cuttings gain 1 to 2 g each before they are potted.
    true_fraction = 1 / 3
    mass_g = mass_at(true_fraction, FULL_G, DRY_G) + grown_g
    before = fraction_lost(mass_g, FULL_G, DRY_G)
    anew = fraction_lost(mass_g, FULL_G + grown_g, DRY_G)
    assert before < anew < true_fraction
    assert true_fraction - anew < (true_fraction - before) / 2


def test_the_share_follows_the_true_water_of_a_pretended_tray_under_its_lamp() -> None:
    """But for what leaves and cover can hold, 3 % of the medium's water: it is weighed, too, and the tray reads wetter."""
    p = TrayParameters()
    setup = BenchSetup((TraySetup("tray-a", (Regime(SOME_TIME_MS, 25.0),)),))
    bench = Bench(setup, 20_000 * MS_PER_DAY)
    saturated_g, dry_g = p.dry_g + p.cover_g + p.saturated_g, p.dry_g + p.cover_g
    seen, lit = [], 0
    for _ in range(5 * 24):
        trace = bench.advance(bench.now_ms + MS_PER_HOUR)
        true_share = 1 - float(bench.moment.stores[WATER, 0]) / p.saturated_g
        if trace.mass_g[-1, 0] > dry_g:
            seen.append(fraction_lost(float(trace.mass_g[-1, 0]), saturated_g, dry_g) - true_share)
        lit += trace.light_lx[-1, 0] > 1000
    assert lit > 5 * 15
    most_in_drops = (p.most_on_leaves_g + p.most_on_cover_g + 1) / p.saturated_g
    assert -most_in_drops <= min(seen) <= max(seen) <= 0.001
