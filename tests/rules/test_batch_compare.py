"""Groups of batches side by side: whose share it is, and what else differed."""

import pytest
from batch_records import DAY_MS, Said, closed_batch

from wardian.rules.batch_compare import BY, compare, group_of, grouped
from wardian.rules.batches import Batch, batches
from wardian.rules.proportions import Share
from wardian.rules.records import Record


def known(*each: list[Record]) -> list[Batch]:
    return list(batches([record for records in each for record in records]).values())


def numbered(*each: list[Record]) -> list[Batch]:
    return [batch for records in each for batch in known(records)]


def test_a_group_is_pooled_and_leaves_the_open_out() -> None:
    growing = Said("growing")
    growing.stick(30)
    group = group_of("all", numbered(closed_batch("a", 20, 12), closed_batch("b", 10, 9), growing.records))
    assert group.share == Share(21, 30)
    assert [one.name for one in group.batches] == ["a", "b"]


def test_batches_are_grouped_by_what_is_known_of_them_and_the_largest_comes_first() -> None:
    mine = numbered(
        closed_batch("a", 20, 12, medium="sand"),
        closed_batch("b", 30, 9, medium="perlite"),
        closed_batch("c", 15, 9, medium="sand"),
        closed_batch("d", 15, 9),
    )
    assert [(one.name, one.share.whole) for one in grouped(mine, "medium")] == [("sand", 35), ("perlite", 30)]


def test_hormones_are_told_apart_by_strength_and_form() -> None:
    mine = numbered(
        closed_batch("a", 20, 12, hormone="IBA", hormone_mg_l=3000.0, hormone_form="powder"),
        closed_batch("b", 20, 12, hormone="IBA", hormone_mg_l=1000.0),
        closed_batch("c", 20, 12, hormone="none"),
    )
    assert [one.name for one in grouped(mine, "hormone")] == ["IBA 1000 mg/l", "IBA 3000 mg/l powder", "none"]


@pytest.mark.parametrize("by", BY)
def test_batches_of_one_kind_are_one_group_whatever_they_are_grouped_by(by: str) -> None:
    details = {"medium": "sand", "hormone": "none", "source": "old plant"}
    mine = numbered(closed_batch("a", 20, 12, **details), closed_batch("b", 20, 12, **details))
    assert [one.share.whole for one in grouped(mine, by)] == [40]


def test_what_differed_besides_is_named_and_what_nobody_said_as_well() -> None:
    one, other = (
        group_of(name, numbered(closed_batch(name, 20, 10, **details)))
        for name, details in (
            ("a", {"medium": "sand", "medium_lot": "1", "water": "rain", "leaves": 2, "tray": "left"}),
            ("b", {"medium": "perlite", "medium_lot": "2", "water": "tap", "leaves": 2, "tray": "right"}),
        )
    )
    found = compare(one, other, "medium")
    assert found.differed == ("tray", "water")
    assert "leaves" not in found.unsaid
    assert "hormone" in found.unsaid


def test_a_difference_is_told_only_where_none_at_all_is_outside_what_is_possible() -> None:
    twelve, seventeen, nineteen = (
        group_of(str(fit), numbered(closed_batch(str(fit), 20, fit))) for fit in (12, 17, 19)
    )
    found = compare(seventeen, twelve)
    assert (found.is_told, round(found.difference, 2), found.needed) == (False, 0.25, 49)
    assert compare(nineteen, twelve).is_told
    assert compare(twelve, nineteen).is_told
    assert compare(twelve, twelve).needed is None


@pytest.mark.parametrize(("days", "is_told"), [(6.9, False), (7.1, True), (-6.9, False), (-7.1, True)])
def test_that_they_were_stuck_weeks_apart_is_told(days: float, is_told: bool) -> None:
    later = [one._replace(time_ms=one.time_ms + round(days * DAY_MS)) for one in closed_batch("b", 20, 12)]
    one, other = (group_of(str(n), known(own)) for n, own in enumerate((closed_batch("a", 20, 12), later)))
    assert ("stuck" in compare(one, other).differed) == is_told
