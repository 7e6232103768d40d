"""Whatever is kept, whichever call fails and whenever the process is killed: a round is in the file whole, or not at all."""

import shutil
import sqlite3
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, Final, NamedTuple

import pytest
from failing_once import KINDS, Fault, Seams, fault
from fake_clock import FakeClock
from hypothesis import given, settings
from hypothesis import strategies as st
from store_rounds import HOUR_MS, NOON_MS, change, to_tell

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Refused, Round, Store
from wardian.rules.readings import Reading

pytestmark = pytest.mark.fault(27)

END_MS: Final = NOON_MS + 100 * HOUR_MS
COMMIT: Final = "commit done and not known"
FAILURES: Final = [kind for kind, (seam, _, _) in KINDS.items() if seam == "database"]


class Step(NamedTuple):
    """A round, which call fails while it is kept (0: none) and how, and whether the process is killed after it."""

    round_: Round
    nth: int
    kind: str
    is_killed: bool


TIMES_MS: Final = st.integers(0, 40).map(lambda minutes: NOON_MS + minutes * 450_000)
READINGS: Final = st.lists(
    st.builds(
        Reading,
        TIMES_MS,
        st.sampled_from(["tray-a", "tray-b"]),
        st.sampled_from(["air_temperature", "illuminance"]),
        st.floats(-1e6, 1e6),
    ),
    max_size=6,
)
ROUNDS: Final = st.builds(
    Round,
    st.just(NOON_MS),
    readings=READINGS,
    late=READINGS,
    refused=st.lists(
        st.builds(Refused, st.text(max_size=5), st.text(max_size=5), st.just("raw")), max_size=2
    ),
    journal=st.lists(
        st.sampled_from(["raised", "returned"]).map(lambda event: (NOON_MS, "tray-a", change(event))),
        max_size=2,
    ),
    due=st.lists(st.sampled_from("abcdef").map(lambda key: to_tell("mail", key)), max_size=3),
    states=st.dictionaries(
        st.sampled_from(["tray-a", "tray-b"]), st.just({"judged_ms": NOON_MS}), max_size=2
    ),
    notes=st.dictionaries(st.sampled_from("xy"), st.integers(), max_size=2),
)
STEPS: Final = st.builds(
    Step, ROUNDS, st.integers(0, 14), st.sampled_from(FAILURES), st.booleans()
) | st.builds(Step, ROUNDS, st.integers(0, 1), st.just(COMMIT), st.booleans())


def all_it_says(store: Store) -> list[Any]:
    return [
        list(store.readings(0, END_MS)),
        list(store.readings(0, END_MS, late=False)),
        store.latest(),
        store.journal(),
        store.standing(),
        store.waiting(),
        store.states(),
        store.notes(),
        store.refused(),
        store.counts(),
    ]


def killed(store: SqlStore, path: Path, life: int) -> tuple[SqlStore, Path]:
    """Return what the next process finds: the files as they lie there, without a word of farewell."""
    left = path.parent.with_name(f"life-{life}")
    left.mkdir()
    for name in (path.name, f"{path.name}-wal", f"{path.name}-lock"):
        if path.with_name(name).exists():
            shutil.copy(path.with_name(name), left / name)
    store.close()
    return SqlStore.open(left / path.name), left / path.name


@settings(max_examples=40, deadline=None)
@given(st.lists(STEPS, max_size=8))
def test_after_any_failures_and_kills_every_round_is_there_whole_or_not_at_all(steps: list[Step]) -> None:
    seams = Seams(FakeClock(), Fault())
    with TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        seams.put_in_place(patch)
        path = Path(folder, "life-0", "bench.db")
        path.parent.mkdir()
        in_memory, in_file = MemoryStore(), SqlStore.open(path)
        for life, step in enumerate(steps, 1):
            seams.fault = fault(step.kind, step.nth)
            try:
                in_file.keep(step.round_)
                is_kept = True
            except StoreFailed:
                is_kept = seams.fault.seam == "commit"
                assert seams.fault.has_fired
            seams.fault = Fault()
            if is_kept:
                in_memory.keep(step.round_)
            assert all_it_says(in_file) == all_it_says(in_memory)
            if step.is_killed:
                in_file, path = killed(in_file, path, life)
                assert all_it_says(in_file) == all_it_says(in_memory)
        assert in_file.damage() == ""
        in_file.close()


def test_the_error_of_a_failing_call_is_told_as_the_store_tells_its_errors(tmp_path: Path) -> None:
    seams = Seams(FakeClock(), Fault())
    with pytest.MonkeyPatch.context() as patch:
        seams.put_in_place(patch)
        store = SqlStore.open(tmp_path / "bench.db")
        for kind, may_heal in (("database busy", True), ("database input or output", False)):
            seams.fault = fault(kind, 1)
            with pytest.raises(StoreFailed) as caught:
                store.keep(Round(NOON_MS, readings=[Reading(NOON_MS, "tray-a", "air_temperature", 24.0)]))
            assert caught.value.may_heal is may_heal
            assert isinstance(caught.value.__cause__.__cause__, sqlite3.OperationalError)  # type: ignore[union-attr]  # it has one
        store.close()
