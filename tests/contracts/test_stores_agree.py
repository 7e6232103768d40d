"""The store in a file says what the one in memory says, whatever is kept and in whatever order."""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Act, Alarm, DueMessage, Message, Refused, Round, Store
from wardian.rules.readings import Reading

HOUR_MS: Final = 3_600_000
#: Few enough for repeats, far enough apart for what is summed up by the hour.
TIMES_MS: Final = st.integers(-2, 8) | st.integers(0, 12).map(lambda hours: hours * HOUR_MS)
TRAYS: Final = st.sampled_from(["tray-a", "tray-b"])
QUANTITIES: Final = st.sampled_from(["air_temperature", "illuminance"])
TEXTS: Final = st.text(max_size=20)
JSON: Final = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=5,
)

READINGS: Final = st.lists(st.builds(Reading, TIMES_MS, TRAYS, QUANTITIES, st.floats(-1e6, 1e6)), max_size=12)
CHANGES: Final = st.fixed_dictionaries(
    {
        "quantity": QUANTITIES,
        "limit": st.sampled_from(["low", "high", None]),
        "event": st.sampled_from(["raised", "returned", "acknowledged"]),
        "alarm": st.sampled_from(["sensor-silent", "sensor-implausible"]),
        "value": JSON,
    }
)
DUE: Final = st.builds(
    DueMessage,
    st.sampled_from(["mail", "console"]),
    st.builds(Message, st.sampled_from("abcdef"), TEXTS, TEXTS, st.dictionaries(TEXTS, JSON, max_size=2)),
)
REFUSED: Final = st.builds(
    Refused, TEXTS, TEXTS, st.text(max_size=300), st.none() | st.integers(), st.none() | TEXTS, st.none()
)
ROUNDS: Final = st.builds(
    Round,
    st.integers(0, 100),
    readings=READINGS,
    late=READINGS,
    refused=st.lists(REFUSED, max_size=3),
    journal=st.lists(st.tuples(TIMES_MS, TRAYS, CHANGES), max_size=4),
    due=st.lists(DUE, max_size=4),
    states=st.dictionaries(TRAYS, st.dictionaries(TEXTS, JSON, max_size=3)),
    notes=st.dictionaries(TEXTS, JSON, max_size=3),
    acts_done=st.lists(st.integers(1, 6), max_size=2),
)
ALARMS: Final = st.builds(Alarm, TRAYS, QUANTITIES, st.sampled_from(["low", "sensor-silent"]))
ACTS: Final = st.builds(Act, TIMES_MS, ALARMS, TEXTS, TEXTS, TEXTS, st.none() | TIMES_MS)
NUMBERS: Final = st.integers(1, 12)
#: One thing done to a store.
Step = Callable[[Store], Any]
STEPS: Final[st.SearchStrategy[Step]] = (
    ROUNDS.map(lambda round_: lambda store: store.keep(round_))
    | st.lists(ACTS, max_size=3).map(lambda asked: lambda store: store.ask(asked))
    | st.builds(lambda number, now: lambda store: store.delivered(number, now), NUMBERS, NUMBERS)
    | st.builds(lambda number, due: lambda store: store.postponed(number, due, "no answer"), NUMBERS, NUMBERS)
    | st.builds(lambda number, now: lambda store: store.given_up(number, now, "refused"), NUMBERS, NUMBERS)
)


def all_it_says(store: Store) -> list[Any]:
    spans = [(-10, 10), (3, 2 * HOUR_MS), (-10, 99 * HOUR_MS)]
    return [
        [list(store.readings(*span, late=late)) for span in spans for late in (True, False)],
        [as_lists(store, *span) for span in spans],
        store.latest(),
        store.counts(),
        store.states(),
        store.notes(),
        store.journal(),
        store.journal(last=3),
        store.standing(),
        store.last_of_alarms(),
        store.acts(),
        store.refused(last=5),
        store.waiting(),
        store.due(50),
        store.due(5, limit=2),
    ]


def as_lists(store: Store, from_ms: int, to_ms: int) -> dict[Any, Any]:
    chunk = store.chunk(from_ms, to_ms)
    assert all(np.all(np.diff(points.times_ms) > 0) for points in chunk.values())
    return {series: (points.times_ms.tolist(), points.values.tolist()) for series, points in chunk.items()}


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(STEPS, st.booleans()), max_size=8))
def test_a_file_answers_as_memory_does_also_after_it_was_opened_anew(steps: list[tuple[Step, bool]]) -> None:
    with TemporaryDirectory() as folder:
        path = Path(folder, "bench.db")
        in_memory, in_file = MemoryStore(), SqlStore.open(path)
        for step, opens_anew in steps:
            assert step(in_file) == step(in_memory)
            if opens_anew:
                in_file.close()
                in_file = SqlStore.open(path)
        assert all_it_says(in_file) == all_it_says(in_memory)
        in_file.close()
