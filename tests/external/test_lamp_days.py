"""Light of local days of every length, under a lamp that burns by the clock on the wall.

Numbers: ``data/lamp_days.csv``, worked out with zoneinfo on the IANA time zone database 2026f. Tolerance: none.
"""

import csv
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from case_terms import plan

from wardian.rules.crops import day_start_ms
from wardian.rules.light_days import LightDay, light_days
from wardian.rules.plans import LampRule
from wardian.rules.readings import points

ROWS = list(
    csv.DictReader(
        (Path(__file__).parent / "data" / "lamp_days.csv").read_text(encoding="utf-8").splitlines()
    )
)
MINUTE_MS = 60_000
PPFD = 60.0


#: The lamp's spans in hours, and the calendar day with its light hours: overlaps, worked out by hand.
SPANS: list[tuple[list[tuple[float, float]], int, float]] = [
    ([(6, 24)], 0, 18.0),
    ([(5, 23)], 0, 18.0),
    ([(20, 38), (44, 62)], 1, 18.0),  # lit 20:00 to 14:00
    ([(6, 12), (12.5, 24)], 0, 17.5),  # half an hour's failure at noon
    ([(0, 48)], 1, 24.0),  # stuck on
    ([], 0, 0.0),  # stuck off
]


@pytest.mark.parametrize(("spans", "which", "light_h"), SPANS)
def test_light_hours_of_a_calendar_day(spans: list[tuple[float, float]], which: int, light_h: float) -> None:
    minutes = range(3 * 24 * 60)
    lit = [any(on * 60 <= minute < off * 60 for on, off in spans) for minute in minutes]
    read = points((minute * MINUTE_MS for minute in minutes), [PPFD * one for one in lit])
    of_tray = plan(lamp=LampRule("ppfd", 50, 40), hold_ms=5 * MINUTE_MS)
    found = light_days({"ppfd": read}, of_tray, (0, 3 * 24 * 60 * MINUTE_MS), UTC)
    assert (found[which].lit_h, found[which].dark_h) == (light_h, 24 - light_h)


def day_under(row: dict[str, str], is_lit: Callable[[int], bool]) -> LightDay:
    """Return what a day was under a lamp that is lit in some hours of the wall, read every minute."""
    zone, day = ZoneInfo(row["zone"]), date.fromisoformat(row["local_date"])
    span = day_start_ms(day, zone), day_start_ms(day + timedelta(days=1), zone)
    minutes = range(span[0] - 60 * MINUTE_MS, span[1], MINUTE_MS)
    walls = (datetime.fromtimestamp(minute // 1000, UTC).astimezone(zone) for minute in minutes)
    read = points(minutes, [PPFD if is_lit(wall.hour) else 0.0 for wall in walls])
    of_tray = plan(lamp=LampRule("ppfd", 50, 40), hold_ms=5 * MINUTE_MS)
    (found,) = light_days({"ppfd": read}, of_tray, span, zone)
    return found


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['zone']} {row['local_date']}")
def test_a_lamp_that_is_dark_at_midnight_is_lit_as_long_on_every_day(row: dict[str, str]) -> None:
    found = day_under(row, lambda hour: 5 <= hour < 23)
    assert found.day == date.fromisoformat(row["local_date"])
    assert (found.lit_h, found.dark_h, found.unknown_h) == (
        float(row["lit_h_05_23"]),
        float(row["dark_h_05_23"]),
        0,
    )


@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"{row['zone']} {row['local_date']}")
def test_a_lamp_that_burns_through_midnight_has_the_hour_that_the_night_has(row: dict[str, str]) -> None:
    found = day_under(row, lambda hour: hour >= 20 or hour < 14)
    assert found.lit_h == float(row["lit_h_20_14"])
    assert found.photons is not None
    assert found.photons.measured == pytest.approx(PPFD * found.lit_h * 3600 / 1e6, rel=1e-12)
