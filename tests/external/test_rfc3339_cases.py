"""Times of RFC 3339 (2002): the examples of its section 5.8 and the edges of its grammar.

The examples of section 5.8 were read as repeated in public test suites; their POSIX seconds were computed
with Python's datetime. The cases of the grammar (sections 4.3, 5.6 and 5.7) are from memory of the text.
"""

from decimal import Decimal

import pytest

from wardian.adapters.timestamps import parse_ms, text_of

#: Text, POSIX seconds.
VALID = [
    ("1985-04-12T23:20:50.52Z", "482196050.52"),  # RFC 3339 5.8 example
    ("1996-12-19T16:39:57-08:00", "851042397"),  # RFC 3339 5.8 example
    ("1937-01-01T12:00:27.87+00:20", "-1041337172.13"),  # RFC 3339 5.8 example
    ("1990-12-31T23:59:60Z", "662688000"),  # leap second; POSIX time of the following second
    ("1990-12-31T15:59:60-08:00", "662688000"),  # same leap second with an offset
    ("2026-01-01T00:00:00Z", "1767225600"),  # grammar
    ("2026-01-01T00:00:00+00:00", "1767225600"),  # grammar
    ("2025-12-31T23:30:00-00:30", "1767225600"),  # grammar
    ("2026-03-29T03:00:00+02:00", "1774746000"),  # just after spring change in central Europe
    ("2024-02-29T12:00:00Z", "1709208000"),  # leap day
    ("2026-06-30T12:00:00.123456789Z", "1782820800.123456789"),  # nanoseconds: keep or truncate, never reject
    ("2026-01-01T00:00:00-00:00", "1767225600"),  # UTC time known, local offset unknown
    ("2026-01-01t00:00:00z", "1767225600"),  # lower case t and z are allowed
    ("2026-01-01 00:00:00Z", "1767225600"),  # space instead of T: allowed by agreement for readability
]

INVALID = [
    "2026-01-01T00:00:00",  # no offset
    "2026-01-01T00:00Z",  # no seconds
    "2026-01-01T24:00:00Z",  # hour 24
    "2026-02-29T00:00:00Z",  # not a leap year
    "2026-13-01T00:00:00Z",  # month 13
    "2026-01-01T00:00:00+0100",  # offset without colon
    "2026-01-01T00:00:00,5Z",  # comma as decimal sign
    "2026-01-01T00:60:00Z",  # minute 60
    "2026-01-01T00:00:61Z",  # second 61
    "2026-08-10T10:01:60Z",  # second 60 where no leap second can be
    "26-01-01T00:00:00Z",  # two-digit year
    "20260101T000000Z",  # ISO basic form
    "2026-01-01T00:00:00+24:00",  # offset hour 24
    "2026-W01-4T00:00:00Z",  # week date
    "",  # empty
]


@pytest.mark.parametrize(("text", "posix_seconds"), VALID)
def test_a_valid_time_has_its_posix_seconds_down_to_the_millisecond(text: str, posix_seconds: str) -> None:
    assert parse_ms(text) == int(Decimal(posix_seconds) * 1000)
    assert parse_ms(text_of(parse_ms(text))) == parse_ms(text)


@pytest.mark.parametrize("text", INVALID)
def test_a_time_outside_the_grammar_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="is accepted"):
        parse_ms(text)
