"""A database that is damaged, cut off, emptied, another's, or without its log: the watching goes on, nothing is deleted."""

import os
import random
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path
from typing import Final, NamedTuple

import pytest
from card_bench import CardBench
from kept_week import HOURS, as_killed, fold, keep_hours, kept_week
from receivers import http_receiver
from store_rounds import HOUR_MS, NOON_MS

from wardian.adapters.stores.copies import back_up, backup_path
from wardian.adapters.stores.mending import open_whole
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.errors import StoreDamaged, StoreFailed
from wardian.rules.kept import Mended
from wardian.rules.ports import Round
from wardian.rules.readings import Reading, Series

WaitUntil = Callable[..., None]
PAGE_BYTES: Final = 4096
NOW_MS: Final = NOON_MS + HOURS * HOUR_MS
BACKUP_MS: Final = NOON_MS + 20 * HOUR_MS


class Kept(NamedTuple):
    """A database that was closed, and a folder with a backup of it from ten hours before."""

    path: Path
    backups: Path
    readings: int
    in_backup: int


@pytest.fixture(scope="module")
def kept(tmp_path_factory: pytest.TempPathFactory) -> Kept:
    path = tmp_path_factory.mktemp("kept") / "bench.db"
    store = kept_week(path, 20)
    folder = path.with_name("backups")
    back_up(path, backup_path(folder, path, BACKUP_MS))
    in_backup = store.counts()["readings"]
    keep_hours(store, 20, HOURS)
    fold(store)
    readings = store.counts()["readings"]
    store.close()
    return Kept(path, folder, readings, in_backup)


def copied(kept: Kept, folder: Path) -> Path:
    """Return a copy of the database in a folder, as it lies there after a stop."""
    for part in ("", "-lock"):
        shutil.copy(f"{kept.path}{part}", folder / f"bench.db{part}")
    return folder / "bench.db"


def assert_whole(store: SqlStore) -> None:
    """Assert that what is kept is whole, all of it can be read, and keeping goes on."""
    assert (store.damage(), store.unreadable()) == ("", [])
    assert len(list(store.readings(0, NOW_MS * 2))) == store.counts()["readings"]
    one = Reading(NOW_MS + HOUR_MS, "tray-a", "air_temperature", 21.0)
    assert store.keep(Round(NOW_MS, readings=[one])).readings == 1
    assert store.latest()[Series("tray-a", "air_temperature")] == one


def opened_after(path: Path, backups: Path) -> tuple[list[Mended], int]:
    """Open a database that something befell; return what was mended, and how many readings there are."""
    spoilt = path.read_bytes()
    store, mended = open_whole(path, backups, NOW_MS)
    count = store.counts()["readings"]
    assert_whole(store)
    store.close()
    for one in mended:
        if one.what == "database":
            assert path.with_name(one.aside).read_bytes() == spoilt
        elif one.aside:
            assert path.with_name(one.aside).stat().st_size
    again, mended_again = open_whole(path, backups, NOW_MS)
    again.close()
    assert mended_again == []
    return mended, count


def flips() -> list[object]:
    """Return seeds of damage; most of them take long together."""
    return [*range(12), *(pytest.param(seed, marks=pytest.mark.long) for seed in range(12, 300))]


@pytest.mark.fault(24)
@pytest.mark.parametrize("seed", flips())
def test_flipped_bytes_cost_at_most_what_came_after_the_backup(kept: Kept, tmp_path: Path, seed: int) -> None:
    path, chance = copied(kept, tmp_path), random.Random(seed)
    content = bytearray(path.read_bytes())
    for _ in range(chance.choice([1, 1, 8, 64])):
        place = chance.randrange(100, len(content))
        length = chance.choice([1, 1, 16, PAGE_BYTES])
        content[place : place + length] = chance.randbytes(len(content[place : place + length]))
    path.write_bytes(content)
    mended, count = opened_after(path, kept.backups)
    if mended:
        replaced = [one for one in mended if one.what == "database"]
        assert all(one.backup_ms == BACKUP_MS for one in replaced)
        assert count >= (kept.in_backup if replaced else kept.readings - 8 * 61)
    else:
        assert count == kept.readings


@pytest.mark.fault(24)
def test_a_packed_hour_that_was_damaged_is_put_aside_alone(kept: Kept, tmp_path: Path) -> None:
    path = copied(kept, tmp_path)
    with closing(sqlite3.connect(path)) as other:
        key = other.execute("SELECT hour_ms, series_id FROM chunks ORDER BY hour_ms DESC").fetchone()
        spoil = (
            "UPDATE chunks SET readings = CAST(readings || x'00' AS BLOB) WHERE hour_ms = ? AND series_id = ?"
        )
        other.execute(spoil, key)
        other.commit()
    mended, count = opened_after(path, kept.backups)
    assert [one.what for one in mended] == ["hours"]
    assert kept.readings - 61 <= count <= kept.readings - 60
    assert str(key[0]) in path.with_name(mended[0].aside).read_text()


