"""The store in a file against what happens to files: full disks, locks, damage and sudden death."""

import signal
import sqlite3
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Final

import pytest

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import DueMessage, Kept, Message, Round
from wardian.rules.readings import Reading

NOON_MS: Final = 1_772_452_800_000
FIELDS: Final = {"quantity": "ppfd", "limit": "low", "event": "raised", "alarm": "too-dark"}
RunStore = Callable[..., subprocess.Popen[str]]


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "bench.db"


@pytest.fixture
def store(path: Path) -> Iterator[SqlStore]:
    kept = SqlStore.open(path)
    yield kept
    kept.close()


@pytest.fixture
def run_store(path: Path) -> Iterator[RunStore]:
    """Run statements in a process of its own, where ``store`` is open on the database."""
    started: list[subprocess.Popen[str]] = []

    def run(body: str, before: str = "") -> subprocess.Popen[str]:
        program = (
            "import os, sys, resource\nfrom pathlib import Path\n"
            "from wardian.adapters.stores.sql import SqlStore\n"
            "from wardian.rules.errors import StoreFailed\n"
            "from wardian.rules.ports import DueMessage, Message, Round\n"
            "from wardian.rules.readings import Reading\n"
            f"path = Path({str(path)!r})\n{before}\nstore = SqlStore.open(path)\n{body}\n"
        )
        command = [sys.executable, "-W", "error", "-c", program]
        started.append(subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True))
        return started[-1]

    yield run
    for process in started:
        process.kill()
        process.communicate()


def a_round(number: int, size: int = 5) -> Round:
    """Return a round of which every part carries its number."""
    readings = [Reading(NOON_MS + number, f"tray-{place}", "ppfd", float(number)) for place in range(size)]
    return Round(
        NOON_MS,
        readings=readings,
        journal=[(NOON_MS + number, "tray-a", FIELDS)],
        due=[DueMessage("mail", Message(f"m{number}", "", "", {}))],
        notes={"round": number},
    )


def set_everywhere(store: SqlStore, pragma: str) -> None:
    """Set something on each connection that the store will use."""
    store._drop_writer()
    assert store._engine is not None
    connections = [store._engine.connect() for _ in range(2)]
    for connection in connections:
        driver = connection.connection.dbapi_connection
        assert driver is not None
        driver.cursor().execute(f"PRAGMA {pragma}")
    for connection in connections:
        connection.close()


# --------------------------------------------------------------------------------- what is in force


def test_the_log_and_full_synchronisation_are_in_force_on_every_connection(store: SqlStore) -> None:
    with pytest.raises(StoreFailed):
        store.keep(Round(NOON_MS, readings=[Reading(NOON_MS, "tray-a", "ppfd", float("nan"))]))
    store.keep(a_round(1))
    assert store._engine is not None
    assert store._writer is not None
    for connection in [store._writer, *(store._engine.connect() for _ in range(4))]:
        asked = ("journal_mode", "synchronous", "busy_timeout", "foreign_keys", "journal_size_limit")
        found = [connection.exec_driver_sql(f"PRAGMA {name}").scalar() for name in asked]
        assert found == ["wal", 2, 5000, 1, 16 * 1024 * 1024]
        if connection is not store._writer:
            connection.close()


def test_a_write_takes_the_lock_before_it_reads(store: SqlStore, path: Path) -> None:
    set_everywhere(store, "busy_timeout = 0")
    with store._writing():
        other = sqlite3.connect(path, timeout=0, isolation_level=None)
        with pytest.raises(sqlite3.OperationalError, match="locked"):
            other.execute("BEGIN IMMEDIATE")
        other.close()


@pytest.mark.parametrize("change", ["UPDATE journal SET event = 'returned'", "DELETE FROM journal"])
def test_nobody_changes_the_journal_behind_the_store(store: SqlStore, path: Path, change: str) -> None:
    store.keep(a_round(1))
    other = sqlite3.connect(path)
    with pytest.raises(sqlite3.IntegrityError, match="only ever added to"):
        other.execute(change)
    other.close()
    assert [entry.fields["event"] for entry in store.journal()] == ["raised"]


# ------------------------------------------------------------------------------------- what may heal


def test_a_full_disk_keeps_nothing_by_half_and_the_round_can_be_tried_again(store: SqlStore) -> None:
    store.keep(a_round(1))
    set_everywhere(store, "max_page_count = 1")
    for _ in range(2):
        with pytest.raises(StoreFailed, match="the disk is full") as caught:
            store.keep(a_round(2, size=2_000))
        assert caught.value.may_heal
        assert store.counts() == {"readings": 5, "late": 0, "refused": 0, "journal": 1, "due": 1, "sent": 0}
        assert store.notes() == {"round": 1}
    set_everywhere(store, "max_page_count = 1000000")
    assert store.keep(a_round(2, size=2_000)) == Kept(2_000, 0)
    assert (store.counts()["readings"], store.damage()) == (2_005, "")


def test_a_lock_held_by_another_program_may_pass(store: SqlStore, path: Path) -> None:
    set_everywhere(store, "busy_timeout = 1")
    other = sqlite3.connect(path, isolation_level=None)
    other.execute("BEGIN IMMEDIATE")
    for attempt in (lambda: store.keep(a_round(1)), lambda: store.delivered(1, NOON_MS)):
        with pytest.raises(StoreFailed, match="locked by another program") as caught:
            attempt()
        assert caught.value.may_heal
    assert store.counts()["readings"] == 0
    other.execute("ROLLBACK")
    other.close()
    assert store.keep(a_round(1)) == Kept(5, 0)


