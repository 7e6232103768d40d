"""The warmth of the medium against what was published about poinsettia, and warmth summed by hand.

Source:
    Wilkerson, Gates, Zolnier, Kester & Geneve, Predicting rooting stages in poinsettia cuttings using root zone
    temperature-based models, J. Amer. Soc. Hort. Sci. 130(3):302-307 (2005), read as an abstract: roots began best at
    28 °C and grew best at 26 °C; at or below 20 °C and at or above 32 °C rooting was very slow (more than 24 days) or
    absent; a linear model on daily means with a base of 21 °C told the days to visible roots within 1.6 days. No sum of
    degree-days was read, so none is checked here.
"""

import numpy as np
import pytest
from still_trays import DAY, ground, healthy

from wardian.rules.crops import Aim, Crop, Stage
from wardian.rules.postmortem.became import Became
from wardian.rules.postmortem.findings import findings
from wardian.rules.postmortem.ground import MEDIUM, Ground
from wardian.rules.postmortem.harm import CHILLED, TOO_COLD, TOO_HOT
from wardian.rules.postmortem.light import days_of
from wardian.rules.postmortem.warmth import degree_hours

#: Bands set around the two optima; their limits are a judgement.
POINSETTIA = Crop(
    "poinsettia",
    (
        Stage("callusing", 0, aims={MEDIUM: Aim(26.0, 28.0)}),
        Stage("rooting", 12, aims={MEDIUM: Aim(24.0, 27.0)}),
    ),
    due_day=24,
    warmth_base_c=21.0,
)


def kept_at(*medium_c: float) -> Ground:
    """Return a tray whose medium was at each temperature for as long as at the others, over 24 days."""
    minutes = healthy(24)
    return ground(
        {
            MEDIUM: np.repeat(medium_c, 24 * DAY // len(medium_c)),
            "relative_humidity": minutes["relative_humidity"],
        },
        crop=POINSETTIA,
    )


def named(grown: Ground) -> list[str]:
    return [one.name for one in findings(grown, days_of(grown), Became(None, {}), frozenset())]


def test_nothing_is_named_of_a_medium_at_the_published_optima() -> None:
    assert named(kept_at(28.0, 26.0)) == []


@pytest.mark.parametrize("medium_c", [20.0, 18.0, 15.0])
def test_a_medium_in_which_roots_were_slow_or_absent_for_cold_is_named_too_cold(medium_c: float) -> None:
    assert named(kept_at(medium_c)) == [TOO_COLD]


@pytest.mark.parametrize("medium_c", [32.0, 35.0])
def test_a_medium_in_which_roots_were_slow_or_absent_for_heat_is_named_too_hot(medium_c: float) -> None:
    assert named(kept_at(medium_c)) == [TOO_HOT]


def test_what_chills_is_named_as_that() -> None:
    # From memory: poinsettia is injured below about 10 °C.
    assert named(kept_at(9.0)) == [CHILLED]


@pytest.mark.parametrize(
    ("medium_c", "base_c", "days", "kelvin_days"),
    [
        # By hand: the mean above the base times the days.
        ((28.0, 26.0), 21.0, 24, 6.0 * 24),
        ((28.0,), 21.0, 24, 7.0 * 24),
        # Below the base nothing is taken away.
        ((28.0, 15.0), 21.0, 24, 7.0 * 12),
        ((20.0,), 21.0, 24, 0.0),
    ],
)
def test_warmth_is_summed_above_the_base(
    medium_c: tuple[float, ...], base_c: float, days: int, kelvin_days: float
) -> None:
    assert days * DAY == kept_at(*medium_c).seen.minutes
    assert degree_hours(kept_at(*medium_c), base_c) == pytest.approx(24 * kelvin_days)