@pytest.mark.fault(24)
def test_an_old_packed_hour_that_ends_a_run_does_not_end_the_next_one(kept: Kept, tmp_path: Path) -> None:
    path, long_after_ms = copied(kept, tmp_path), NOW_MS + 400 * HOUR_MS
    with closing(SqlStore.open(path)) as store:
        store.keep(Round(1, readings=[Reading(long_after_ms, "tray-a", "air_temperature", 20.0)]))
        fold(store)
    with closing(sqlite3.connect(path)) as other:
        other.execute("UPDATE chunks SET readings = x'0001020304' WHERE hour_ms = ?", (NOON_MS,))
        other.commit()
    late = Round(long_after_ms, late=[Reading(NOON_MS + 1, "tray-a", "air_temperature", 20.0)])
    store, mended = open_whole(path, kept.backups, long_after_ms)
    assert mended == []
    with pytest.raises(StoreDamaged):
        store.keep(late)
    store.close()
    store, (one,) = open_whole(path, kept.backups, long_after_ms)
    assert (one.what, one.why) == ("hours", "4 packed hours cannot be read")
    assert store.keep(late).readings == 1
    assert (store.damage(), store.unreadable(fully=True)) == ("", [])
    assert len(list(store.readings(0, long_after_ms * 2))) == store.counts()["readings"]
    store.close()


@pytest.mark.fault(24)
def test_without_a_backup_a_new_database_is_begun(kept: Kept, tmp_path: Path) -> None:
    path = copied(kept, tmp_path)
    content = bytearray(path.read_bytes())
    content[PAGE_BYTES : 40 * PAGE_BYTES] = bytes(39 * PAGE_BYTES)
    path.write_bytes(content)
    (one,), count = opened_after(path, tmp_path / "backups")
    assert (one.what, one.backup_ms, count) == ("database", None, 0)


@pytest.mark.fault(24)
def test_a_backup_that_is_damaged_itself_is_passed_over(kept: Kept, tmp_path: Path) -> None:
    path, folder = copied(kept, tmp_path), tmp_path / "backups"
    shutil.copytree(kept.backups, folder)
    newer = backup_path(folder, path, BACKUP_MS + HOUR_MS)
    newer.write_bytes(backup_path(folder, path, BACKUP_MS).read_bytes()[: -3 * PAGE_BYTES])
    os.truncate(path, path.stat().st_size // 2)
    (one,), count = opened_after(path, folder)
    assert (one.backup_ms, count) == (BACKUP_MS, kept.in_backup)


def cuts() -> list[object]:
    places = [16, 99, 100, 4095, 4096, 4097, 20_000, 65_536, -4096]
    return [*places, *(pytest.param(-5_003 * part, marks=pytest.mark.long) for part in range(1, 60))]


@pytest.mark.fault(25)
@pytest.mark.parametrize("place", cuts())
def test_a_database_that_was_cut_off_is_replaced_by_the_backup(
    kept: Kept, tmp_path: Path, place: int
) -> None:
    path = copied(kept, tmp_path)
    size = path.stat().st_size
    os.truncate(path, max(size + place, 20) if place < 0 else place)
    (one,), count = opened_after(path, kept.backups)
    assert (one.what, one.backup_ms, count) == ("database", BACKUP_MS, kept.in_backup)


def emptied(path: Path) -> None:
    os.truncate(path, 0)


def all_but_a_byte_gone(path: Path) -> None:
    os.truncate(path, 1)


def of_another_program(path: Path) -> None:
    path.unlink()
    with closing(sqlite3.connect(path)) as other:
        other.execute("CREATE TABLE bookings (room)")


def of_a_newer_one(path: Path) -> None:
    with closing(sqlite3.connect(path)) as other:
        other.execute("PRAGMA user_version = 99")


def never_ours(path: Path) -> None:
    Path(f"{path}-lock").unlink()
    path.write_text("time,tray,quantity,value,unit\n" * 100)


@pytest.mark.fault(25)
@pytest.mark.parametrize(
    ("befall", "words"),
    [
        (emptied, "was a database and is empty now"),
        (all_but_a_byte_gone, "was a database and is empty now"),
        (of_another_program, "another program's database"),
        (of_a_newer_one, "made by a newer wardian"),
        (never_ours, "not a database"),
    ],
)
def test_what_may_be_somebody_elses_or_a_loss_is_refused_and_stays_as_it_is(
    kept: Kept, tmp_path: Path, befall: Callable[[Path], None], words: str
) -> None:
    path = copied(kept, tmp_path)
    befall(path)
    before = path.read_bytes()
    for _ in range(2):
        with pytest.raises(StoreFailed, match=words):
            open_whole(path, kept.backups, NOW_MS)
        assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir() if file.name not in ("bench.db", "bench.db-lock")] == []


