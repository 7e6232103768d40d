"""What cannot be true of a batch: more looked at or taken out than is there, and days that go backwards.

The rule of this file: a batch is looked at as a whole, so that what is put on record, corrected or brought in from a
file is held to the same.
"""

from collections.abc import Iterator
from typing import Final

from wardian.rules.batches import REASONS, SCORE_WORDS, Batch, Closed, left_before

#: More cuttings than any batch has.
MOST: Final = 1_000_000


def impossible(batch: Batch) -> str:
    """Return what cannot be true of a batch, the first such thing, and what can; nothing where all can."""
    return next(_impossible(batch), "")


def _impossible(batch: Batch) -> Iterator[str]:
    taken_ms = batch.details.taken_ms
    if not 1 <= batch.count_stuck <= MOST:
        yield f"{batch.count_stuck} cuttings cannot be stuck; 1 to {MOST} are accepted"
    if taken_ms is not None and taken_ms > batch.stuck_ms:
        yield "the cuttings would be stuck before they were taken"
    noted_ms = [note.time_ms for note in batch.notes]
    if any(time_ms < batch.stuck_ms for time_ms in (*_counted_ms(batch), *noted_ms)):
        yield "something would happen to it before it was stuck"
    yield from _removals(batch)
    yield from _scores(batch)
    if batch.closed:
        yield from _closing(batch, batch.closed)


def _counted_ms(batch: Batch) -> list[int]:
    return [one.time_ms for one in batch.removals] + [one.time_ms for one in batch.scores]


def _removals(batch: Batch) -> Iterator[str]:
    for one in batch.removals:
        if one.reason not in REASONS:
            yield f"{one.reason} is no reason; accepted: {', '.join(REASONS)}"
        if one.cuttings < 1:
            yield f"{one.cuttings} cannot be taken out; at least 1 is accepted"
    removed = 0
    for one in batch.removals:
        left = batch.count_stuck - removed
        if one.cuttings > left:
            yield f"{one.cuttings} would be taken out where {left} are left; at most that many are accepted"
        removed += one.cuttings


def _scores(batch: Batch) -> Iterator[str]:
    for one in batch.scores:
        left = left_before(batch, one.time_ms)
        if len(one.counts) != len(SCORE_WORDS) or min(one.counts) < 0 or not one.looked_at:
            yield "no cutting would be scored, or fewer than none; at least one, with a score from 0 to 5, is accepted"
        if one.looked_at > left:
            yield f"{one.looked_at} would be scored where {left} are left; at most that many are accepted"


def _closing(batch: Batch, closed: Closed) -> Iterator[str]:
    if closed.time_ms < max([batch.stuck_ms, *_counted_ms(batch)]):
        yield "it would be closed before something that happened to it"
    if min(closed.potted, closed.fit, *closed.discarded.values()) < 0:
        yield "fewer than none would be potted, fit or discarded"
    strange = [reason for reason in closed.discarded if reason not in REASONS]
    if strange:
        yield f"{strange[0]} is no reason; accepted: {', '.join(REASONS)}"
    if closed.fit > closed.potted:
        yield f"{closed.fit} would be fit of {closed.potted} potted; at most that many are accepted"
    left = batch.count_stuck - sum(one.cuttings for one in batch.removals)
    ended = closed.potted + sum(closed.discarded.values())
    if ended > left:
        yield f"{ended} would be potted or discarded where {left} are left; at most that many are accepted"
