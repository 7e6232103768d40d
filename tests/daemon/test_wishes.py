"""What is asked of alarms from afar: done once, by the rules of the commands, and answered whatever it was."""

import json
import logging
from typing import Any, Final, cast

import pytest
from base_config import built
from fake_clock import FakeClock
from fake_wire import FakeWire, Heard
from hypothesis import given
from hypothesis import strategies as st
from loop_rig import BEGIN_MS, MINUTE_MS, FlakyStore, Rig

from wardian.daemon.wishes import MOST_A_MINUTE, NOTE, Wishes
from wardian.rules.errors import StoreFailed

LOCKED: Final = StoreFailed("store", "the database is locked", may_heal=True)
CONFIG: Final = built(
    """\
site: {name: Teaching bench, timezone: UTC}
trays: [{name: tray-a, crop: coleus, stuck: 2026-02-25}]
crops: {coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {high: 25 °C}}}]}}
"""
)
ACKNOWLEDGE: Final = {"do": "acknowledge", "tray": "tray-a", "alarm": "air-too-warm", "who": "the teacher"}


def call_by_name(rig: Rig) -> None:
    for one in rig.loop.lives._lives.values():
        cast("dict[str, Any]", one.fields)["alarm"] = "air-too-warm"


class Bench:
    """A loop on a tray that has been too warm since the first minute, and somebody who asks from afar."""

    def __init__(self, store: FlakyStore | None = None) -> None:
        self.store = store or FlakyStore()
        self.wire = FakeWire()
        self.minutes = 1.2
        self.begin()

    def begin(self) -> None:
        """Begin, or begin anew as after a kill."""
        self.rig = Rig(self.store)
        self.clock = FakeClock()
        done = self.store.notes().get(NOTE, ())
        self.rig.loop.beside = [Wishes(self.wire, CONFIG, self.clock, done)]
        if not self.store.journal():
            self.rig.arrive(30.0)
            self.rig.round_at(0)
            self.rig.round_at(self.minutes)
        # The teller of the rig says little; what is asked is asked of alarms by the configuration's own names.
        call_by_name(self.rig)

    def hear(self, asks: Any, **more: Any) -> Heard:
        payload = json.dumps(asks).encode()
        heard = Heard(payload, asks, **more)
        self.wire.waiting.append(heard)
        return heard

    def round(self) -> None:
        self.minutes += 0.2
        self.rig.round_at(self.minutes)

    def ask(self, asks: Any, **more: Any) -> dict[str, Any]:
        """Ask, let a round pass, and return the answer."""
        self.hear(asks, **more)
        self.round()
        return self.wire.answers[-1]

    def last(self) -> dict[str, Any]:
        return dict(self.store.journal()[-1].fields)

    def state(self) -> str:
        return str(self.last()["life"])


def test_an_alarm_is_acknowledged_and_the_journal_says_by_whom_and_how() -> None:
    bench = Bench()
    answer = bench.ask({**ACKNOWLEDGE, "why": "cover\nput back", "id": "17"})
    assert answer == {
        "time": answer["time"],
        "id": "17",
        "do": "acknowledge",
        "tray": "tray-a",
        "alarm": "air-too-warm",
        "done": True,
        "alarms": ["air-too-warm"],
    }
    assert bench.state() == "acknowledged"
    assert bench.last()["who"] == "the teacher (by MQTT)"
    assert bench.last()["why"] == "cover put back"
    assert len(bench.wire.over) == 1


def test_everything_that_can_be_asked_is_done() -> None:
    bench = Bench()
    told = []
    for more in (
        {"do": "acknowledge"},
        {"do": "shelve", "for": "2 h"},
        {"do": "unshelve"},
        {"do": "remove", "alarm": None},
        {"do": "restore", "alarm": None},
    ):
        asks = {key: value for key, value in {**ACKNOWLEDGE, **more}.items() if value is not None}
        assert bench.ask(asks)["done"], asks
        told.append(bench.last()["event"])
    assert told == ["acknowledged", "shelved", "unshelved", "out of service", "back in service"]


