"""What became of a batch as far as people put it on record, and which findings that fits.

The rule of this file: what nobody recorded speaks neither for nor against anything.
"""

from collections.abc import Mapping
from typing import Final, NamedTuple

from wardian.rules.batches import Batch, outcome
from wardian.rules.evidence import Evidence, number
from wardian.rules.postmortem.ground import Case
from wardian.rules.postmortem.harm import (
    CHILLED,
    FLOWERING,
    HELD_LONG,
    LITTLE_LIGHT,
    MEDIUM_DRY,
    MUCH_LIGHT,
    TOO_COLD,
    TOO_DRY_AIR,
    TOO_HOT,
    TOO_WET,
    Harm,
    hours_figure,
)

WILTED_EARLY: Final = "wilted early"
WILTED: Final = "wilted"
ROTTED: Final = "rotted"
MOULDY: Final = "mouldy"
NO_ROOTS: Final = "alive without roots"
#: Which signs each finding brings about: general horticultural practice, from memory.
FITS: Final[Mapping[str, tuple[str, ...]]] = {
    TOO_COLD: (NO_ROOTS, ROTTED),
    CHILLED: (ROTTED, WILTED_EARLY, WILTED),
    TOO_HOT: (ROTTED, WILTED_EARLY, WILTED),
    TOO_DRY_AIR: (WILTED_EARLY, WILTED),
    TOO_WET: (ROTTED, MOULDY),
    LITTLE_LIGHT: (NO_ROOTS,),
    MUCH_LIGHT: (NO_ROOTS, WILTED),
    MEDIUM_DRY: (NO_ROOTS, WILTED),
    HELD_LONG: (WILTED_EARLY, NO_ROOTS, ROTTED),
    FLOWERING: (NO_ROOTS,),
}
_WORDS: Final = {
    WILTED_EARLY: "{} cuttings were taken out wilted within three days",
    WILTED: "{} cuttings were taken out wilted later on",
    ROTTED: "{} cuttings rotted or died",
    MOULDY: "{} cuttings were taken out with mould",
    NO_ROOTS: "{} cuttings were alive without roots when they were looked at last",
}
_THREE_DAYS_MS: Final = 3 * 86_400_000
#: So large a share of the count stuck is a sign; a cutting or two are nobody's. Chosen.
_SIGN: Final = 0.08
#: A batch does well from this share of rooted and fit on, and poorly below it; in between nothing is made of it. Chosen.
_WELL: Final = 0.8
_POORLY: Final = 0.65
#: So many cuttings looked at tell something of a batch: one root check is of 5 to 10 (from memory).
_LOOKED_AT: Final = 5
#: Unstuck cuttings are held for a day at most, where the crop does not say less (Faust, Dole & Lopez, Horticultural
#: Reviews 44, 2017). [h]
_HELD_H: Final = 24.0


class Became(NamedTuple):
    """What became of a batch: whether it did well, None for what nobody knows; and how many show each sign."""

    did_well: bool | None
    signs: Mapping[str, int]

    def told(self, name: str) -> tuple[Evidence, ...]:
        """Return the signs that fit a finding, as evidence."""
        fits = [sign for sign in FITS.get(name, ()) if sign in self.signs]
        return tuple(Evidence(_WORDS[sign], (number(self.signs[sign]),)) for sign in fits)


def became(case: Case, *, is_past_due: bool) -> Became:
    """Return what became of a batch.

    Args:
        case: The batch, with its record or without.
        is_past_due: Whether roots should have shown by now.
    """
    if case.batch is None:
        return Became(None, {})
    least = max(_SIGN * case.batch.count_stuck, 1)
    signs = {sign: count for sign, count in _signs(case.batch).items() if count >= least}
    return Became(_did_well(case.batch, is_past_due=is_past_due), signs)


def _did_well(batch: Batch, *, is_past_due: bool) -> bool | None:
    so_far = outcome(batch)
    losses = sum(count for reason, count in so_far.losses.items() if reason != "pulled-as-sample")
    if so_far.success is not None:
        return _verdict(so_far.success.part, so_far.success.whole)
    if losses > (1 - _POORLY) * so_far.stuck:
        return False
    if is_past_due and so_far.sample is not None and so_far.sample.whole >= _LOOKED_AT:
        return _verdict(so_far.sample.part, so_far.sample.whole)
    return None


def _verdict(count: int, total: int) -> bool | None:
    share = count / total if total else 0.0
    return True if share >= _WELL else False if share < _POORLY else None


def _signs(batch: Batch) -> dict[str, int]:
    signs = dict.fromkeys(_WORDS, 0)
    for removal in batch.removals:
        is_early = removal.time_ms <= batch.stuck_ms + _THREE_DAYS_MS
        sign = {
            "wilt": WILTED_EARLY if is_early else WILTED,
            "rot": ROTTED,
            "mould": MOULDY,
            "no-roots": NO_ROOTS,
        }
        if removal.reason in sign:
            signs[sign[removal.reason]] += removal.cuttings
    if batch.closed:
        for reason, sign_of in (("wilt", WILTED), ("rot", ROTTED), ("mould", MOULDY), ("no-roots", NO_ROOTS)):
            signs[sign_of] += batch.closed.discarded.get(reason, 0)
    if batch.scores:
        # Of a sample as many more of the batch, no more than were left.
        last = batch.scores[-1]
        more = max(outcome(batch).left, last.looked_at) / last.looked_at if last.looked_at else 0
        signs[ROTTED] += round(last.counts[0] * more)
        signs[NO_ROOTS] += round(sum(last.counts[1:3]) * more)
    return signs


def harms_on_record(case: Case, what: Became) -> list[Harm]:
    """Return what may have harmed a batch before it was stuck, as far as its record says."""
    batch = case.batch
    if batch is None:
        return []
    most_h = case.crop.stick_within_h or _HELD_H
    held_h = batch.held_h or 0.0
    words = "the cuttings were held for {} before they were stuck, {} at most are wanted"
    held = Evidence(words, (hours_figure(held_h), hours_figure(most_h)))
    flowers = batch.details.is_flowering and what.did_well is False
    return [
        Harm(HELD_LONG, held_h / most_h if held_h > most_h else 0.0, (held,)),
        Harm(FLOWERING, 1.0 if flowers else 0.0, (Evidence("the source plant was in flower or bud"),)),
    ]
