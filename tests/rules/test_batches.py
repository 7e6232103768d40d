"""Batches folded from records: what holds, what became of the cuttings, and that their counts always add up."""

from collections.abc import Callable

import pytest
from batch_records import DAY_MS, STUCK_MS, Said
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.batch_checks import impossible
from wardian.rules.batches import (
    REASONS,
    Batch,
    Details,
    batches,
    left_before,
    open_batch,
    outcome,
)
from wardian.rules.proportions import Share
from wardian.rules.records import BATCH, CLOSED, NOTE, REMOVAL, SCORES


def spring(said: Said) -> Batch:
    return batches(said.records)["spring"]


def test_a_batch_is_what_was_said_of_it() -> None:
    said = Said()
    said.stick(40, medium="perlite", taken_ms=STUCK_MS - 7_200_000, sensors=["mat", "air"])
    said.remove(2, "rot", 5)
    said.score([0, 1, 2, 3, 2, 0], 12)
    said.put(NOTE, 13, why="pale")
    batch = spring(said)
    assert (batch.tray, batch.crop, batch.stuck_ms, batch.count_stuck) == ("tray-a", "coleus", STUCK_MS, 40)
    assert batch.details == Details(medium="perlite", taken_ms=STUCK_MS - 7_200_000, sensors=("mat", "air"))
    assert batch.held_h == 2
    assert [(one.cuttings, one.reason) for one in batch.removals] == [(2, "rot")]
    assert (batch.scores[0].looked_at, batch.scores[0].rooted) == (8, 5)
    assert batch.notes[0].text == "pale"
    assert impossible(batch) is None


def test_what_is_left_at_an_instant_is_what_was_not_taken_out_before() -> None:
    said = Said()
    said.stick(10)
    said.remove(3, "wilt", 2)
    said.close(7, 7, 20)
    batch = spring(said)
    at = [left_before(batch, STUCK_MS + day * DAY_MS) for day in (1, 2, 3, 20, 21)]
    assert at == [10, 10, 7, 7, 0]


def test_success_is_of_those_stuck_and_not_of_those_that_survived() -> None:
    said = Said()
    said.stick(20)
    said.remove(6, "rot", 5)
    said.remove(1, "pulled-as-sample", 8)
    said.close(13, 12)
    ended = outcome(spring(said))
    assert ended.success == Share(12, 20)
    assert ended.losses == {"rot": 6, "pulled-as-sample": 1}
    assert (ended.left, ended.potted, ended.unaccounted) == (0, 13, 0)


def test_a_look_at_some_is_a_sample_and_a_look_at_all_that_are_left_tells_of_the_batch() -> None:
    said = Said()
    said.stick(20)
    said.remove(2, "rot", 5)
    said.score([0, 0, 1, 4, 0, 0], 10)
    assert (outcome(spring(said)).sample, outcome(spring(said)).rooted) == (Share(4, 5), None)
    said.score([0, 0, 3, 10, 5, 0], 14)
    assert (outcome(spring(said)).sample, outcome(spring(said)).rooted) == (Share(15, 18), Share(15, 20))


def test_nothing_is_known_of_a_batch_whose_beginning_was_withdrawn() -> None:
    said = Said()
    begun = said.stick()
    said.remove(1, "rot", 1)
    said.withdraw(begun.number)
    assert batches(said.records) == {}


def test_a_corrected_count_takes_the_place_of_the_first() -> None:
    said = Said()
    begun = said.stick(40)
    said.put(BATCH, corrects=begun.number, crop="coleus", count_stuck=42)
    assert (spring(said).count_stuck, spring(said).number) == (42, 2)


def test_of_two_beginnings_of_one_name_the_one_recorded_later_holds() -> None:
    said = Said()
    said.stick(40)
    said.put(BATCH, -1, crop="coleus", count_stuck=42)
    assert spring(said).count_stuck == 42


def test_the_batch_in_a_tray_is_the_open_one() -> None:
    first, second = Said("first"), Said("second")
    first.stick()
    first.close(40, 40)
    second.stick()
    known = batches(first.records) | batches(second.records)
    found = open_batch(known, "tray-a")
    assert found is not None
    assert found.name == "second"
    assert open_batch(known, "tray-b") is None


