"""What every store promises, held against the one in memory and the one in a file alike."""

from collections.abc import Callable
from dataclasses import replace
from itertools import islice
from typing import Any, Final

import numpy as np
import pytest
from store_rounds import HOUR_MS, NOON_MS, change, journal, to_tell

from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Due, DueMessage, Kept, Message, Refused, Round, Store
from wardian.rules.readings import Reading, Series

END_MS: Final = NOON_MS + 1_000 * HOUR_MS

AIR: Final = Series("tray-a", "air_temperature")
LIGHT: Final = Series("tray-b", "illuminance")


def air(after_ms: int, value: float = 24.5) -> Reading:
    return Reading(NOON_MS + after_ms, *AIR, value)


def light(after_ms: int, value: float = 4200.0) -> Reading:
    return Reading(NOON_MS + after_ms, *LIGHT, value)


def everything(store: Store) -> dict[str, Any]:
    return {
        "readings": list(store.readings(0, END_MS)),
        "judged": list(store.readings(0, END_MS, late=False)),
        "latest": store.latest(),
        "journal": store.journal(),
        "standing": store.standing(),
        "waiting": store.waiting(),
        "states": store.states(),
        "notes": store.notes(),
        "refused": store.refused(),
        "counts": store.counts(),
    }


FULL_ROUND: Final = Round(
    NOON_MS,
    readings=[air(0), light(0), air(1000, 24.25)],
    late=[air(-5000, 23.0)],
    refused=[Refused("bench", "not a number", "warm", NOON_MS, *AIR)],
    journal=journal(change("raised")).journal,
    due=[to_tell("mail", "raised-1")],
    states={"tray-a": {"judged_ms": NOON_MS, "stands": {"air_temperature": [NOON_MS, 24.25]}}},
    notes={"clean_stop": False},
)


# ------------------------------------------------------------------------------------ readings


def test_a_round_comes_back_as_it_was_given(store: Store) -> None:
    assert store.keep(FULL_ROUND) == Kept(readings=4, repeated=0)
    kept = everything(store)
    assert kept["readings"] == [air(-5000, 23.0), air(0), light(0), air(1000, 24.25)]
    assert [entry.fields for entry in kept["journal"]] == [change("raised")]
    assert kept["waiting"] == [
        Due(
            1, "mail", to_tell("mail", "raised-1").message, NOON_MS, attempts=0, due_ms=NOON_MS, last_error=""
        )
    ]
    assert kept["states"] == FULL_ROUND.states
    assert kept["notes"] == {"clean_stop": False}
    assert kept["refused"] == [(NOON_MS, FULL_ROUND.refused[0])]
    assert kept["counts"] == {"readings": 4, "late": 1, "refused": 1, "journal": 1, "due": 1, "sent": 0}


def test_an_empty_store_has_nothing_to_say(store: Store) -> None:
    assert store.keep(Round(NOON_MS)) == Kept(0, 0)
    assert not any(value for name, value in everything(store).items() if name != "counts")
    assert set(store.counts().values()) == {0}
    assert store.chunk(0, END_MS) == {}
    assert store.due(END_MS) == []


def test_readings_come_in_order_of_time_whatever_the_order_of_arrival(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(3000), air(1000), light(2000)]))
    store.keep(Round(NOON_MS, readings=[air(2000), light(0)]))
    assert list(store.readings(0, END_MS)) == [light(0), air(1000), air(2000), light(2000), air(3000)]


def test_a_span_of_readings_has_its_start_and_not_its_end(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(0), air(1000), air(2000)]))
    assert list(store.readings(NOON_MS, NOON_MS + 2000)) == [air(0), air(1000)]
    assert store.chunk(NOON_MS + 1, NOON_MS + 2000)[AIR].times_ms.tolist() == [NOON_MS + 1000]


def test_times_before_1970_are_times(store: Store) -> None:
    early = Reading(-1, *AIR, 20.0)
    store.keep(Round(NOON_MS, readings=[early]))
    store.keep(Round(NOON_MS, readings=[early, air(0)]))
    assert list(store.readings(-10, END_MS)) == [early, air(0)]
    assert store.counts()["readings"] == 2


def test_streaming_goes_on_while_a_round_is_kept(store: Store) -> None:
    series = ("illuminance", "ppfd", "relative_humidity")
    rows = [Reading(time_ms, "tray-a", name, 1.0) for time_ms in range(5_000) for name in series]
    store.keep(Round(NOON_MS, readings=rows))
    stream = store.readings(0, END_MS)
    first = list(islice(stream, 6_000))
    store.keep(Round(NOON_MS, readings=[Reading(-1, "tray-a", "ppfd", 1.0)]))
    assert first + list(stream) == rows


def test_of_repeats_the_first_stands_within_a_round_and_between_rounds(store: Store) -> None:
    assert store.keep(Round(NOON_MS, readings=[air(0, 20.0), air(0, 21.0), light(0)])) == Kept(2, 1)
    assert store.keep(Round(NOON_MS, readings=[air(0, 22.0)], late=[light(0, 1.0)])) == Kept(0, 2)
    assert list(store.readings(0, END_MS)) == [air(0, 20.0), light(0)]