def test_a_shelf_ends_so_long_after_it_is_done() -> None:
    bench = Bench()
    bench.ask({**ACKNOWLEDGE, "do": "shelve", "for": "90 min"})
    assert bench.last()["until_ms"] == bench.rig.clock.now_ms + 90 * MINUTE_MS


@pytest.mark.parametrize(
    ("asks", "why"),
    [
        ({"do": "silence"}, "'silence' cannot be asked"),
        ({"do": 7}, "do is not a text"),
        ({"who": ""}, "who is missing"),
        ({"who": "\x1b\n "}, "who is missing"),
        ({"who": "x" * 61}, "who is not a text of at most 60 letters"),
        ({"why": "x" * 201}, "why is not a text of at most 200 letters"),
        ({"alarm": None}, "alarm is not a text"),
        ({"tray": "tray-z"}, "there is no tray 'tray-z'"),
        ({"alarm": "too-loud"}, "tray-a has no alarm 'too-loud'"),
        ({"priority": "high"}, "'priority' is no known key; accepted: do, tray, alarm"),
        ({"for": "2 h"}, "for, how long, is needed to shelve, and for nothing else"),
        ({"do": "shelve"}, "for, how long, is needed to shelve"),
        ({"do": "shelve", "for": "2 weeks"}, "for '2 weeks'"),
        ({"do": "shelve", "for": "8 d"}, "an end within seven days"),
        ({"do": "unshelve"}, "cannot be unshelved now (unshelve: the alarm is unacknowledged)"),
    ],
)
def test_what_cannot_be_done_is_answered_with_the_reason_and_changes_nothing(
    asks: dict[str, Any], why: str
) -> None:
    bench = Bench()
    entries = len(bench.store.journal())
    heard = bench.hear({**ACKNOWLEDGE, **asks})
    bench.round()
    (answer,) = bench.wire.answers
    assert not answer["done"]
    assert why in answer["why"]
    assert bench.wire.over == [heard]
    assert len(bench.store.journal()) == entries


@pytest.mark.parametrize("missing", ["do", "tray", "alarm", "who"])
def test_what_is_missing_is_named(missing: str) -> None:
    asks = {key: value for key, value in {**ACKNOWLEDGE, "do": "unshelve"}.items() if key != missing}
    assert Bench().ask(asks)["why"].startswith(f"{missing} is missing")


@pytest.mark.parametrize("asks", [[], "acknowledge", 7, None, True])
def test_what_is_no_object_asks_for_nothing(asks: Any) -> None:
    assert Bench().ask(asks)["why"] == "the message is no JSON object"


def test_what_the_wire_could_not_read_is_answered_in_its_words() -> None:
    assert Bench().ask(None, why="is not UTF-8")["why"] == "the message is not UTF-8"


def test_a_retained_message_is_refused() -> None:
    bench = Bench()
    assert "nobody knows how old it is" in bench.ask(ACKNOWLEDGE, is_retained=True)["why"]
    assert bench.state() == "unacknowledged"


def test_what_comes_again_is_refused_by_the_state_of_the_alarm() -> None:
    bench = Bench()
    assert bench.ask(ACKNOWLEDGE)["done"]
    again = bench.ask(ACKNOWLEDGE)
    assert not again["done"]
    assert "cannot be acknowledged now" in again["why"]


def raise_again(bench: Bench) -> None:
    """Let the alarm return and be raised again."""
    for value in (20.0, 30.0):
        bench.minutes += 0.5
        bench.rig.clock.step_to(BEGIN_MS + round(bench.minutes * MINUTE_MS))
        bench.rig.arrive(value, minutes=bench.minutes)
        bench.minutes += 1.2
        bench.rig.round_at(bench.minutes)
    call_by_name(bench.rig)
    assert bench.state() == "unacknowledged"