@pytest.mark.parametrize(
    ("of", "why"),
    [
        (lambda said: said.stick(0), "0 cuttings cannot be stuck"),
        (lambda said: said.stick(5, taken_ms=STUCK_MS + 1), "stuck before they were taken"),
        (lambda said: (said.stick(), said.remove(1, "rot", -1)), "before it was stuck"),
        (lambda said: (said.stick(), said.put(NOTE, -1)), "before it was stuck"),
        (lambda said: (said.stick(), said.put(CLOSED, -1, potted=0, fit=0, discarded={})), "closed before"),
        (lambda said: (said.stick(), said.remove(1, "sorrow", 1)), "sorrow is no reason"),
        (lambda said: (said.stick(), said.remove(0, "rot", 1)), "0 cannot be taken out"),
        (lambda said: (said.stick(5), said.remove(6, "rot", 1)), "6 would be taken out where 5 are left"),
        (lambda said: (said.stick(5), said.score([6, 0, 0, 0, 0, 0], 1)), "6 would be scored where 5 are left"),
        (lambda said: (said.stick(5), said.score([0, 0, 0, 0, 0, 0], 1)), "no cutting would be scored"),
        (lambda said: (said.stick(5), said.score([-1, 2, 0, 0, 0, 0], 1)), "fewer than none"),
        (lambda said: (said.stick(5), said.close(3, 4)), "4 would be fit of 3 potted"),
        (lambda said: (said.stick(5), said.close(-1, -1)), "fewer than none"),
        (lambda said: (said.stick(5), said.close(3, 3, rot=3)), "6 would be potted or discarded where 5 are left"),
        (lambda said: (said.stick(5), said.close(3, 3, sorrow=1)), "sorrow is no reason"),
        (lambda said: (said.stick(5), said.close(5, 5, 9), said.remove(1, "rot", 10)), "closed before"),
    ],
)  # fmt: skip
def test_what_cannot_be_true_of_a_batch_is_named(of: Callable[[Said], object], why: str) -> None:
    said = Said()
    of(said)
    found = impossible(spring(said))
    assert found is not None
    assert why in found.why


def test_those_that_are_looked_at_may_be_taken_out_at_the_same_instant() -> None:
    said = Said()
    said.stick(5)
    said.remove(5, "pulled-as-sample", 3)
    said.score([0, 0, 5, 0, 0, 0], 3)
    assert impossible(spring(said)) is None


# ----------------------------------------------------------------------------------- in any order

COUNTS = st.integers(0, 12)
ENTRIES = st.one_of(
    st.tuples(st.just("remove"), COUNTS, st.sampled_from(REASONS), st.integers(0, 20)),
    st.tuples(st.just("score"), st.lists(COUNTS, min_size=6, max_size=6), st.integers(0, 20)),
    st.tuples(st.just("close"), COUNTS, COUNTS, st.sampled_from(REASONS), COUNTS),
    st.tuples(st.just("recount"), st.integers(1, 60)),
    st.tuples(st.just("withdraw"), st.integers(0, 200)),
    st.tuples(st.just("correct"), st.integers(0, 200), COUNTS),
)


def _enter(said: Said, entry: tuple[object, ...]) -> None:
    """Put an entry on record as commands do: only where the batch can still be true."""
    before = list(said.records)
    open_ones = [one for one in before if one.kind in (REMOVAL, SCORES, CLOSED)]
    match entry:
        case "remove", int(count), str(reason), int(day):
            said.remove(count, reason, day)
        case "score", list(counts), int(day):
            said.score(counts, day)
        case "close", int(potted), int(fit), str(reason), int(lost):
            said.put(CLOSED, 21, potted=potted, fit=fit, discarded={reason: lost})
        case "recount", int(count):
            said.put(BATCH, corrects=spring(said).number, crop="coleus", count_stuck=count)
        case "withdraw", int(place) if open_ones:
            said.withdraw(open_ones[place % len(open_ones)].number)
        case "correct", int(place), int(count) if removals := [r for r in open_ones if r.kind == REMOVAL]:
            said.remove(count, "other", 5, corrects=removals[place % len(removals)].number)
    if impossible(spring(said)):
        said.records = before


@given(st.lists(ENTRIES, max_size=25))
def test_counts_add_up_whatever_is_recorded_corrected_and_withdrawn(
    entries: list[tuple[object, ...]],
) -> None:
    said = Said()
    said.stick(40)
    for entry in entries:
        _enter(said, entry)
        batch, ended = spring(said), outcome(spring(said))
        assert ended.left >= 0
        assert ended.unaccounted >= 0
        accounted = ended.left + (ended.potted or 0) + sum(ended.losses.values()) + ended.unaccounted
        assert accounted == ended.stuck == batch.count_stuck
        assert all(0 <= left_before(batch, STUCK_MS + day * DAY_MS) <= ended.stuck for day in range(25))
        for share in (ended.success, ended.rooted, ended.sample):
            assert share is None or 0 <= share.part <= share.whole
