"""Which of what was out of line may be why a batch did poorly, in order of weight.

The rule of this file: a finding is a likelihood and never a proof. What stays below what is said to harm is not named,
so that a healthy batch names nothing.
"""

from collections.abc import Iterator, Mapping, Sequence
from typing import Final, NamedTuple

from wardian.rules.evidence import Evidence
from wardian.rules.light_days import LightDay
from wardian.rules.postmortem.air import dry_air, harm_of_dry_air, harm_of_wet
from wardian.rules.postmortem.dryness import dry_medium, harm_of_dryness
from wardian.rules.postmortem.ground import Ground, lingering
from wardian.rules.postmortem.harm import (
    CHILLED,
    FLOWERING,
    HELD_LONG,
    LITTLE_LIGHT,
    MEDIUM_DRY,
    MUCH_LIGHT,
    NOTHING,
    TOO_COLD,
    TOO_DRY_AIR,
    TOO_HOT,
    TOO_WET,
    UNSEEN,
    Harm,
)
from wardian.rules.postmortem.light import harms_of_light
from wardian.rules.postmortem.warmth import COMES_BACK, harm_of_chill, harm_of_cold, harm_of_heat, too_hot

#: From here on a finding is called likely; from 1 on it is possible.
LIKELY: Final = 3.0
_NAMED: Final = 1.0


def harms_seen(ground: Ground, days: Sequence[LightDay]) -> Iterator[Harm]:
    """Yield all that may have harmed a batch as far as its readings tell, each minute laid to one thing alone."""
    hot = lingering(too_hot(ground), COMES_BACK)
    # An open cover dries the air at once and by far; a dry medium does so slowly.
    dried = dry_medium(ground, hot | dry_air(ground))
    open_air = dry_air(ground) & ~hot & ~dried
    yield harm_of_heat(ground)
    yield harm_of_chill(ground)
    yield harm_of_cold(ground, lingering(open_air, COMES_BACK))
    yield harm_of_dry_air(ground, hot | dried)
    yield harm_of_wet(ground)
    yield harm_of_dryness(ground, hot | open_air)
    yield from harms_of_light(ground, days)
