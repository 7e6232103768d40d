"""An era that a wrong clock has dated is moved in every store alike, all of it or nothing."""

import sqlite3
from contextlib import closing
from pathlib import Path
from typing import Any

from wardian.adapters.stores.opening import open_store, open_whole_store
from wardian.rules.moving import Moving
from wardian.rules.ports import DueMessage, Message, Refused, Round, Store
from wardian.rules.readings import Reading, Series

OLD_MS = 1_772_400_000_000
ERA_MS = OLD_MS + 3_600_000
MINUTE_MS = 60_000
DAY_MS = 86_400_000
AIR = Series("tray-a", "air_temperature")
STATE: dict[str, Any] = {
    "stands": {},
    "limits": [],
    "lit": [],
    "photons": [],
    "silences": {},
    "doubts": {},
    "pending": {},
}


def reading(time_ms: int, value: float) -> Reading:
    return Reading(time_ms, *AIR, value)


def entry(time: str, **more: Any) -> dict[str, Any]:
    return {"quantity": AIR.quantity, "condition": "high", "event": "raised", "time": time, **more}


def keep(store: Store, begin_ms: int, readings: int) -> None:
    for first in range(0, readings, 60):
        minutes = range(first, min(first + 60, readings))
        store.keep(Round(begin_ms, [reading(begin_ms + one * MINUTE_MS, 20.0 + one % 7) for one in minutes]))


def filled(store: Store) -> None:
    keep(store, OLD_MS, 50)
    keep(store, ERA_MS, 300)
    message = Message("key", "subject", "body", {"time": "2026-03-01T22:30:00.000Z"})
    journal = [
        (ERA_MS + MINUTE_MS, "tray-a", entry("2026-03-01T22:21:00.000Z")),
        (ERA_MS + MINUTE_MS, "tray-a", entry("2026-03-01T22:21:00.000Z", record=1)),
        (OLD_MS, "tray-a", entry("2026-03-01T21:20:00.000Z")),
    ]
    store.keep(
        Round(
            ERA_MS + 2 * MINUTE_MS,
            late=[reading(ERA_MS + 1, 9.0), reading(OLD_MS + 1, 9.0)],
            refused=[Refused("bench", "wet", "200", ERA_MS + MINUTE_MS, *AIR)],
            journal=journal,
            due=[DueMessage("bell", message)],
            states={"tray-a": {**STATE, "judged_ms": ERA_MS + MINUTE_MS}},
            notes={"seen": {"tray-a": ERA_MS + 5}},
        )
    )


def all_of(store: Store) -> list[tuple[int, float]]:
    return [(one.time_ms, one.value) for one in store.readings(0, 2**62)]


def test_readings_of_the_era_are_moved_and_counted_as_before(store: Store) -> None:
    filled(store)
    before, counts, begin_ms = all_of(store), store.counts(), ERA_MS
    for by_ms in (3 * DAY_MS, 7 * MINUTE_MS, -2 * DAY_MS, -7 * MINUTE_MS):
        store.move(Moving(begin_ms, by_ms))
        begin_ms += by_ms
        moved_ms = begin_ms - ERA_MS
        after = [(time_ms + moved_ms if time_ms >= ERA_MS else time_ms, value) for time_ms, value in before]
        assert all_of(store) == sorted(after)
        assert store.counts() == counts
        assert store.latest()[AIR].time_ms == max(after)[0]
        assert store.late(0, 2**62) == {AIR: 2}
        assert store.damage() == ""
    keep(store, begin_ms + 300 * MINUTE_MS, 200)
    assert store.counts()["readings"] == counts["readings"] + 200


