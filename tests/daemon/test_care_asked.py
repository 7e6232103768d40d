"""Care from afar: a button at the bench puts it on record by the rules of the command, once, and is answered."""

import json
import string
from pathlib import Path
from typing import Any, Final

import pytest
from base_config import built
from fake_clock import FakeClock
from fake_wire import FakeWire, Heard
from hypothesis import given
from hypothesis import strategies as st
from loop_rig import BEGIN_MS, Rig

from wardian.daemon.care_asked import trays_named
from wardian.daemon.wishes import BOUNCE_MS, MOST_A_MINUTE, Wishes
from wardian.rules.records import CARE, Record

CONFIG: Final = built(
    """\
site: {name: Teaching bench, timezone: UTC}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-02-25}
  - {name: tray-b, crop: coleus, stuck: 2026-02-25}
crops: {coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {high: 25 °C}}}]}}
"""
)
#: What a button might send: letters, signs and a few that are no ASCII.
SIGNS: Final = string.printable + "°µ٣🌱"
MISTED: Final = {"do": "misted", "tray": "tray-a", "who": "bench", "grams": 20}


class Bench:
    """A loop whose trays have a button."""

    def __init__(self) -> None:
        self.rig = Rig()
        self.wire = FakeWire()
        self.minutes = 0.0
        self.rig.loop.beside = [Wishes(self.wire, CONFIG, FakeClock())]

    def press(self, asks: Any, minutes: float = 1, **more: Any) -> dict[str, Any]:
        """Send a message, let some time and a round pass, and return the answer."""
        self.wire.waiting.append(Heard(json.dumps(asks, default=str).encode(), asks, **more))
        self.minutes += minutes
        self.rig.round_at(self.minutes)
        return self.wire.answers[-1]

    def records(self) -> list[Record]:
        return self.rig.store.records()


def test_a_button_puts_care_on_record_and_hears_of_it() -> None:
    bench = Bench()
    answer = bench.press(MISTED)
    assert answer == {**answer, "do": "misted", "tray": "tray-a", "done": True, "trays": ["tray-a"]}
    (record,) = bench.records()
    assert (record.kind, record.tray, record.who, record.time_ms) == (
        CARE,
        "tray-a",
        "bench (by MQTT)",
        BEGIN_MS + 60_000,
    )
    assert record.fields == {"event": "misted", "grams": 20.0}
    bench.rig.round_at(2)
    (entry,) = bench.rig.store.journal()
    assert entry.fields["message"].startswith("Misted with water of 20 g")
    assert entry.fields["message"].endswith("recorded by bench (by MQTT).")


def test_one_button_can_be_of_all_trays() -> None:
    bench = Bench()
    assert bench.press({"do": "lifted", "tray": "all", "who": "bench", "minutes": 10})["trays"] == [
        "tray-a",
        "tray-b",
    ]
    assert [one.tray for one in bench.records()] == ["tray-a", "tray-b"]


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"tray": "tray-q"}, "there is no tray 'tray-q'"),
        ({"do": "mistd"}, "'mistd' cannot be asked; did you mean misted?"),
        ({"do": ["misted"]}, "do is not a text"),
        ({"grams": -1}, "grams -1 cannot be meant"),
        ({"grams": True}, "grams is not a text of at most 20 letters"),
        ({"grams": float("nan")}, "grams nan is no number"),
        ({"look": "mould"}, "misted takes no look"),
        ({"alarm": "too-dry"}, "'alarm' is no known key"),
        ({"for": "2 h"}, "'for' is no known key"),
        ({"at": "noon"}, "'at' is no known key"),
        ({"who": ""}, "who is missing"),
        ({"do": "looked", "grams": 1}, "looked takes no grams"),
    ],
)
def test_what_a_button_cannot_mean_is_refused_and_put_down_nowhere(more: dict[str, Any], why: str) -> None:
    bench = Bench()
    answer = bench.press({**MISTED, **more})
    assert not answer["done"]
    assert why in answer["why"]
    assert bench.records() == []


def test_alarms_take_no_amounts() -> None:
    answer = Bench().press({"do": "acknowledge", "tray": "tray-a", "who": "bench", "grams": 20})
    assert "'grams' is no known key" in answer["why"]


def test_a_retained_press_is_refused_and_one_that_the_broker_repeats_is_done_once() -> None:
    bench = Bench()
    assert "retained" in bench.press(MISTED, is_retained=True)["why"]
    assert bench.press(MISTED)["done"]
    assert bench.press(MISTED, is_repeat=True)["repeated"]
    assert len(bench.records()) == 1


def test_a_button_that_bounces_counts_once_and_two_rounds_of_it_twice() -> None:
    bench = Bench()
    assert bench.press(MISTED)["done"]
    assert "within the last 15 s" in bench.press(MISTED, (BOUNCE_MS - 1) / 60_000)["why"]
    assert bench.press({**MISTED, "tray": "tray-b"}, 0)["done"]
    assert bench.press(MISTED, 1)["done"]
    assert len(bench.records()) == 3


def test_a_flood_of_presses_is_refused() -> None:
    bench = Bench()
    answers = [bench.press(MISTED) for _ in range(MOST_A_MINUTE + 2)]
    assert [one["done"] for one in answers] == [True] * MOST_A_MINUTE + [False] * 2
    assert len(bench.records()) == MOST_A_MINUTE


@given(
    st.dictionaries(
        st.sampled_from(["do", "tray", "who", "grams", "look", "why"]),
        st.text(SIGNS, max_size=9) | st.floats() | st.none() | st.booleans(),
    )
)
def test_whatever_a_button_sends_is_answered(asks: dict[str, Any]) -> None:
    assert "done" in Bench().press({**MISTED, **asks})


def test_trays_are_named_one_by_one_or_all_at_once() -> None:
    assert trays_named(CONFIG, "all") == ["tray-a", "tray-b"]
    assert trays_named(CONFIG, "tray-b, tray-a,tray-b") == ["tray-b", "tray-a"]
    with pytest.raises(ValueError, match="there is no tray ''"):
        trays_named(CONFIG, "tray-a,")


def test_a_tray_that_is_named_all_is_meant_by_it() -> None:
    text = "site: {name: B, timezone: UTC}\ncrops: {c: {stages: [{name: s, from_day: 0, bands: {}}]}}\n"
    of = built(
        text + "trays: [{name: all, crop: c, stuck: 2026-02-25}, {name: b, crop: c, stuck: 2026-02-25}]\n"
    )
    assert trays_named(of, "all") == ["all"]
    assert Path(of.document.file).name == "c.yaml"
