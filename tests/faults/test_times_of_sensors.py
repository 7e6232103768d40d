"""Readings whose own time is wrong: by seconds or by centuries, they are kept or refused by exact limits."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock
from fuzz_bench import arrival, sensor
from fuzz_good_messages import text_of_ms
from fuzz_kept import KeptBench

from wardian.daemon.cli import main
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

pytestmark = pytest.mark.fault(8)

SECOND_MS, DAY_MS = 1000, 86_400_000
CENTURY_MS = 36_525 * DAY_MS
AHEAD_MS = 5 * 60 * SECOND_MS
#: The first and last milliseconds of the years 1 to 9999.
ENDS_MS = (-62_135_596_800_000, 253_402_300_799_999)
OFFSETS_MS = [
    1,
    SECOND_MS,
    60 * SECOND_MS,
    AHEAD_MS - 1,
    AHEAD_MS,
    AHEAD_MS + 1,
    DAY_MS,
    365 * DAY_MS,
    CENTURY_MS,
]


def sent(bench: KeptBench, *times_ms: int) -> tuple[list[Reading], list[str]]:
    """Send a reading for each time, a second apart; return what is stored, and why the others were refused."""
    clock = bench._clock
    for number, time_ms in enumerate(times_ms):
        payload = f'{{"t": {70 + number / 10}, "at": "{text_of_ms(time_ms)}"}}'.encode()
        bench.take(arrival(bench._sensor, "dated/tray-a", payload, clock.now_ms, is_retained=False), [], 0)
        bench.round()
    bench.close_round()
    stored = list(bench._store.readings(ENDS_MS[0], ENDS_MS[1] + 1))
    return stored, [one.why for _, one in bench._store.refused(100)]


@pytest.fixture
def bench(tmp_path: Path) -> KeptBench:
    clock = FakeClock(NOON_MS)
    return KeptBench(sensor(clock), clock, tmp_path / "bench.db")


def test_what_lies_ahead_is_taken_up_to_five_minutes_and_refused_beyond(bench: KeptBench) -> None:
    stored, refused = sent(bench, *(NOON_MS + offset_ms for offset_ms in OFFSETS_MS))
    assert [one.time_ms - NOON_MS for one in stored] == [one for one in OFFSETS_MS if one <= AHEAD_MS]
    assert refused == ["its time is more than 5 min ahead of the clock"] * 4


def test_what_lies_back_is_kept_under_its_own_time_however_far(bench: KeptBench) -> None:
    times_ms = sorted({NOON_MS - offset_ms for offset_ms in OFFSETS_MS} | {0, 1, -1, ENDS_MS[0]})
    stored, refused = sent(bench, NOON_MS, *times_ms)
    assert [one.time_ms for one in stored] == [*times_ms, NOON_MS]
    assert refused == []


def test_a_time_without_an_offset_or_that_never_was_is_refused(bench: KeptBench) -> None:
    for text in (
        "2026-03-02T12:00:00",
        "2026-02-30T12:00:00Z",
        "0000-01-01T00:00:00Z",
        "10000-01-01T00:00:00Z",
    ):
        payload = f'{{"t": 70, "at": "{text}"}}'.encode()
        bench.take(arrival(bench._sensor, "dated/tray-a", payload, NOON_MS, is_retained=False), [], 0)
    bench.close_round()
    assert bench._store.counts()["readings"] == 0
    assert len(bench._store.refused(10)) == 4


def test_a_reading_of_the_year_1_does_not_end_the_watching(bench: KeptBench) -> None:
    """Its local time is before the calendar: putting it into words ended the loop, and again at every start."""
    # The very first reading is judged as it comes: its sensor has been silent since.
    times_ms = [ENDS_MS[0], ENDS_MS[0] + 60_000, 0, *range(NOON_MS - 600_000, NOON_MS, 10_000)]
    stored, refused = sent(bench, *times_ms)
    assert [one.time_ms for one in stored] == times_ms
    assert refused == []
    for _ in range(100):
        bench._clock.step(10_000)
        bench.round()
    told = [(entry.fields["alarm"], entry.fields["event"]) for entry in bench._store.journal()]
    assert ("sensor-silent", "raised") in told


BENCH = """\
site: {name: Bench, timezone: Europe/Lisbon, units: US}
store: {url: "sqlite:///w.db"}
trays: [{name: tray-a, crop: coleus, stuck: 2026-02-20}]
light: {on: 05:00, off: 23:00}
sensors: [{name: file, kind: csv, file: r.csv, expect: [{tray: tray-a, quantity: air_temperature}]}]
notifiers: [{name: terminal, kind: console}]
"""


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a store that has readings from the year 1 to the year 9999, and a file with the same."""
    from wardian.adapters.stores.sql import SqlStore

    monkeypatch.chdir(tmp_path)
    (tmp_path / "config.yaml").write_text(BENCH, encoding="utf-8")
    now_ms = (datetime.now(UTC) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)  # noqa: TID251 - the commands look at the machine's clock
    times_ms = [ENDS_MS[0], 0, now_ms - 60_000, now_ms, ENDS_MS[1]]
    readings = [Reading(time_ms, "tray-a", "air_temperature", 22.0) for time_ms in times_ms]
    store = SqlStore.open(tmp_path / "w.db")
    store.keep(Round(now_ms, readings=readings[:-1], late=readings[:2]))
    store.close()
    rows = [f"{text_of_ms(time_ms)},tray-a,air_temperature,22,\n" for time_ms in times_ms]
    (tmp_path / "r.csv").write_text("time,tray,quantity,value,unit\n" + "".join(rows), encoding="utf-8")
    return tmp_path


@pytest.mark.parametrize(
    "words",
    [
        ("status",),
        ("summary",),
        ("alarms", "--figures"),
        ("water",),
        ("care",),
        ("export", "--out", "e.csv"),
        ("replay", "r.csv"),
        ("replay", "r.csv", "--conditions"),
        ("tune", "r.csv"),
        ("batch", "explain", "--tray", "tray-a"),
    ],
    ids=" ".join,
)
def test_no_command_falls_over_or_walks_through_twenty_centuries(
    folder: Path, words: tuple[str, ...]
) -> None:
    assert main([*words, "--config", str(folder / "config.yaml")]) == 0
