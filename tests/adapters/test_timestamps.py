from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.timestamps import FIRST_MS, LAST_MS, parse_ms, text_of

NEW_YEAR_MS = 1_767_225_600_000  # 2026-01-01T00:00:00Z


@pytest.mark.parametrize(
    ("text", "time_ms"),
    [
        ("2026-01-01T00:00:00.1Z", NEW_YEAR_MS + 100),
        ("2026-01-01T00:00:00.1239Z", NEW_YEAR_MS + 123),
        ("2026-01-01T00:00:00.9999999999999Z", NEW_YEAR_MS + 999),
        ("1969-12-31T23:59:59.999Z", -1),
        ("1969-12-31T23:59:59.9999Z", -1),
        ("1969-12-31T23:59:59Z", -1000),
        ("1937-01-01T12:00:27.87+00:20", -1_041_337_172_130),
    ],
)
def test_finer_digits_are_dropped_before_and_after_1970(text: str, time_ms: int) -> None:
    assert parse_ms(text) == time_ms


@pytest.mark.parametrize(
    ("text", "following"),
    [
        ("2016-12-31T23:59:60Z", "2017-01-01T00:00:00.000Z"),
        ("2016-12-31T23:59:60.25Z", "2017-01-01T00:00:00.250Z"),
        ("2015-07-01T01:59:60+02:00", "2015-07-01T00:00:00.000Z"),
        ("2024-02-29T23:59:60Z", "2024-03-01T00:00:00.000Z"),
    ],
)
def test_a_leap_second_at_the_end_of_a_month_is_the_second_after_it(text: str, following: str) -> None:
    assert text_of(parse_ms(text)) == following


@pytest.mark.parametrize(
    "text",
    [
        "2026-08-10T10:01:60Z",
        "2026-08-10T23:59:60Z",
        "2026-06-30T23:59:60+01:00",
        "2026-06-30T23:58:60Z",
        "2024-02-28T23:59:60Z",
    ],
)
def test_second_60_anywhere_else_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="no leap second can be"):
        parse_ms(text)


def test_a_time_without_offset_is_refused_and_the_message_says_what_is_accepted() -> None:
    with pytest.raises(ValueError, match=r"has no offset; RFC 3339 with an offset is accepted, like 2026-"):
        parse_ms("2026-01-01T00:00:00")


@pytest.mark.parametrize(
    "text",
    [
        "now",
        " 2026-01-01T00:00:00Z",
        "2026-01-01T00:00:00Z\n",
        "2026-01-01T00:00:00.Z",
        "2026-01-01T00:00:00 Z",
        "2026-01-01_00:00:00Z",
        "2026-01-01T00:00:00+1:00",
        "2026-01-01T00:00:00+00:60",
        "2026-01-01T00:00:00+01:00:30",
        "+2026-01-01T00:00:00Z",
        "12026-01-01T00:00:00Z",
        "1767225600",
        "٢٠٢٦-01-01T00:00:00Z",
        "2026-00-01T00:00:00Z",
        "2026-04-31T00:00:00Z",
        "0000-01-01T00:00:00Z",
        "0001-01-01T00:00:00+00:01",
        "9999-12-31T23:59:59-00:01",
        "9999-12-31T23:59:60Z",
    ],
)
def test_everything_else_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match=r"^time "):
        parse_ms(text)


def test_a_long_text_is_not_repeated_at_length() -> None:
    with pytest.raises(ValueError, match="not readable") as caught:
        parse_ms("x" * 10_000)
    assert len(str(caught.value)) < 200


@given(
    time=st.datetimes(datetime(1, 1, 3), datetime(9999, 12, 29)),  # noqa: DTZ001 - the offset is drawn beside it
    offset_min=st.integers(-1439, 1439),
)
def test_what_the_standard_library_writes_is_read_as_it_reads_it(time: datetime, offset_min: int) -> None:
    aware = time.replace(tzinfo=timezone(timedelta(minutes=offset_min)))
    since_1970 = aware - datetime(1970, 1, 1, tzinfo=UTC)
    assert parse_ms(aware.isoformat()) == since_1970 // timedelta(milliseconds=1)


@given(st.integers(FIRST_MS, LAST_MS))
def test_a_written_time_is_read_back_to_the_millisecond(time_ms: int) -> None:
    assert parse_ms(text_of(time_ms)) == time_ms


@given(st.text())
def test_any_text_is_read_or_refused(text: str) -> None:
    try:
        time_ms = parse_ms(text)
    except ValueError:
        return
    assert FIRST_MS <= time_ms <= LAST_MS
