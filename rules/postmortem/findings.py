"""Which of what was out of line may be why a batch did poorly, in order of weight.

The rule of this file: a finding is a likelihood and never a proof. What stays below what is said to harm is not named,
so that a healthy batch names nothing.
"""

from collections.abc import Iterator, Sequence
from typing import Final, NamedTuple

from wardian.rules.evidence import Evidence
from wardian.rules.light_days import LightDay
from wardian.rules.postmortem.air import dry_air, harm_of_dry_air, harm_of_wet
from wardian.rules.postmortem.became import Became, harms_on_record
from wardian.rules.postmortem.blindness import harm_of_blindness
from wardian.rules.postmortem.dryness import dry_medium, harm_of_dryness
from wardian.rules.postmortem.ground import Ground, lingering
from wardian.rules.postmortem.harm import NOTHING, UNSEEN, Harm
from wardian.rules.postmortem.light import harms_of_light
from wardian.rules.postmortem.warmth import COMES_BACK, harm_of_chill, harm_of_cold, harm_of_heat, too_hot

#: From here on a finding is called likely; from 1 on it is possible.
LIKELY: Final = 3.0
NAMED: Final = 1.0
#: How much more a finding weighs that fits what became of the batch, and how much less one that fits nothing of it; and
#: that of a batch which did well all the same. Chosen.
_FITS: Final = 1.5
_FITS_NOT: Final = 0.75
_DID_WELL: Final = 0.5


class Finding(NamedTuple):
    """One thing that may be why a batch did poorly.

    Attributes:
        name: One of ``FINDINGS``.
        weight: At least 1; what it is ordered by.
        evidence: What was seen of it in the readings or on record.
        fits: What became of the batch that fits it.
        is_unsafe: Whether a good part of what it is read from was not seen, or not to be trusted.
    """

    name: str
    weight: float
    evidence: tuple[Evidence, ...]
    fits: tuple[Evidence, ...] = ()
    is_unsafe: bool = False

    @property
    def is_likely(self) -> bool:
        """Whether it is called likely, and not only possible."""
        return self.weight >= LIKELY and not self.is_unsafe and self.name not in (NOTHING, UNSEEN)


def findings(ground: Ground, days: Sequence[LightDay], what: Became, unsafe: frozenset[str]) -> list[Finding]:
    """Return what may be why a batch did poorly, the weightiest first; none for one that is healthy.

    Args:
        ground: What was seen of it.
        days: Its light.
        what: What became of it.
        unsafe: Findings that too little trustworthy was seen for.
    """
    harms = [*harms_seen(ground, days), *harms_on_record(ground.case, what)]
    weighed = [_weighed(harm, what, is_unsafe=harm.name in unsafe) for harm in harms]
    named = [one for one in weighed if one.weight >= NAMED]
    blind = harm_of_blindness(ground)
    if blind.weight >= NAMED:
        named.append(Finding(UNSEEN, blind.weight, blind.evidence))
    elif not named and what.did_well is False:
        named.append(Finding(NOTHING, NAMED, ()))
    return sorted(named, key=lambda one: -one.weight)


def _weighed(harm: Harm, what: Became, *, is_unsafe: bool) -> Finding:
    fits = what.told(harm.name)
    factor = _FITS if fits else _FITS_NOT if what.signs else 1.0
    factor *= _DID_WELL if what.did_well else 1.0
    return Finding(harm.name, harm.weight * factor, harm.evidence, fits, is_unsafe)


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
