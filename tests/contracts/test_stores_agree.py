"""The store in a file says what the one in memory says, whatever is kept and in whatever order."""

from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final

import numpy as np
from case_terms import high, low, plan, stage
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.kept import Older
from wardian.rules.ports import Act, Alarm, DueMessage, Message, Refused, Round, Store
from wardian.rules.readings import Reading
from wardian.rules.rollups import Rollups

HOUR_MS: Final = 3_600_000
#: Few enough for repeats, far enough apart for what is summed up by the hour.
TIMES_MS: Final = (
    st.integers(-2, 8)
    | st.integers(0, 12).map(lambda hours: hours * HOUR_MS)
    | st.builds(
        lambda hours, into: hours * HOUR_MS + into,
        st.integers(0, 6),
        st.sampled_from([1, 100_000, 299_999, 300_000, HOUR_MS - 1, HOUR_MS - 100_000]),
    )
)
TRAYS: Final = st.sampled_from(["tray-a", "tray-b"])
QUANTITIES: Final = st.sampled_from(["air_temperature", "illuminance"])
TEXTS: Final = st.text(max_size=20)
JSON: Final = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats(allow_nan=False, allow_infinity=False) | TEXTS,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(TEXTS, inner, max_size=3),
    max_leaves=5,
)

VALUES: Final = (
    st.floats(-1e6, 1e6)
    | st.integers(-400, 800).map(lambda tenths: tenths / 10)
    | st.sampled_from([19.0, 20.0, 20.5, 24.0, 25.0, 26.0])
)
READINGS: Final = st.lists(st.builds(Reading, TIMES_MS, TRAYS, QUANTITIES, VALUES), max_size=12)
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
#: Tray A has bands that change, the second time within five minutes, and stands long; of tray B nobody knows.
PLAN: Final = plan(
    (0, stage("callusing", air_temperature=(low(20, 1), high(25, 1)))),
    (2 * HOUR_MS, stage("striking", air_temperature=high(24, 0.5), illuminance=low(0, 1))),
    (4 * HOUR_MS + 100_000, stage("weaning", air_temperature=low(20, 0))),
    hold_ms=HOUR_MS + 100_000,
)
PLANS: Final = {PLAN.tray: PLAN}
#: One thing done to a store.
Step = Callable[[Store], Any]
STEPS: Final[st.SearchStrategy[Step]] = (
    ROUNDS.map(lambda round_: lambda store: store.keep(round_))
    | st.lists(ACTS, max_size=3).map(lambda asked: lambda store: store.ask(asked))
    | st.builds(lambda number, now: lambda store: store.delivered(number, now), NUMBERS, NUMBERS)
    | st.builds(lambda number, due: lambda store: store.postponed(number, due, "no answer"), NUMBERS, NUMBERS)
    | st.builds(lambda number, now: lambda store: store.given_up(number, now, "refused"), NUMBERS, NUMBERS)
    | st.builds(lambda before, most: lambda store: some_folded(store, before, most), TIMES_MS, NUMBERS)
    | st.builds(lambda before, most: lambda store: all_folded(store, before, most), TIMES_MS, NUMBERS)
    | st.builds(lambda *older: lambda store: all_let_go(store, Older(*older)), *[st.none() | TIMES_MS] * 3)
)


def some_folded(store: Store, before_ms: int, most: int) -> None:
    """Fold a piece, which for the store in memory would be the whole."""
    if not isinstance(store, MemoryStore):
        store.fold(before_ms, PLANS, most)


def all_folded(store: Store, before_ms: int, most: int) -> None:
    while store.fold(before_ms, PLANS, most):
        pass


def all_let_go(store: Store, older: Older) -> None:
    while store.let_go(older):
        pass


SPANS: Final = [(-10, 10), (3, 2 * HOUR_MS), (HOUR_MS + 1, HOUR_MS + 300_001), (-10, 99 * HOUR_MS)]


def all_of_readings(store: Store) -> list[Any]:
    return [
        [list(store.readings(*span, late=late)) for span in SPANS for late in (True, False)],
        [as_lists(store, *span) for span in SPANS],
        [as_lists(store, *span, quantities=["illuminance"], trays=["tray-a"]) for span in SPANS],
        [store.late(*span) for span in SPANS],
        store.latest(),
        store.counts(),
    ]


def assert_alike(some: Rollups, others: Rollups) -> None:
    """Assert that pieces are the same, means as closely as is promised."""
    span = others.highest - others.lowest
    assert np.all(np.abs(some.mean - others.mean) <= span / 65_535 + 1e-9 * np.abs(others.mean))
    for column, other in zip(some._replace(mean=others.mean), others, strict=True):
        assert column.tolist() == other.tolist()


def all_it_says(store: Store) -> list[Any]:
    return [
        all_of_readings(store),
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


def as_lists(store: Store, from_ms: int, to_ms: int, **only: list[str]) -> dict[Any, Any]:
    chunk = store.chunk(from_ms, to_ms, **only)
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
            assert all_of_readings(in_file) == all_of_readings(in_memory)
            if opens_anew:
                in_file.close()
                in_file = SqlStore.open(path)
        assert all_it_says(in_file) == all_it_says(in_memory)
        for store in (in_file, in_memory):
            all_folded(store, 99 * HOUR_MS, 3)
        assert all_it_says(in_file) == all_it_says(in_memory)
        assert in_file.folded_until_ms() == in_memory.folded_until_ms()
        for series in in_memory.latest():
            for span in SPANS:
                assert_alike(in_file.rollups(series, *span), in_memory.rollups(series, *span))
        in_file.close()