def test_what_is_said_about_the_era_is_moved_and_what_people_put_down_stays(store: Store) -> None:
    filled(store)
    store.move(Moving(ERA_MS, DAY_MS))
    times = [(one.time_ms, one.fields["time"]) for one in store.journal()]
    assert times == [
        (ERA_MS + MINUTE_MS + DAY_MS, "2026-03-02T22:21:00.000Z"),
        (ERA_MS + MINUTE_MS, "2026-03-01T22:21:00.000Z"),
        (OLD_MS, "2026-03-01T21:20:00.000Z"),
    ]
    (due,) = store.waiting()
    assert (due.created_ms, due.due_ms) == (ERA_MS + 2 * MINUTE_MS + DAY_MS,) * 2
    assert (due.message.key, due.message.fields["time"]) == ("key", "2026-03-02T22:30:00.000Z")
    assert store.states()["tray-a"]["judged_ms"] == ERA_MS + MINUTE_MS + DAY_MS
    assert store.notes() == {"seen": {"tray-a": ERA_MS + 5 + DAY_MS}}
    ((refused_ms, refused),) = store.refused()
    assert (refused_ms, refused.time_ms) == (ERA_MS + 2 * MINUTE_MS + DAY_MS, ERA_MS + MINUTE_MS + DAY_MS)


def test_the_journal_is_only_added_to_again_afterwards(store: Store) -> None:
    filled(store)
    store.move(Moving(ERA_MS, DAY_MS))
    store.keep(
        Round(
            ERA_MS + 2 * DAY_MS, journal=[(ERA_MS + 2 * DAY_MS, "tray-a", entry("2026-03-03T00:00:00.000Z"))]
        )
    )
    assert len(store.journal()) == 4


def test_hours_where_the_era_was_are_folded_only_once_they_are_over(store: Store) -> None:
    """Begun a day too late, moved back, and watched for a day: all of it is folded, and nothing reads otherwise."""
    keep(store, ERA_MS + DAY_MS, 300)
    while store.fold(ERA_MS + DAY_MS + 240 * MINUTE_MS, {}):
        pass
    keep(store, ERA_MS + 2 * DAY_MS, 10)
    store.move(Moving(ERA_MS + 2 * DAY_MS, -DAY_MS + 400 * MINUTE_MS))
    before = all_of(store)
    assert store.folded_until_ms() <= ERA_MS + DAY_MS + 400 * MINUTE_MS
    keep(store, ERA_MS + DAY_MS + 420 * MINUTE_MS, 500)
    while store.fold(ERA_MS + DAY_MS + 700 * MINUTE_MS, {}):
        pass
    assert all_of(store)[: len(before)] == before
    assert store.counts()["readings"] == len(all_of(store))


def test_an_era_may_go_back_and_forth_though_hours_without_a_reading_count_as_folded(store: Store) -> None:
    keep(store, ERA_MS + DAY_MS, 30)
    while store.fold(ERA_MS + DAY_MS, {}):
        pass
    store.move(Moving(ERA_MS + DAY_MS, -DAY_MS))
    assert store.folded_until_ms() <= ERA_MS


def test_a_moved_journal_that_is_still_in_the_log_is_taken_for_no_other_database(tmp_path: Path) -> None:
    """Somebody reads while the era is moved, so that the log stays where it is over the next start."""
    url, opened = f"sqlite:///{tmp_path / 'bench.db'}", Path()
    store = open_store(url, opened)
    filled(store)
    last = (ERA_MS + 3 * MINUTE_MS, "tray-a", entry("2026-03-01T22:23:00.000Z"))
    store.keep(Round(ERA_MS + 3 * MINUTE_MS, journal=[last]))
    store.close()
    store = open_store(url, opened)
    reader = sqlite3.connect(f"file:{tmp_path / 'bench.db'}?mode=ro", uri=True)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM journal").fetchone()
    store.move(Moving(ERA_MS, DAY_MS))
    store.close()
    with closing(reader):
        watching, mended = open_whole_store(url, opened, "backups", ERA_MS + DAY_MS)
        assert mended == []
        assert watching.journal()[-1].time_ms == last[0] + DAY_MS
        watching.close()
