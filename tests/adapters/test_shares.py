"""Each topic has its share: what is far over it is refused, and nobody else notices."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.shares import (
    BACKLOG_WITHIN_S,
    BURST,
    BYTES_OF_ONE,
    CALM_S,
    LASTING_PER_S,
    LONGEST_BACKLOG,
    OWN_SHARES,
    SHOWN_AT_ONCE,
    SHOWN_EVERY_S,
    STRANGERS,
    Admission,
    Place,
    Shares,
    cost_of,
)

LONG_AFTER_S = 2 * BACKLOG_WITHIN_S


def place_of(topic: str) -> Place:
    """Topics are ``tray/quantity``; those below ``open`` are let through by a wildcard."""
    tray = topic.partition("/")[0]
    if tray == "open":
        return Place(None, 3, is_open=True)
    return Place(tray, 1 if tray.startswith("tray-") else 0, is_open=False)


def shares(begun_s: float = 0.0) -> Shares:
    return Shares(place_of, begun_s)


def within(some: Shares, topic: str, number: int, now_s: float, every_s: float = 0.0) -> int:
    """Return how many of some messages are within the share of their topic."""
    asked = (some.of(topic, at).admit(1, at) for at in (now_s + n * every_s for n in range(number)))
    return sum(admission is Admission.WITHIN for admission in asked)


def test_a_flood_gets_its_burst_and_then_the_lasting_share() -> None:
    some = shares()
    within(some, "tray-a/air", 1, LONG_AFTER_S)
    flooded = within(some, "tray-a/air", 10_000, LONG_AFTER_S + 10, every_s=0.001)
    assert flooded == pytest.approx(BURST + 10 * LASTING_PER_S, abs=2)


def test_a_sensor_that_sends_every_second_for_a_day_is_never_refused() -> None:
    some = shares()
    a_day = 86_400
    assert within(some, "tray-a/air", a_day, LONG_AFTER_S, every_s=1.0) == a_day


@given(st.lists(st.sampled_from(["tray-a/air", "tray-b/air", "nobody/air", "open/x"]), max_size=60))
def test_what_others_bring_never_costs_a_topic_anything(others: list[str]) -> None:
    alone, beside = shares(), shares()
    seen_alone, seen_beside = [], []
    for number, other in enumerate(others):
        now_s = LONG_AFTER_S + number * 0.01
        for _ in range(40):
            beside.of(other, now_s).admit(60, now_s)
        seen_alone.append(alone.of("tray-c/air", now_s).admit(90, now_s))
        seen_beside.append(beside.of("tray-c/air", now_s).admit(90, now_s))
    assert seen_alone == seen_beside


def test_what_waited_in_a_broker_before_our_start_is_no_flood() -> None:
    assert within(shares(), "tray-a/air", int(LONGEST_BACKLOG), 5.0) == LONGEST_BACKLOG


def test_what_was_measured_while_a_topic_was_silent_is_no_flood() -> None:
    some = shares()
    within(some, "tray-a/air", 1, LONG_AFTER_S)
    half_a_day_s = 43_200.0
    waiting = int(half_a_day_s / 5)
    assert within(some, "tray-a/air", waiting, LONG_AFTER_S + half_a_day_s) == waiting


def test_a_backlog_that_was_not_there_within_the_hour_is_none_any_more() -> None:
    some = shares()
    for second in range(0, int(BACKLOG_WITHIN_S) + 60, 30):
        some.of("tray-a/air", second).admit(1, second)
    assert within(some, "tray-a/air", 50_000, BACKLOG_WITHIN_S + 60) == pytest.approx(BURST, abs=1)


def test_a_long_message_costs_more_than_a_short_one() -> None:
    assert (cost_of(b""), cost_of(b"x" * (BYTES_OF_ONE - 1)), cost_of(b"x" * 4096)) == (1, 1, 9)


def test_a_million_made_up_topics_share_one_small_share_and_no_memory() -> None:
    some = shares()
    taken = sum(within(some, f"nobody-{n}/air", 1, n / 10_000) for n in range(20_000))
    assert taken <= STRANGERS.at_once + 2 * STRANGERS.lasting_per_s + 1
    assert len(some._own) == 0


def test_topics_that_only_a_wildcard_lets_through_share_one_once_there_are_many() -> None:
    some = shares()
    within(some, "open/known", 1, LONG_AFTER_S)
    own = {id(some.of(f"open/{n}", LONG_AFTER_S)) for n in range(1000)}
    assert len(own) == 3 * OWN_SHARES - 1 + 1
    assert some.of("open/known", LONG_AFTER_S) is not some.of("open/999", LONG_AFTER_S)
    assert some.of("open/998", LONG_AFTER_S) is some.of("open/999", LONG_AFTER_S)
    assert some.of("open/" + "x" * 60_000, LONG_AFTER_S) is some.of("open/999", LONG_AFTER_S)


def test_of_a_flood_the_first_are_shown_and_then_one_a_minute() -> None:
    some = shares()
    share = some.of("tray-a/air", LONG_AFTER_S)
    minutes = 3
    seen = [share.admit(1, LONG_AFTER_S + n / 100) for n in range(int(minutes * SHOWN_EVERY_S * 100) + 2)]
    assert seen.count(Admission.SHOWN) == pytest.approx(SHOWN_AT_ONCE + minutes, abs=1)
    assert share.over == len(seen) - seen.count(Admission.WITHIN)


def test_floods_are_told_with_their_rate_until_a_minute_of_calm_has_passed() -> None:
    some = shares()
    within(some, "tray-b/air", 1, LONG_AFTER_S)
    within(some, "tray-a/air", 20_000, LONG_AFTER_S, every_s=0.001)
    within(some, "nobody/air", 4_000, LONG_AFTER_S, every_s=0.005)
    end_s = LONG_AFTER_S + 20
    worst, strange = some.floods(end_s)
    assert (worst.place, worst.is_ours) == ("tray-a/air", True)
    assert worst.per_s == pytest.approx(1000, rel=0.01)
    assert (strange.place, strange.is_ours) == ("nobody/air", False)
    assert strange.refused == pytest.approx(4_000 - STRANGERS.at_once, abs=6)
    assert some.floods(end_s + CALM_S) == []


def test_a_sensor_that_nobody_configured_is_no_flood() -> None:
    some = shares()
    within(some, "nobody/air", 1_000, 0.0, every_s=1.0)
    assert some.of("nobody/air", 1_000).over > 700
    assert some.floods(1_000) == []


def test_a_rush_that_is_over_within_seconds_is_told_too() -> None:
    shares = Shares(lambda _: Place("tray-a", 1, is_open=False), 0.0)
    share = shares.of("class/tray-a/air", 0.0)
    for number in range(30_000):
        share.admit(1, number / 10_000)
    (flood,) = shares.floods(3.0)
    assert flood.per_s == pytest.approx(6_000, rel=0.01)
