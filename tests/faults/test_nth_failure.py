"""Every call to the world outside fails once, one after the other: nothing is lost, and nobody is left in the dark.

After each failure the hours go on to a peaceful end; then the store and all that was received are looked over.
"""

import json
import subprocess
import sys
from collections.abc import Iterable, Iterator
from itertools import count
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from failing_benches import Benches, Tried
from failing_calls import ERRORS, built, environment
from failing_once import KINDS, Fault, fault
from receivers import http_receiver

from wardian.daemon.exit_status import DOES_NOT_HOLD, DONE, STORE_FAILED

pytestmark = pytest.mark.fault(27)


class Calls(NamedTuple):
    """Which calls fail: in the short form these alone, in the long one all, or each of so many.

    ``ends`` are the ways in which the process may end meanwhile.
    """

    short: tuple[int, ...]
    each: int
    ends: tuple[int, ...]

    @property
    def long(self) -> Iterator[int]:
        return count(1, self.each)


OF_STORE: Final = (DONE, STORE_FAILED)
UNFORESEEN: Final = (DONE, DOES_NOT_HOLD)
#: By the kind of failure. What a full disk, a lock and a read-only one do is alike for most calls.
CALLS: Final = {
    "database full": Calls((97, 554), 2, OF_STORE),
    "database busy": Calls((733,), 7, OF_STORE),
    "database read-only": Calls((389,), 7, OF_STORE),
    "database input or output": Calls((23, 423, 823), 1, OF_STORE),
    "commit done and not known": Calls((29,), 1, OF_STORE),
    "socket": Calls((11,), 1, (DONE,)),
    "socket after its work": Calls((5,), 1, (DONE,)),
    "file": Calls((41,), 1, (DONE,)),
    "terminal": Calls((6,), 1, (DONE,)),
    "terminal after its work": Calls((2,), 1, (DONE,)),
    "clock": Calls((77,), 1, UNFORESEEN),
    "sensor": Calls((14,), 1, UNFORESEEN),
}
#: The same for calls of the operating system on the database's files.
FILE_CALLS: Final = {
    "input or output": Calls((40, 597), 1, OF_STORE),
    "disk full": Calls((201,), 4, OF_STORE),
}
#: More calls than there are.
FAR: Final = 5_000


@pytest.fixture
def benches(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Benches]:
    with http_receiver() as receiver:
        yield Benches(tmp_path, receiver, monkeypatch)


def sweep(benches: Benches, kind: str, numbers: Iterable[int]) -> Iterator[Tried]:
    """Let call after call fail, until there was no such call any more."""
    for nth in numbers:
        tried = benches.tried(fault(kind, nth))
        if not tried.place:
            return
        yield tried


def assert_nothing_was_wrong(
    what: str, tries: Iterator[Tried], ends: tuple[int, ...], *, is_heard: bool = True
) -> None:
    injections, wrongs = 0, []
    for tried in tries:
        injections += 1
        wrongs += tried.all_wrongs(ends, is_heard=is_heard)
    print(f"\nn-th failure, {what}: {injections} injections, {len(wrongs)} violations")
    assert injections
    assert wrongs == []


def is_heard(kind: str) -> bool:
    """Whether every such failure is to be heard of; of the store's not what was mended at once, or only looked up."""
    return not kind.startswith("database")


def test_the_kinds_of_failure_are_all_tried() -> None:
    assert CALLS.keys() == KINDS.keys()
    assert FILE_CALLS.keys() == ERRORS.keys()


def test_hours_without_a_failure_are_as_they_should_be(benches: Benches) -> None:
    tried = benches.tried(Fault())
    assert (tried.wrongs, tried.statuses, tried.heard) == ([], [0, 0, 0], [])


@pytest.mark.parametrize("kind", CALLS)
def test_some_calls_fail_once_and_nothing_is_lost(benches: Benches, kind: str) -> None:
    calls = CALLS[kind]
    assert_nothing_was_wrong(kind, sweep(benches, kind, calls.short), calls.ends, is_heard=is_heard(kind))


@pytest.mark.long
@pytest.mark.parametrize("kind", CALLS)
def test_every_call_fails_once_and_nothing_is_lost(benches: Benches, kind: str) -> None:
    calls = CALLS[kind]
    assert_nothing_was_wrong(kind, sweep(benches, kind, calls.long), calls.ends, is_heard=is_heard(kind))


# ------------------------------------------------------------- calls of the operating system


def file_sweep(folder: Path, error: str, *numbers: int) -> Iterator[Tried]:
    library = built(folder)
    bench = folder / "bench"
    bench.mkdir()
    program = Path(__file__).parent.parent / "support" / "failing_calls_program.py"
    command = [sys.executable, str(program), str(bench), error, *map(str, numbers)]
    with subprocess.Popen(
        command, env=environment(library, bench / "bench.db"), stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdout is not None
        for line in process.stdout:
            yield Tried(*json.loads(line))
    assert process.returncode == 0


@pytest.mark.parametrize("error", FILE_CALLS)
def test_some_calls_on_the_files_of_the_database_fail_once(tmp_path: Path, error: str) -> None:
    calls = FILE_CALLS[error]
    tries = file_sweep(tmp_path, error, *calls.short)
    # What fails as SQLite moves its log into the file is tried again later, and no word of it gets out.
    assert_nothing_was_wrong(f"calls on files, {error}", tries, calls.ends, is_heard=False)


@pytest.mark.long
@pytest.mark.parametrize("error", FILE_CALLS)
def test_every_call_on_the_files_of_the_database_fails_once(tmp_path: Path, error: str) -> None:
    calls = FILE_CALLS[error]
    tries = file_sweep(tmp_path, error, *range(1, FAR, calls.each))
    # What fails as SQLite moves its log into the file is tried again later, and no word of it gets out.
    assert_nothing_was_wrong(f"calls on files, {error}", tries, calls.ends, is_heard=False)