def test_a_storage_that_turned_read_only_may_turn_back(store: SqlStore) -> None:
    set_everywhere(store, "query_only = ON")
    with pytest.raises(StoreFailed, match="the storage is read-only") as caught:
        store.keep(a_round(1))
    assert caught.value.may_heal
    set_everywhere(store, "query_only = OFF")
    assert store.keep(a_round(1)) == Kept(5, 0)


# --------------------------------------------------------------------------------- what does not heal


def test_a_write_that_fails_is_not_tried_again(run_store: RunStore) -> None:
    body = (
        "resource.setrlimit(resource.RLIMIT_FSIZE, (200_000, 200_000))\n"
        "readings = [Reading(n, 'tray-a', 'ppfd', 1.0) for n in range(50_000)]\n"
        "try: store.keep(Round(1, readings=readings))\n"
        "except StoreFailed as failed: print(failed.may_heal, failed, flush=True)\n"
    )
    out, _ = run_store(body).communicate(timeout=30)
    assert out.startswith("False store: ")
    assert "the storage fails to read or write" in out


def test_damage_is_found_and_named(store: SqlStore, path: Path) -> None:
    store.keep(a_round(1, size=5_000))
    assert store.damage() == ""
    with store._reading() as connection:
        query = "SELECT rootpage FROM sqlite_master WHERE name = 'readings'"
        page = connection.exec_driver_sql(query).scalar_one()
    store.close()
    content = bytearray(path.read_bytes())
    content[(page - 1) * 4096 : page * 4096] = b"\xff" * 4096
    path.write_bytes(content)
    broken = SqlStore.open(path)
    assert broken.damage() != ""
    with pytest.raises(StoreFailed, match="damaged") as caught:
        list(broken.readings(0, NOON_MS * 2))
    assert not caught.value.may_heal
    broken.close()


def test_what_is_kept_under_a_closed_store_is_refused(store: SqlStore) -> None:
    store.close()
    for attempt in (store.latest, lambda: store.keep(a_round(1))):
        with pytest.raises(StoreFailed, match="is closed"):
            attempt()


# ------------------------------------------------------------------------------------ other processes


def test_a_second_writer_is_refused_and_told_who_is_first(run_store: RunStore, path: Path) -> None:
    first = run_store("print('open', flush=True); sys.stdin.read()")
    assert first.stdout is not None
    assert first.stdout.readline() == "open\n"
    with pytest.raises(StoreFailed, match=rf"in use by another wardian, process {first.pid}\b"):
        SqlStore.open(path)
    first.send_signal(signal.SIGKILL)
    first.wait(timeout=10)
    SqlStore.open(path).close()


def test_a_reader_sees_what_a_living_writer_has_committed(run_store: RunStore, path: Path) -> None:
    writer = run_store(
        "for line in sys.stdin:\n"
        "    store.keep(Round(1, readings=[Reading(int(line), 'tray-a', 'ppfd', 1.0)]))\n"
        "    print('kept', flush=True)\n"
    )
    assert writer.stdin is not None
    assert writer.stdout is not None
    reader = None
    for time_ms in range(3):
        writer.stdin.write(f"{time_ms}\n")
        writer.stdin.flush()
        assert writer.stdout.readline() == "kept\n"
        reader = reader or SqlStore.open(path, read_only=True)
        assert [one.time_ms for one in reader.readings(0, 10)] == list(range(time_ms + 1))
    assert reader is not None
    with pytest.raises(StoreFailed, match="open for reading only"):
        reader.keep(a_round(1))
    reader.close()


def test_a_reader_leaves_no_file_behind(store: SqlStore, path: Path) -> None:
    store.keep(a_round(1))
    store.close()
    before = {file.name: file.read_bytes() for file in path.parent.iterdir()}
    reader = SqlStore.open(path, read_only=True)
    assert reader.counts()["readings"] == 5
    reader.close()
    assert {file.name: file.read_bytes() for file in path.parent.iterdir()} == before


def test_nothing_committed_is_lost_when_the_process_is_killed(run_store: RunStore, path: Path) -> None:
    body = (
        "for number in range(store.notes().get('round', 0) + 1, 100_000):\n"
        "    fields = {'quantity': 'ppfd', 'limit': 'low', 'event': 'raised', 'alarm': 'too-dark'}\n"
        "    store.keep(Round(1, notes={'round': number}, journal=[(number, 'tray-a', fields)],\n"
        "        readings=[Reading(number, f'tray-{n}', 'ppfd', float(number)) for n in range(5)],\n"
        "        due=[DueMessage('mail', Message(f'm{number}', '', '', {}))]))\n"
        "    print(number, flush=True)\n"
    )
    acknowledged = 0
    for lines in (1, 7, 40, 111, 250):
        process = run_store(body)
        assert process.stdout is not None
        for _ in range(lines):
            acknowledged = int(process.stdout.readline())
        process.kill()
        acknowledged = max([acknowledged, *map(int, process.stdout.read().split("\n")[:-1])])
        process.wait(timeout=10)
        with_log = SqlStore.open(path, read_only=True)
        kept = with_log.notes()["round"]
        with_log.close()
        assert acknowledged <= kept <= acknowledged + 1
    store = SqlStore.open(path)
    counts = store.counts()
    assert (counts["readings"], counts["journal"], counts["due"]) == (5 * kept, kept, kept)
    assert store.damage() == ""
    store.close()


def test_alembic_is_not_imported_when_no_step_is_due(run_store: RunStore) -> None:
    body = (
        "store.close(); store = SqlStore.open(path); store.keep(Round(1)); store.close()\n"
        "print([name for name in sys.modules if name.startswith(('alembic', 'mako', 'sqlalchemy.orm'))])\n"
    )
    assert run_store(body).communicate(timeout=30)[0] == "[]\n"
