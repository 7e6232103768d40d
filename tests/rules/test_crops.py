"""Crops, bands and days: what is refused, and where a tray's day begins on every kind of night."""

from datetime import UTC, date, datetime, timedelta, timezone, tzinfo
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.crops import (
    LIMITS,
    URGENT_LIMITS,
    Band,
    Crop,
    Limit,
    Stage,
    StageSpan,
    day_of,
    day_start_ms,
    due_ms,
    is_optional,
    pot_ms,
    stage_at,
    stage_spans,
    wall_time,
)

HOUR_MS = 3_600_000
DAY_MS = 24 * HOUR_MS


def ms(written: str) -> int:
    """Return an RFC 3339 instant as milliseconds since 1970 UTC."""
    return (datetime.fromisoformat(written) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(milliseconds=1)


def limit(name: str, threshold: float) -> Limit:
    return Limit(name, threshold, threshold, on_delay_ms=0, off_delay_ms=0)


def crop_with(*from_days: int) -> Crop:
    return Crop("coleus", tuple(Stage(f"from day {day}", day) for day in from_days))


# ------------------------------------------------------------------------------ bands and crops


def test_a_band_may_have_any_of_four_limits() -> None:
    band = Band(
        "air_temperature",
        tuple(limit(name, value) for name, value in zip(LIMITS, (27, 30, 24, 20), strict=True)),
    )
    assert [band.threshold(name) for name in ("low_low", "low", "high", "high_high")] == [20, 24, 27, 30]
    assert Band("air_temperature", (limit("high", 27),)).threshold("low") is None
    assert Band("air_temperature", ()).threshold("high") is None


def test_two_limits_on_one_value_are_accepted() -> None:
    assert Band("air_temperature", (limit("low", 24), limit("high", 24))).threshold("high") == 24


@pytest.mark.parametrize(
    ("lower", "upper"),
    [
        ("low", "high"),
        ("low_low", "low"),
        ("high", "high_high"),
        ("low_low", "high_high"),
        ("low_low", "high"),
    ],
)
def test_limits_that_do_not_rise_are_refused(lower: str, upper: str) -> None:
    Band("air_temperature", (limit(lower, 24), limit(upper, 24)))
    with pytest.raises(ValueError, match="limits must rise: low_low, low, high, high_high"):
        Band("air_temperature", (limit(lower, 24.1), limit(upper, 24)))


@pytest.mark.parametrize("names", [("high", "high"), ("highest",), ("",), ("low", "LOW")])
def test_a_limit_that_is_unknown_or_comes_twice_is_refused(names: tuple[str, ...]) -> None:
    with pytest.raises(ValueError, match="limits are high, high_high, low, low_low, each once"):
        Band("air_temperature", tuple(limit(name, 24) for name in names))


def test_a_limit_knows_its_side_and_the_urgent_ones_are_the_outer_pair() -> None:
    assert [name for name in LIMITS if limit(name, 24).is_high] == ["high", "high_high"]
    assert {"low_low", "high_high"} == URGENT_LIMITS


@pytest.mark.parametrize("days", [(), (-1,), (0, 0), (5, 3), (0, 7, 7)])
def test_stages_out_of_order_or_before_day_0_are_refused(days: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="stages must start at day 0 or later, each on a later day"):
        crop_with(*days)


def test_a_first_stage_may_begin_after_day_0() -> None:
    assert crop_with(3, 10).stages[0].from_day == 3


# --------------------------------------------------------------------------------- stages in time


def test_a_stage_holds_from_its_first_instant_until_the_next_one_begins() -> None:
    spans = stage_spans(crop_with(0, 7, 14), date(2026, 3, 2), ZoneInfo("Europe/Lisbon"))
    first, second, third = (span.stage for span in spans)
    assert [span.from_ms for span in spans] == [
        ms("2026-03-02T00:00:00Z"),
        ms("2026-03-09T00:00:00Z"),
        ms("2026-03-16T00:00:00Z"),
    ]
    assert stage_at(spans, spans[0].from_ms - 1) is None
    assert stage_at(spans, spans[0].from_ms) is first
    assert stage_at(spans, spans[1].from_ms - 1) is first
    assert stage_at(spans, spans[1].from_ms) is second
    assert stage_at(spans, spans[2].from_ms - 1) is second
    assert stage_at(spans, spans[2].from_ms) is third
    assert stage_at(spans, spans[2].from_ms + 1000 * DAY_MS) is third


def test_a_band_is_optional_where_every_stage_that_has_it_says_so() -> None:
    bands = {"medium_moisture": Band("medium_moisture", (limit("low", 50),))}
    optional = Stage("callusing", 0, bands, optional=frozenset(bands))
    missed = Stage("rooting", 7, bands)
    without = Stage("toning", 14)
    assert is_optional([StageSpan(0, optional), StageSpan(1, without)], "medium_moisture")
    assert not is_optional([StageSpan(0, optional), StageSpan(1, missed)], "medium_moisture")
    assert not is_optional([StageSpan(0, without)], "medium_moisture")


def test_no_stages_hold_never() -> None:
    assert stage_at([], 0) is None


def test_a_stage_after_the_spring_change_begins_at_the_new_midnight() -> None:
    spans = stage_spans(crop_with(0, 7), date(2026, 3, 25), ZoneInfo("Europe/Lisbon"))
    assert spans[1].from_ms == ms("2026-03-31T23:00:00Z")
    assert spans[1].from_ms - spans[0].from_ms == 7 * DAY_MS - HOUR_MS


def test_of_two_stages_that_begin_at_one_instant_the_later_one_holds() -> None:
    """In Samoa 30 December 2011 was left out, so days 1 and 2 of this tray begin together."""
    spans = stage_spans(crop_with(0, 1, 2), date(2011, 12, 29), ZoneInfo("Pacific/Apia"))
    assert spans[1].from_ms == spans[2].from_ms == ms("2011-12-30T10:00:00Z")
    assert stage_at(spans, spans[1].from_ms) is spans[2].stage


def test_a_stage_beyond_the_calendar_is_refused_and_named() -> None:
    for stuck in (date(9999, 12, 25), date(9999, 12, 31)):
        with pytest.raises(ValueError, match="a stage of coleus would begin outside the years 1 to 9999"):
            stage_spans(crop_with(0, 10), stuck, ZoneInfo("America/New_York"))


# ---------------------------------------------------------------------------- where a day begins

#: Zone, local date, its first instant, hours until the next date begins. Rules of the IANA time zone
#: database; worked out by hand from the change it describes.
NIGHTS = [
    # Plain nights, a leap day, a common year's end of February, the turn of a year.
    ("UTC", "2026-03-02", "2026-03-02T00:00:00Z", 24.0),
    ("Europe/Lisbon", "2026-01-15", "2026-01-15T00:00:00Z", 24.0),
    ("Europe/Lisbon", "2028-02-29", "2028-02-29T00:00:00Z", 24.0),
    ("Europe/Lisbon", "2026-02-28", "2026-02-28T00:00:00Z", 24.0),
    ("Asia/Kolkata", "2026-12-31", "2026-12-30T18:30:00Z", 24.0),
    ("Pacific/Kiritimati", "2027-01-01", "2026-12-31T10:00:00Z", 24.0),
    ("Asia/Kathmandu", "2026-01-01", "2025-12-31T18:15:00Z", 24.0),
    # The clock changes later in the night.
    ("Europe/Lisbon", "2026-03-29", "2026-03-29T00:00:00Z", 23.0),
    ("Europe/Lisbon", "2026-10-25", "2026-10-24T23:00:00Z", 25.0),
    ("America/New_York", "2026-03-08", "2026-03-08T05:00:00Z", 23.0),
    ("America/New_York", "2026-11-01", "2026-11-01T04:00:00Z", 25.0),
    ("Australia/Lord_Howe", "2026-04-05", "2026-04-04T13:00:00Z", 24.5),
    ("Australia/Lord_Howe", "2026-10-04", "2026-10-03T13:30:00Z", 23.5),
    # Midnight is skipped: 23:59:59 is followed by 01:00.
    ("America/Sao_Paulo", "2018-11-04", "2018-11-04T03:00:00Z", 23.0),
    ("Atlantic/Azores", "2026-03-29", "2026-03-29T01:00:00Z", 23.0),
    ("Asia/Beirut", "2024-03-31", "2024-03-30T22:00:00Z", 23.0),
    ("America/Havana", "2024-03-10", "2024-03-10T05:00:00Z", 23.0),
    # Midnight is inside what is skipped: 23:29:59 is followed by 00:30.
    ("America/Toronto", "1919-03-31", "1919-03-31T04:30:00Z", 23.5),
    # Midnight comes twice: 00:59:59 is followed by 00:00 of the same date; the first one counts.
    ("Atlantic/Azores", "2026-10-25", "2026-10-25T00:00:00Z", 25.0),
    ("America/Havana", "2024-11-03", "2024-11-03T04:00:00Z", 25.0),
    # The date itself comes twice: 00:00:59 is followed by 23:01 of the day before.
    ("America/St_Johns", "2006-10-29", "2006-10-29T02:30:00Z", 25.0),
    # 23:59:59 is followed by 23:00 of the same evening: the day before is the long one.
    ("Asia/Beirut", "2024-10-26", "2024-10-25T21:00:00Z", 25.0),
    ("Asia/Beirut", "2024-10-27", "2024-10-26T22:00:00Z", 24.0),
    # The whole date is skipped: it begins and ends at the first instant after it.
    ("Pacific/Apia", "2011-12-29", "2011-12-29T10:00:00Z", 24.0),
    ("Pacific/Apia", "2011-12-30", "2011-12-30T10:00:00Z", 0.0),
    ("Pacific/Apia", "2011-12-31", "2011-12-30T10:00:00Z", 24.0),
    # An offset that is no whole minute, and before the year 1970.
    ("Africa/Monrovia", "1972-01-07", "1972-01-07T00:44:30Z", 24 - 44.5 / 60),
    ("Europe/Amsterdam", "1930-01-01", "1929-12-31T23:40:28Z", 24.0),
]  # fmt: skip


@pytest.mark.parametrize(
    ("zone", "day", "start", "hours"), NIGHTS, ids=[f"{row[0]} {row[1]}" for row in NIGHTS]
)
def test_a_day_begins_at_the_first_instant_of_its_date(zone: str, day: str, start: str, hours: float) -> None:
    where, when = ZoneInfo(zone), date.fromisoformat(day)
    begins_ms = day_start_ms(when, where)
    assert begins_ms == ms(start)
    assert day_start_ms(when + timedelta(days=1), where) - begins_ms == round(hours * HOUR_MS)


@pytest.mark.parametrize(
    ("zone", "day"), [row[:2] for row in NIGHTS], ids=[f"{row[0]} {row[1]}" for row in NIGHTS]
)
def test_the_number_of_the_day_changes_at_the_very_instant_it_begins(zone: str, day: str) -> None:
    where, when = ZoneInfo(zone), date.fromisoformat(day)
    begins_ms = day_start_ms(when, where)
    skipped = int(day_start_ms(when + timedelta(days=1), where) == begins_ms)
    assert day_of(when, where, begins_ms - 1) < 0
    assert day_of(when, where, begins_ms) == skipped


def test_the_number_of_the_day_never_goes_back_where_the_clock_does() -> None:
    """On 29 October 2006 clocks in Newfoundland went from 00:01 back to 23:01 of the day before."""
    where, stuck = ZoneInfo("America/St_Johns"), date(2006, 10, 28)
    begins_ms = ms("2006-10-29T02:30:00Z")
    minutes = [begins_ms + minute * 60_000 for minute in range(-90, 120)]
    assert [day_of(stuck, where, minute) for minute in minutes] == [0] * 90 + [1] * 120


@pytest.mark.parametrize(
    ("stuck", "on", "day"),
    [
        ("2028-02-28", "2028-02-29", 1),
        ("2028-02-28", "2028-03-01", 2),
        ("2026-02-28", "2026-03-01", 1),
        ("2028-02-29", "2029-02-28", 365),
        ("2026-12-31", "2027-01-01", 1),
        ("2026-12-25", "2027-01-08", 14),
        ("2026-03-02", "2026-03-02", 0),
        ("2026-03-02", "2026-03-01", -1),
    ],
)
def test_days_are_counted_by_the_calendar(stuck: str, on: str, day: int) -> None:
    for zone in ("UTC", "Europe/Lisbon", "Pacific/Kiritimati", "America/New_York"):
        noon = datetime.fromisoformat(f"{on}T12:00:00").replace(tzinfo=ZoneInfo(zone)).isoformat()
        assert day_of(date.fromisoformat(stuck), ZoneInfo(zone), ms(noon)) == day


class FakeLeap(tzinfo):
    """A zone at UTC until an odd millisecond before midnight, and some minutes ahead from then on."""

    def __init__(self, leap_ms: int, ahead: timedelta) -> None:
        self._leap = datetime(1970, 1, 1) + timedelta(milliseconds=leap_ms)  # noqa: DTZ001 -- as fromutc needs it
        self._ahead = ahead

    def utcoffset(self, local: datetime | None) -> timedelta:
        assert local is not None
        return timedelta() if local.replace(tzinfo=None) < self._leap + self._ahead else self._ahead

    def dst(self, _local: datetime | None) -> timedelta:
        return timedelta()

    def tzname(self, _local: datetime | None) -> str:
        return "leap"

    def fromutc(self, utc: datetime) -> datetime:
        return utc if utc.replace(tzinfo=None) < self._leap else utc + self._ahead


@given(st.integers(1, 900_000), st.integers(15, 180))
def test_a_leap_over_midnight_is_found_to_the_millisecond(before_ms: int, minutes: int) -> None:
    midnight_ms = ms("2026-03-02T00:00:00Z")
    where = FakeLeap(midnight_ms - before_ms, timedelta(minutes=minutes))
    assert day_start_ms(date(2026, 3, 2), where) == midnight_ms - before_ms


@given(st.dates(date(1890, 1, 1), date(2090, 1, 1)), st.sampled_from(["Europe/Lisbon", "Atlantic/Azores",
       "America/Havana", "Asia/Beirut", "America/St_Johns", "Pacific/Apia", "Africa/Cairo"]))  # fmt: skip
def test_the_days_of_any_zone_follow_each_other_and_are_counted_alike(day: date, zone: str) -> None:
    where = ZoneInfo(zone)
    starts = [day_start_ms(day + timedelta(days=number), where) for number in range(3)]
    assert starts == sorted(starts)
    for number, start in enumerate(starts):
        assert day_of(day, where, start - 1) < number <= day_of(day, where, start)


@pytest.mark.parametrize("hours", [-24, -12, 0, 14, 24])
def test_instants_at_the_ends_of_the_calendar_still_have_a_day(hours: int) -> None:
    """A reading that claims the year 9999 once overflowed here."""
    where = timezone(timedelta(hours=hours, minutes=-hours / 24))
    stuck = date(2026, 3, 2)
    assert day_of(stuck, where, ms("9999-12-31T23:59:59.999+00:00")) > 2_900_000
    assert day_of(stuck, where, ms("0001-01-01T00:00:00+00:00")) < -730_000


def test_a_span_is_an_instant_and_a_stage() -> None:
    stage = Stage("weaning", 10)
    assert StageSpan(5, stage) == (5, stage)
    assert stage.bands == {}


def test_a_crop_is_due_and_usually_potted_on_by_the_end_of_a_local_day() -> None:
    lisbon = ZoneInfo("Europe/Lisbon")
    crop = Crop("coleus", (Stage("callusing", 0),), due_day=14, pot_day=21)
    # Stuck on 9 March 2026, before the clocks go forward on the 29th.
    assert due_ms(crop, date(2026, 3, 9), lisbon) == ms("2026-03-24T00:00+00:00")
    assert pot_ms(crop, date(2026, 3, 9), lisbon) == ms("2026-03-31T00:00+01:00")
    assert pot_ms(Crop("coleus", crop.stages), date(2026, 3, 9), lisbon) is None
    with pytest.raises(ValueError, match="outside the years 1 to 9999"):
        pot_ms(crop, date(9999, 12, 20), lisbon)


@pytest.mark.parametrize("zone", ["Pacific/Kiritimati", "Etc/GMT+12", "Europe/Lisbon", "UTC"])
def test_the_wall_shows_a_time_at_any_instant_of_four_digits_of_a_year(zone: str) -> None:
    """Found by fuzzing: a reading of the year 1 has a local time before the calendar, and ended the watching."""
    where = ZoneInfo(zone)
    assert wall_time(ms("0001-01-01T00:00:00+00:00"), where).year == 1
    assert wall_time(ms("9999-12-31T23:59:59.999+00:00"), where).year == 9999
    noon = ms("2026-03-02T12:00:00+00:00")
    assert wall_time(noon, where).utctimetuple()[:5] == (2026, 3, 2, 12, 0)
