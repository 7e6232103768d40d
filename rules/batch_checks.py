"""What cannot be true of a batch: more looked at or taken out than is there, and days that go backwards.

The rule of this file: a batch is looked at as a whole, so that what is put on record, corrected or brought in from a
file is held to the same.
"""

from collections.abc import Iterator
from typing import Final, NamedTuple

from wardian.rules.batches import REASONS, SCORE_WORDS, Batch, Closed, Note, Removal, Scores, left_before

#: More cuttings than any batch has.
MOST: Final = 1_000_000


class Impossible(NamedTuple):
    """Which part of a batch cannot be true, as its attribute or that of its details is called, and why not."""

    part: str
    why: str


def impossible(batch: Batch) -> Impossible | None:
    """Return the first thing that cannot be true of a batch, None where all can."""
    return next(_impossible(batch), None)


def _impossible(batch: Batch) -> Iterator[Impossible]:
    taken_ms = batch.details.taken_ms
    if not 1 <= batch.count_stuck <= MOST:
        yield Impossible(
            "count_stuck", f"{batch.count_stuck} cuttings cannot be stuck; 1 to {MOST} are accepted"
        )
    if taken_ms is not None and taken_ms > batch.stuck_ms:
        yield Impossible("taken_ms", "the cuttings would be stuck before they were taken")
    happened: dict[str, tuple[Removal | Scores | Note, ...]] = {
        "removals": batch.removals,
        "scores": batch.scores,
        "notes": batch.notes,
    }
    for part, each in happened.items():
        if any(one.time_ms < batch.stuck_ms for one in each):
            yield Impossible(part, "something would happen to it before it was stuck")
    yield from _removals(batch)
    yield from _scores(batch)
    if batch.closed:
        yield from _closing(batch, batch.closed)


def _counted_ms(batch: Batch) -> list[int]:
    return [one.time_ms for one in batch.removals] + [one.time_ms for one in batch.scores]


def _removals(batch: Batch) -> Iterator[Impossible]:
    for one in batch.removals:
        if one.reason not in REASONS:
            yield Impossible("removals", f"{one.reason} is no reason; accepted: {', '.join(REASONS)}")
        if one.cuttings < 1:
            yield Impossible("removals", f"{one.cuttings} cannot be taken out; at least 1 is accepted")
    removed = 0
    for one in batch.removals:
        left = batch.count_stuck - removed
        if one.cuttings > left:
            yield Impossible(
                "removals",
                f"{one.cuttings} would be taken out where {left} are left; at most that many are accepted",
            )
        removed += one.cuttings


def _scores(batch: Batch) -> Iterator[Impossible]:
    for one in batch.scores:
        left = left_before(batch, one.time_ms)
        if len(one.counts) != len(SCORE_WORDS) or min(one.counts) < 0 or not one.looked_at:
            yield Impossible(
                "scores",
                "no cutting would be scored, or fewer than none; at least one, with a score from 0 to 5, is accepted",
            )
        if one.looked_at > left:
            yield Impossible(
                "scores",
                f"{one.looked_at} would be scored where {left} are left; at most that many are accepted",
            )


def _closing(batch: Batch, closed: Closed) -> Iterator[Impossible]:
    if closed.time_ms < max([batch.stuck_ms, *_counted_ms(batch)]):
        yield Impossible("closed", "it would be closed before something that happened to it")
    if min(closed.potted, closed.fit, *closed.discarded.values()) < 0:
        yield Impossible("closed", "fewer than none would be potted, fit or discarded")
    strange = [reason for reason in closed.discarded if reason not in REASONS]
    if strange:
        yield Impossible("closed", f"{strange[0]} is no reason; accepted: {', '.join(REASONS)}")
    if closed.fit > closed.potted:
        yield Impossible(
            "closed", f"{closed.fit} would be fit of {closed.potted} potted; at most that many are accepted"
        )
    left = batch.count_stuck - sum(one.cuttings for one in batch.removals)
    ended = closed.potted + sum(closed.discarded.values())
    if ended > left:
        yield Impossible(
            "closed",
            f"{ended} would be potted or discarded where {left} are left; at most that many are accepted",
        )