def test_a_late_repeat_of_a_judged_reading_does_not_make_it_late(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(0)]))
    store.keep(Round(NOON_MS, late=[air(0), air(-1000)]))
    assert store.chunk(0, END_MS)[AIR].times_ms.tolist() == [NOON_MS]
    assert store.counts()["late"] == 1


def test_late_readings_are_read_but_not_judged(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[light(0)], late=[air(1000)]))
    assert list(store.readings(0, END_MS)) == [light(0), air(1000)]
    assert list(store.readings(0, END_MS, late=False)) == [light(0)]
    assert set(store.chunk(0, END_MS)) == {LIGHT}
    assert store.latest() == {LIGHT: light(0), AIR: air(1000)}


def test_late_readings_are_counted_by_series_and_time(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[light(0)], late=[air(1000), air(2000), light(1000), air(5000)]))
    assert store.late(NOON_MS, NOON_MS + 5000) == {AIR: 2, LIGHT: 1}
    assert store.late(NOON_MS + 2001, NOON_MS + 5000) == {}


def test_a_chunk_holds_each_series_as_arrays_in_order_of_time(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(2000, 2.0), light(1000, 7.0), air(1000, 1.0)]))
    chunk = store.chunk(0, END_MS)
    assert chunk[AIR].times_ms.tolist() == [NOON_MS + 1000, NOON_MS + 2000]
    assert chunk[AIR].values.tolist() == [1.0, 2.0]
    assert chunk[LIGHT].values.tolist() == [7.0]
    assert store.chunk(0, END_MS, ["illuminance"]).keys() == {LIGHT}
    assert store.chunk(0, END_MS, ["ppfd"]) == store.chunk(0, END_MS, ()) == {}
    assert str(chunk[AIR].times_ms.dtype) == "int64"
    assert str(chunk[AIR].values.dtype) == "float64"


def test_the_latest_reading_of_a_series_is_known_however_long_it_is_silent(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[light(0, 1.0), light(10, 2.0)]))
    for hour in range(1, 30):
        store.keep(Round(NOON_MS, readings=[air(hour * HOUR_MS), air(hour * HOUR_MS + 1, hour)]))
    assert store.latest() == {LIGHT: light(10, 2.0), AIR: air(29 * HOUR_MS + 1, 29)}
    store.keep(Round(NOON_MS, late=[light(20, 3.0), light(5, 4.0), air(7)]))
    store.keep(Round(NOON_MS, readings=[light(30, 5.0), light(29, 6.0)]))
    assert store.latest() == {LIGHT: light(30, 5.0), AIR: air(29 * HOUR_MS + 1, 29)}
    assert store.counts()["readings"] == 2 + 2 * 29 + 3 + 2


def test_one_reading_from_far_ahead_hides_no_later_one(store: Store) -> None:
    store.keep(Round(NOON_MS, readings=[air(500 * HOUR_MS)]))
    for hour in range(5):
        store.keep(Round(NOON_MS, readings=[light(hour * HOUR_MS)]))
    assert store.latest()[LIGHT] == light(4 * HOUR_MS)
    assert store.counts()["readings"] == 6


# ----------------------------------------------------------------------------------- atomicity

POISONS: Final[dict[str, Callable[[Round], Round]]] = {
    "a reading that is no number": lambda good: replace(
        good, readings=[*good.readings, air(9, float("nan"))]
    ),
    "a late reading that is infinite": lambda good: replace(good, late=[*good.late, air(9, float("inf"))]),
    "a numpy time": lambda good: replace(
        good,
        late=[*good.late, Reading(np.int64(9), *AIR, 1.0)],  # type: ignore[arg-type] # that is the mistake
    ),
    "a journal entry without an event": lambda good: replace(
        good,
        journal=[*good.journal, (NOON_MS, "tray-a", {"quantity": "air_temperature", "alarm": "too-dry"})],
    ),
    "a message that is no JSON": lambda good: replace(
        good, due=[*good.due, DueMessage("mail", Message("other", "", "", {"value": object()}))]
    ),
    "a state with a value that is no number": lambda good: replace(
        good, states={"tray-b": {"x": float("nan")}}
    ),
}


@pytest.mark.parametrize("poison", POISONS.values(), ids=POISONS.keys())
def test_a_round_that_cannot_be_kept_whole_leaves_nothing(
    store: Store, poison: Callable[[Round], Round]
) -> None:
    store.keep(Round(NOON_MS, readings=[air(-9000)], notes={"round": 1}))
    before = everything(store)
    with pytest.raises(StoreFailed) as caught:
        store.keep(poison(FULL_ROUND))
    assert not caught.value.may_heal
    assert everything(store) == before
    assert store.keep(FULL_ROUND) == Kept(4, 0)
    assert store.latest() == {AIR: air(1000, 24.25), LIGHT: light(0)}
