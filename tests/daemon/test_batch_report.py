"""What is told of batches beyond the usual: whole looks, cuttings unaccounted for, and shares that are the same."""

from datetime import UTC

import pytest
from batch_records import Said, closed_batch

from wardian.daemon.report_batch_compare import reservations, statements
from wardian.daemon.report_batches import show_lines
from wardian.daemon.tongue import Tongue
from wardian.rules.batch_compare import Group, compare, group_of
from wardian.rules.batches import batches


def group(name: str, stuck: int, fit: int, **details: object) -> Group:
    return group_of(name, batches(closed_batch(name, stuck, fit, **details)).values())


def shown(said: Said) -> list[str]:
    (batch,) = batches(said.records).values()
    return list(show_lines(Tongue(UTC), batch))


def test_a_look_at_all_that_are_left_is_told_of_those_stuck() -> None:
    said = Said()
    said.stick(20)
    said.remove(2, "rot", 3)
    said.score([0, 0, 3, 15, 0, 0], 14)
    assert shown(said)[-1] == "with roots: 15 of 20, 75 % (53 to 89 %) of those stuck"


def test_cuttings_that_nobody_accounted_for_are_told() -> None:
    said = Said()
    said.stick(20)
    said.close(15, 14, wilt=2)
    assert "lost: 2 wilt; not accounted for: 3" in shown(said)


def test_how_long_cuttings_were_held_is_told_where_it_is_known() -> None:
    said = Said()
    said.stick(20, taken_ms=said.put("note").time_ms - 5_400_000)
    assert "  held for  1.5 h" in shown(said)


@pytest.mark.parametrize(("fit", "needed"), [(10, 93), (0, 35), (20, 35), (2, 62), (18, 62)])
def test_where_shares_are_the_same_it_is_said_what_20_points_would_take(fit: int, needed: int) -> None:
    told = " ".join(statements(compare(group("a", 20, fit), group("b", 20, fit))))
    assert "That cannot tell a from b" in told
    assert f"a difference of 20 points, it takes about {needed} cuttings in each group" in told


def test_the_better_of_two_is_named_whichever_comes_first() -> None:
    good, poor = group("good", 40, 38), group("poor", 40, 12)
    for pair in ((good, poor), (poor, good)):
        assert "That speaks for good" in " ".join(statements(compare(*pair)))


def test_one_comparison_is_not_several() -> None:
    (one,) = [compare(group("a", 20, 3), group("b", 20, 4))]
    assert not any("comparisons" in line for line in reservations([one]))
    (several,) = [line for line in reservations([one] * 5) if "comparisons" in line]
    assert "about 23 times in 100" in several


def test_nothing_is_claimed_to_be_proved() -> None:
    for fit in range(0, 41, 5):
        found = compare(group("a", 40, fit, medium="sand"), group("b", 40, 20, medium="peat"))
        told = " ".join([*statements(found), *reservations([found] * 3)])
        assert "prove" not in told
        assert "perhaps the reason: medium" in told
