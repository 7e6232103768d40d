"""Two groups of batches side by side: how many rooted and fit, what the difference may be, and what else differed.

The rule of this file: groups are as people made them, not drawn by lot; what else differed is said with every
difference, and who is compared with whom does not hang on how it ended.
"""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import fields
from typing import Any, Final, NamedTuple

from wardian.rules.batches import Batch, Details, outcome
from wardian.rules.proportions import Interval, Share, difference_interval, needed_each, wilson_interval

#: Details that are no lot of a cutting's own and differ nearly always, or that only restate another.
_NO_LOT: Final = frozenset({"taken_ms", "sensors", "stuck_by"})
#: What differs of batches beside their details, and by what they are grouped then.
_OF_BATCHES: Final = {"crop": "crop", "tray": "tray", "stuck_by": "who"}
#: Batches that were stuck within it had much the same days. [ms]
_WEEK_MS: Final = 7 * 86_400_000


class Group(NamedTuple):
    """Closed batches that belong together, and those rooted and fit of all that were stuck in them."""

    name: str
    batches: Sequence[Batch]
    share: Share

    @property
    def interval(self) -> Interval:
        """The 95 % interval of the share."""
        return wilson_interval(self.share)


class Comparison(NamedTuple):
    """One group beside another.

    Attributes:
        one: The group that is compared.
        other: The one it is compared with.
        difference: The share of the first less that of the second.
        interval: The 95 % interval of that.
        differed: What else was recorded otherwise in one than in the other.
        unsaid: What was not recorded of every batch, so that nobody knows whether it differed.
        needed: How many cuttings a group it takes to see such a difference in four trials of five, None for no difference.
    """

    one: Group
    other: Group
    difference: float
    interval: Interval
    differed: tuple[str, ...]
    unsaid: tuple[str, ...]
    needed: int | None

    @property
    def is_told(self) -> bool:
        """Whether no difference at all is outside what the numbers leave possible."""
        return self.interval[0] > 0 or self.interval[1] < 0


def _hormone(batch: Batch) -> str | None:
    said = batch.details
    if said.hormone is None:
        return None
    amount = "" if said.hormone_mg_l is None else f" {said.hormone_mg_l:g} mg/l"
    return said.hormone + amount + (f" {said.hormone_form}" if said.hormone_form else "")


#: By what batches are grouped, and what each is then called.
BY: Final[Mapping[str, Callable[[Batch], str | None]]] = {
    "medium": lambda one: one.details.medium,
    "hormone": _hormone,
    "source": lambda one: one.details.source,
    "crop": lambda one: one.crop,
    "who": lambda one: one.stuck_by or None,
    "tray": lambda one: one.tray,
}


def group_of(name: str, batches: Iterable[Batch]) -> Group:
    """Return a group of batches, at least one of which is closed; the open ones are left out."""
    ended = [(one, share) for one in batches if (share := outcome(one).success)]
    parts = [share for _, share in ended]
    pooled = Share(sum(one.part for one in parts), sum(one.whole for one in parts))
    return Group(name, tuple(one for one, _ in ended), pooled)


def grouped(batches: Iterable[Batch], by: str) -> list[Group]:
    """Return the groups of closed batches by one of ``BY``, most cuttings first; what is not said makes no group."""
    of: dict[str, list[Batch]] = {}
    for one in batches:
        name = BY[by](one)
        if name is not None and one.closed:
            of.setdefault(name, []).append(one)
    groups = [group_of(name, own) for name, own in of.items()]
    return sorted(groups, key=lambda one: (-one.share.whole, one.name))


def compare(one: Group, other: Group, by: str = "") -> Comparison:
    """Return one group beside another; what they were grouped by is not told to differ as well."""
    difference = one.share.value - other.share.value
    differed, unsaid = _what_else(one, other, by)
    return Comparison(
        one=one,
        other=other,
        difference=difference,
        interval=difference_interval(one.share, other.share),
        differed=differed,
        unsaid=unsaid,
        needed=needed_each(one.share.value, other.share.value) if difference else None,
    )


def _what_else(one: Group, other: Group, by: str) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Return the names of what differed, and of what is not known of every batch."""
    differed = ["stuck"] if _weeks_apart(one, other) else []
    unsaid = []
    for name in (*_OF_BATCHES, *(field.name for field in fields(Details) if field.name not in _NO_LOT)):
        if by == _OF_BATCHES.get(name, name.partition("_")[0]):
            continue
        here, there = ({_value(batch, name) for batch in group.batches} for group in (one, other))
        known, known_there = here - {None}, there - {None}
        if known and known_there and known != known_there:
            differed.append(name)
        elif None in here | there:
            unsaid.append(name)
    return tuple(differed), tuple(unsaid)


def _weeks_apart(one: Group, other: Group) -> bool:
    here, there = ([batch.stuck_ms for batch in group.batches] for group in (one, other))
    return min(here) - max(there) > _WEEK_MS or min(there) - max(here) > _WEEK_MS


def _value(batch: Batch, name: str) -> Any:
    return getattr(batch if hasattr(batch, name) else batch.details, name)