# ------------------------------------------------------------------------------------------- its log


@pytest.fixture
def killed(tmp_path: Path) -> Path:
    """A database whose writer was killed with hours of it still in its log alone."""
    there = tmp_path / "writer"
    there.mkdir()
    store = kept_week(there / "bench.db", 12)
    with store._reading() as connection:
        connection.exec_driver_sql("PRAGMA wal_checkpoint(TRUNCATE)")
    keep_hours(store, 12, 14)
    path = as_killed(there / "bench.db", tmp_path / "killed")
    store.close()
    return path


BEFORE: Final = 12 * 240 + 12
WITH_LOG: Final = 14 * 240 + 14


def test_a_log_that_a_killed_writer_left_is_read_and_nothing_is_said(killed: Path) -> None:
    assert opened_after(killed, killed.with_name("backups")) == ([], WITH_LOG)


@pytest.mark.fault(26)
def test_without_its_log_the_watching_goes_on_with_what_was_put_away_and_it_is_said(killed: Path) -> None:
    Path(f"{killed}-wal").unlink()
    (one,), count = opened_after(killed, killed.with_name("backups"))
    assert (one, count) == (Mended("missing log", "bench.db-wal is missing"), BEFORE)


@pytest.mark.fault(26)
@pytest.mark.parametrize("last", [103, 130])
def test_the_log_of_another_database_is_put_aside(killed: Path, tmp_path: Path, last: int) -> None:
    other = tmp_path / "other"
    other.mkdir()
    store = SqlStore.open(other / "bench.db")
    keep_hours(store, 100, last)
    fold(store)
    shutil.copy(other / "bench.db-wal", f"{killed}-wal")
    store.close()
    (one,), count = opened_after(killed, killed.with_name("backups"))
    assert (one.what, count) == ("log", BEFORE)
    assert one.aside.endswith("-wal")


@pytest.mark.fault(26)
def test_a_log_that_is_none_is_put_aside(killed: Path) -> None:
    Path(f"{killed}-wal").write_bytes(b"\xff" * 5000)
    (one,), count = opened_after(killed, killed.with_name("backups"))
    assert (one.what, one.why, count) == ("log", "bench.db-wal is no log of a database", BEFORE)


@pytest.mark.fault(26)
@pytest.mark.parametrize("share", [0.1, 0.5, 0.9])
def test_a_log_that_was_cut_off_is_read_as_far_as_it_goes(killed: Path, share: float) -> None:
    log = Path(f"{killed}-wal")
    os.truncate(log, round(log.stat().st_size * share))
    mended, count = opened_after(killed, killed.with_name("backups"))
    assert mended == []
    assert BEFORE <= count < WITH_LOG


@pytest.mark.fault(26)
def test_a_command_that_puts_the_log_away_after_a_kill_is_no_loss(killed: Path) -> None:
    keep = SqlStore.open(killed, read_only=True)
    keep.record(lambda _: [])
    keep.close()
    assert not Path(f"{killed}-wal").exists()
    assert opened_after(killed, killed.with_name("backups")) == ([], WITH_LOG)


# ---------------------------------------------------------------------------------- the whole daemon


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[CardBench]:
    with http_receiver() as receiver:
        bench = CardBench(tmp_path, receiver)
        yield bench
        bench.kill()


@pytest.mark.fault(24)
@pytest.mark.journey
def test_a_daemon_whose_database_was_damaged_says_so_and_watches_on(
    bench: CardBench, wait_until: WaitUntil
) -> None:
    SqlStore.open(bench.database).close()
    assert bench.say("store", "backup").returncode == 0
    content = bytearray(bench.database.read_bytes())
    content[PAGE_BYTES:] = random.Random(1).randbytes(len(content) - PAGE_BYTES)
    bench.database.write_bytes(content)
    assert bench.say("store", "check").returncode == 1
    bench.start()
    wait_until(lambda: ("store-damaged", "raised") in bench.told(), "a message that it was damaged", 30)
    (words,) = bench.words_of("store-damaged")
    assert "was taken in, and what came after it is missing" in words
    assert "tore damaged" in bench.say("status").stdout
    assert bench.say("store", "check").returncode == 0
    assert bench.stop() == 0
    with closing(SqlStore.open(bench.database, read_only=True)) as store:
        assert store.counts()["readings"] > 0
    assert len(list(bench.card.glob("wardian.db.damaged-*"))) == 1