@pytest.mark.parametrize("is_killed", [False, True])
def test_a_repeat_of_what_was_done_acknowledges_no_later_raise(is_killed: bool) -> None:
    """The acknowledgement got lost, the alarm came again meanwhile, and the broker sends the message again."""
    bench = Bench()
    bench.ask(ACKNOWLEDGE)
    raise_again(bench)
    if is_killed:
        bench.begin()
    answer = bench.ask(ACKNOWLEDGE, is_repeat=True)
    assert (answer["done"], answer["repeated"]) == (True, True)
    assert bench.state() == "unacknowledged"


def test_the_same_words_asked_anew_are_done_anew_unless_they_bear_one_id() -> None:
    bench = Bench()
    assert bench.ask(ACKNOWLEDGE)["done"]
    raise_again(bench)
    assert bench.ask(ACKNOWLEDGE)["alarms"] == ["air-too-warm"]
    raise_again(bench)
    assert bench.ask({**ACKNOWLEDGE, "id": "1"})["alarms"] == ["air-too-warm"]
    raise_again(bench)
    assert bench.ask({**ACKNOWLEDGE, "id": "1"})["repeated"]
    assert bench.state() == "unacknowledged"


def test_nothing_is_answered_or_taken_before_it_is_committed() -> None:
    bench = Bench()
    bench.store.failures = [LOCKED, LOCKED]
    bench.hear(ACKNOWLEDGE)
    bench.round()
    bench.round()
    assert (bench.wire.over, bench.wire.answers) == ([], [])
    bench.round()
    assert [answer["done"] for answer in bench.wire.answers] == [True]
    assert len(bench.wire.over) == 1
    assert [entry.fields["event"] for entry in bench.store.journal()] == ["raised", "acknowledged"]


def test_what_was_not_committed_before_a_kill_is_done_when_it_comes_again() -> None:
    bench = Bench()
    bench.store.failures = [LOCKED]
    bench.hear(ACKNOWLEDGE)
    bench.round()
    bench.begin()
    assert bench.ask(ACKNOWLEDGE, is_repeat=True)["alarms"] == ["air-too-warm"]
    assert bench.state() == "acknowledged"


def test_more_than_some_dozens_a_minute_are_refused_until_the_minute_is_over(
    caplog: pytest.LogCaptureFixture,
) -> None:
    bench = Bench()
    with caplog.at_level(logging.WARNING):
        for _ in range(3 * MOST_A_MINUTE):
            bench.hear({"do": "nothing"})
        bench.hear(ACKNOWLEDGE)
        bench.round()
    assert "too much is asked" in bench.wire.answers[-1]["why"]
    assert sum("too much" in answer["why"] for answer in bench.wire.answers) == 2 * MOST_A_MINUTE + 1
    assert len([record for record in caplog.records if "too much" in record.getMessage()]) == 1
    bench.clock.step(60_000)
    assert bench.ask(ACKNOWLEDGE)["done"]


ANY_JSON = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=300),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=10), inner, max_size=3),
    max_leaves=6,
)
ANY_ASK = st.fixed_dictionaries(
    {},
    optional={
        "do": st.sampled_from(["acknowledge", "shelve", "remove", "reset", "\ud800"]) | ANY_JSON,
        "tray": st.sampled_from(["tray-a", "tray-\ud800"]) | ANY_JSON,
        "alarm": st.just("air-too-warm") | ANY_JSON,
        "who": st.just("somebody") | ANY_JSON,
        "why": ANY_JSON,
        "for": st.sampled_from(["1 h", "1e999 h", "-1 h", "NaN"]) | ANY_JSON,
        "id": ANY_JSON,
    },
)


@given(st.lists(ANY_ASK | ANY_JSON, max_size=5))
def test_whatever_is_asked_is_answered_and_nothing_is_raised(asked: list[Any]) -> None:
    bench = Bench()
    for asks in asked:
        bench.hear(asks)
    bench.round()
    assert len(bench.wire.answers) == len(bench.wire.over) == len(asked)
    assert all(isinstance(answer["done"], bool) for answer in bench.wire.answers)
