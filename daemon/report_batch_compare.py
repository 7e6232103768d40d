"""Batches side by side, and in words what the numbers can tell and what they cannot."""

from collections.abc import Iterator, Sequence
from typing import Any, Final

from wardian.daemon.batch_words import WORDS
from wardian.daemon.report import columns
from wardian.daemon.report_batches import share_json
from wardian.rules.batch_compare import Comparison, Group
from wardian.rules.proportions import needed_each

_HEADINGS: Final = ("", "batches", "rooted and fit", "of those stuck", "share", "95 % interval")
_CALLED: Final = {word.name: word.word.replace("-", " ") for word in WORDS} | {
    "stuck": "when they were stuck",
    "stuck_by": "who stuck them",
}
#: More names than that nobody reads; programs get all.
_NAMED: Final = 6
#: A difference that is worth growing by, where the shares seen are the same.
_WORTH: Final = 0.2


# ------------------------------------------------------------------------------------------ for people


def compare_lines(groups: Sequence[Group], found: Sequence[Comparison]) -> Iterator[str]:
    """Yield the groups, each difference with its interval, and what can be said of it."""
    yield from columns([_HEADINGS, *map(_row, groups)])
    for one in found:
        yield ""
        yield from statements(one)
    yield ""
    yield from reservations(found)


def _row(group: Group) -> tuple[str, ...]:
    low, high = group.interval
    share, count = group.share, len(group.batches)
    spread = f"{low * 100:.0f} to {high * 100:.0f} %"
    return group.name, str(count), str(share.part), str(share.whole), f"{share.value * 100:.0f} %", spread


def statements(one: Comparison) -> Iterator[str]:
    """Yield what the numbers of two groups say of their difference, in sentences."""
    low, high = (bound * 100 for bound in one.interval)
    names = f"{one.one.name} less {one.other.name}"
    yield f"{names}: {one.difference * 100:+.0f} points, 95 % interval {low:+.0f} to {high:+.0f} points."
    if one.is_told:
        better = one.one if one.difference > 0 else one.other
        yield f"That speaks for {better.name}: chance alone would seldom make such a difference. Why, it does not say."
    else:
        yield f"That cannot tell {one.one.name} from {one.other.name}: too few cuttings, or no difference."
        yield _needed(one)
    if one.differed:
        yield f"Also different, and perhaps the reason: {_names(one.differed)}."
    if one.unsaid:
        yield f"Not recorded of every batch, so that nobody knows whether they differed: {_names(one.unsaid)}."


def _needed(one: Comparison) -> str:
    share = one.other.share.value
    apart = abs(one.difference) if one.needed else _WORTH
    needed = one.needed or needed_each(share, share + (_WORTH if share < 0.5 else -_WORTH))
    return (
        f"If there is a difference of {apart * 100:.0f} points, it takes about {needed} cuttings in each group to see "
        f"it in four trials of five; here are {one.one.share.whole} and {one.other.share.whole}."
    )


def _names(names: Sequence[str]) -> str:
    named = [_CALLED.get(name, name) for name in names]
    more = len(named) - _NAMED
    return ", ".join(named[:_NAMED]) + (f" and {more} more" if more > 0 else "")


def reservations(found: Sequence[Comparison]) -> Iterator[str]:
    """Yield what holds for all comparisons of batches as people make them."""
    yield (
        "Nobody drew lots which cutting went into which group, so that whatever else differed may be the reason: the "
        "week, the weather, the hand that stuck them."
    )
    yield (
        "Cuttings of one tray share its fate, which the intervals do not know: with few batches a group they are "
        "narrower than they should be."
    )
    if len(found) > 1:
        by_chance = (1 - 0.95 ** len(found)) * 100
        yield (
            f"These are {len(found)} comparisons: where nothing differs, chance alone makes at least one of so many look "
            f"like a difference about {by_chance:.0f} times in 100. All are with the group of most cuttings."
        )


# ---------------------------------------------------------------------------------------- for programs


def compare_json(groups: Sequence[Group], found: Sequence[Comparison]) -> dict[str, Any]:
    """Return groups, differences and sentences as plain values."""
    return {
        "groups": [
            {"group": one.name, "batches": [batch.name for batch in one.batches], **share_json(one.share)}
            for one in groups
        ],
        "comparisons": [
            {
                "one": one.one.name,
                "other": one.other.name,
                "difference": one.difference,
                "interval": list(one.interval),
                "is_told": one.is_told,
                "needed_each": one.needed,
                "differed": list(one.differed),
                "not_recorded": list(one.unsaid),
                "statements": list(statements(one)),
            }
            for one in found
        ],
        "reservations": list(reservations(found)),
    }
