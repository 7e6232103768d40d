"""Batches of cuttings from sticking to potting, folded from what people put on record, and what became of them.

The rule of this file: the count stuck is what every share is of; what was taken out, scored or potted stands beside it
and changes it never.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from wardian.rules.proportions import Share
from wardian.rules.records import BATCH, CLOSED, NOTE, REMOVAL, SCORES, Record, in_force

#: Why a cutting is lost.
REASONS: Final = ("rot", "wilt", "mould", "no-roots", "pulled-as-sample", "pest", "broken", "other")
#: What each root score means; own scale.
SCORE_WORDS: Final = (
    "dead or rotten",
    "alive, no callus",
    "callus or swelling",
    "first roots, 1-3 short",
    "roots on several sides, the plug holds partly",
    "the plug holds together",
)
#: A cutting has rooted from this score on.
ROOTED: Final = 3


class Removal(NamedTuple):
    """Cuttings taken out of a batch, for one of ``REASONS``; ``number`` is that of its record."""

    time_ms: int
    cuttings: int
    reason: str
    who: str = ""
    why: str = ""
    number: int = 0


class Scores(NamedTuple):
    """How many cuttings had each root score, from 0 to 5, when they were looked at."""

    time_ms: int
    counts: tuple[int, ...]
    who: str = ""
    why: str = ""
    number: int = 0

    @property
    def looked_at(self) -> int:
        """How many cuttings were looked at."""
        return sum(self.counts)

    @property
    def rooted(self) -> int:
        """How many of them had roots."""
        return sum(self.counts[ROOTED:])


class Closed(NamedTuple):
    """The end of a batch: how many were potted, how many of these rooted and fit, how many thrown out by reason."""

    time_ms: int
    potted: int
    fit: int
    discarded: Mapping[str, int]
    who: str = ""
    why: str = ""
    number: int = 0


class Note(NamedTuple):
    """Something to remember of a batch."""

    time_ms: int
    text: str
    who: str = ""
    number: int = 0


@dataclass(frozen=True, slots=True)
class Details:
    """What may be known of how a batch was made; None for what nobody said.

    Attributes:
        cultivar: The cultivar.
        source: The plant or plants it was cut from.
        source_health: How they were, in words.
        source_age: How old they were, in words.
        is_flowering: Whether they were in flower or bud.
        cutting: What kind of cutting, in words: tip, nodal, semi-ripe.
        length_mm: How long the cuttings were. [mm]
        leaves: How many leaves each was left.
        taken_ms: When they were cut.
        held: How they were kept until sticking, in words.
        held_c: How warm they were kept. [°C]
        medium: Its recipe.
        medium_lot: Its lot.
        medium_ph: Its acidity. [pH]
        medium_ec_ms_cm: Its conductivity. [mS/cm]
        cells: How many cells the tray has.
        position: Where on the bench it stands.
        water: Where its water is from.
        sensors: The sensors that watch it.
        hormone: The substance, or ``none`` where none was used.
        hormone_mg_l: Its concentration. [mg/l, for a powder mg/kg]
        hormone_form: Powder, gel, liquid.
        hormone_lot: Its lot.
        dip_s: How long the cuttings were in it. [s]
        stuck_by: Who stuck them, where that is not who put it on record.
    """

    cultivar: str | None = None
    source: str | None = None
    source_health: str | None = None
    source_age: str | None = None
    is_flowering: bool | None = None
    cutting: str | None = None
    length_mm: float | None = None
    leaves: int | None = None
    taken_ms: int | None = None
    held: str | None = None
    held_c: float | None = None
    medium: str | None = None
    medium_lot: str | None = None
    medium_ph: float | None = None
    medium_ec_ms_cm: float | None = None
    cells: int | None = None
    position: str | None = None
    water: str | None = None
    sensors: tuple[str, ...] | None = None
    hormone: str | None = None
    hormone_mg_l: float | None = None
    hormone_form: str | None = None
    hormone_lot: str | None = None
    dip_s: float | None = None
    stuck_by: str | None = None


@dataclass(frozen=True, slots=True)
class Batch:
    """One batch as it stands; removals, scores and notes in order of time.

    ``number`` is that of the record that holds, ``who`` says who put it on record, ``why`` in their words.
    """

    name: str
    tray: str
    crop: str
    stuck_ms: int
    count_stuck: int
    details: Details = Details()
    removals: tuple[Removal, ...] = ()
    scores: tuple[Scores, ...] = ()
    closed: Closed | None = None
    notes: tuple[Note, ...] = ()
    who: str = ""
    why: str = ""
    number: int = 0

    @property
    def stuck_by(self) -> str:
        """Who stuck the cuttings."""
        return self.details.stuck_by or self.who

    @property
    def held_h(self) -> float | None:
        """How long cuttings were kept from cutting to sticking [h], None where nobody said."""
        taken_ms = self.details.taken_ms
        return None if taken_ms is None else (self.stuck_ms - taken_ms) / 3_600_000


class Outcome(NamedTuple):
    """What became of a batch, in cuttings; ``stuck`` is all of ``left``, ``potted``, ``losses`` and ``unaccounted``.

    Attributes:
        stuck: How many were stuck.
        left: How many are still in the tray: none once it is closed.
        potted: How many were potted, None while it is open.
        losses: How many were lost for each reason that occurred, most first.
        unaccounted: How many nobody accounted for when it was closed.
        success: Those that were rooted and fit of those that were stuck, None while it is open.
        rooted: Those seen with roots of those that were stuck, where the last look was at every one that was left.
        sample: Those with roots of those looked at in the last look, None where nobody looked.
    """

    stuck: int
    left: int
    potted: int | None
    losses: Mapping[str, int]
    unaccounted: int
    success: Share | None
    rooted: Share | None
    sample: Share | None


def batches(records: Iterable[Record]) -> dict[str, Batch]:
    """Return the batches by name as the records that hold tell of them, in order of sticking."""
    of: dict[str, list[Record]] = {}
    for record in in_force(records):
        of.setdefault(record.batch, []).append(record)
    found = {name: _batch(own) for name, own in of.items() if name and any(r.kind == BATCH for r in own)}
    return dict(sorted(found.items(), key=lambda item: item[1].stuck_ms))


def outcome(batch: Batch) -> Outcome:
    """Return what became of a batch so far."""
    losses = _losses(batch)
    closed, last = batch.closed, batch.scores[-1] if batch.scores else None
    not_lost = batch.count_stuck - sum(losses.values())
    is_whole = last is not None and last.looked_at == left_before(batch, last.time_ms)
    return Outcome(
        stuck=batch.count_stuck,
        left=0 if closed else not_lost,
        potted=closed.potted if closed else None,
        losses=losses,
        unaccounted=not_lost - closed.potted if closed else 0,
        success=Share(closed.fit, batch.count_stuck) if closed else None,
        rooted=Share(last.rooted, batch.count_stuck) if last and is_whole else None,
        sample=Share(last.rooted, last.looked_at) if last else None,
    )


def left_before(batch: Batch, time_ms: int) -> int:
    """Return how many cuttings were in the tray just before an instant, at which some may have been taken out."""
    if batch.closed and batch.closed.time_ms < time_ms:
        return 0
    return batch.count_stuck - sum(one.cuttings for one in batch.removals if one.time_ms < time_ms)


def open_batch(known: Mapping[str, Batch], tray: str) -> Batch | None:
    """Return the batch that is in a tray, the last one stuck where there are several."""
    there = [one for one in known.values() if one.tray == tray and one.closed is None]
    return max(there, key=lambda one: one.stuck_ms, default=None)


def _losses(batch: Batch) -> dict[str, int]:
    lost = dict.fromkeys(REASONS, 0)
    for removal in batch.removals:
        lost[removal.reason] += removal.cuttings
    for reason, count in batch.closed.discarded.items() if batch.closed else ():
        lost[reason] += count
    return {reason: lost[reason] for reason in sorted(lost, key=lambda one: -lost[one]) if lost[reason]}


def _batch(own: Sequence[Record]) -> Batch:
    kept: dict[str, list[Record]] = {}
    for record in own:
        kept.setdefault(record.kind, []).append(record)
    begun = max(kept[BATCH], key=lambda one: one.number)
    fields = dict(begun.fields)
    closings = kept.get(CLOSED, [])
    return Batch(
        name=begun.batch,
        tray=begun.tray,
        crop=fields.pop("crop"),
        stuck_ms=begun.time_ms,
        count_stuck=fields.pop("count_stuck"),
        details=details_of(fields),
        removals=tuple(_removal(one) for one in kept.get(REMOVAL, ())),
        scores=tuple(_scores(one) for one in kept.get(SCORES, ())),
        closed=_closed(closings[-1]) if closings else None,
        notes=tuple(Note(one.time_ms, one.why, one.who, one.number) for one in kept.get(NOTE, ())),
        who=begun.who,
        why=begun.why,
        number=begun.number,
    )


def details_of(fields: Mapping[str, Any]) -> Details:
    """Return the details that a record holds as plain values by their names."""
    sensors = fields.get("sensors")
    return Details(**{**fields, "sensors": None if sensors is None else tuple(sensors)})


def _removal(one: Record) -> Removal:
    return Removal(one.time_ms, one.fields["count"], one.fields["reason"], one.who, one.why, one.number)


def _scores(one: Record) -> Scores:
    return Scores(one.time_ms, tuple(one.fields["counts"]), one.who, one.why, one.number)


def _closed(one: Record) -> Closed:
    said = one.fields
    return Closed(
        one.time_ms, said["potted"], said["fit"], dict(said["discarded"]), one.who, one.why, one.number
    )
