"""Local days of 23 to 25 hours, and local times that do not exist or come twice.

Numbers: ``data/local_days.csv`` and ``data/local_times.csv``, worked out with zoneinfo on the IANA time
zone database 2026f. Tolerance: none; a day begins at an exact millisecond.
"""

import csv
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from wardian.rules.crops import day_of, day_start_ms

DATA = Path(__file__).parent / "data"
DAYS = list(csv.DictReader((DATA / "local_days.csv").read_text(encoding="utf-8").splitlines()))
TIMES = list(csv.DictReader((DATA / "local_times.csv").read_text(encoding="utf-8").splitlines()))


def ms(written: str) -> int:
    return (datetime.fromisoformat(written) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


@pytest.mark.parametrize("row", DAYS, ids=lambda row: f"{row['zone']} {row['local_date']}")
def test_a_local_day_begins_and_ends_where_the_zone_says(row: dict[str, str]) -> None:
    zone, day = ZoneInfo(row["zone"]), date.fromisoformat(row["local_date"])
    begins_ms, ends_ms = day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)
    assert begins_ms == ms(row["start"])
    assert ends_ms == ms(row["end"])
    assert ends_ms - begins_ms == float(row["hours"]) * 3_600_000


@pytest.mark.parametrize("row", DAYS, ids=lambda row: f"{row['zone']} {row['local_date']}")
def test_every_minute_of_a_local_day_has_its_number(row: dict[str, str]) -> None:
    zone, day = ZoneInfo(row["zone"]), date.fromisoformat(row["local_date"])
    stuck = day - timedelta(days=10)
    minutes = range(ms(row["start"]), ms(row["end"]), 60_000)
    assert {day_of(stuck, zone, minute) for minute in minutes} == {10}
    assert day_of(stuck, zone, ms(row["start"]) - 1) == 9
    assert day_of(stuck, zone, ms(row["end"])) == 11


@pytest.mark.parametrize("row", TIMES, ids=lambda row: f"{row['zone']} {row['local_time']}")
def test_a_time_that_is_skipped_or_comes_twice_leaves_its_date_alone(row: dict[str, str]) -> None:
    zone, day = ZoneInfo(row["zone"]), date.fromisoformat(row["local_time"][:10])
    assert day_of(day, zone, ms(row["first_utc"])) == 0
    assert day_of(day, zone, ms(row["second_utc"])) == 0


def test_there_are_days_of_every_length_and_times_of_every_kind() -> None:
    assert {row["hours"] for row in DAYS} == {"23", "23.5", "24", "24.5", "25"}
    assert {row["kind"] for row in TIMES} == {"does_not_exist", "ambiguous", "ordinary"}
