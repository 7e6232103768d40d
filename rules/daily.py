"""What comes once a local day, at a time by the clock on the wall, whatever the clocks do.

The rule of this file: each local date has one instant, and that is missed only where nobody was there until
the date of that instant was over.
"""

from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Final

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_MS: Final = timedelta(milliseconds=1)
_DAY: Final = timedelta(days=1)


def first_instant_ms(day: date, at: time, zone: tzinfo) -> int:
    """Return the first instant at which the wall shows a time of a date, or a later one.

    A time that comes twice counts the first time; one that is skipped is the first instant after the gap.

    Returns:
        Milliseconds since 1970 UTC.
    """
    wall = datetime.combine(day, at)
    late_ms = _instant_ms(wall.replace(tzinfo=zone))
    if _wall(late_ms, zone) == wall:
        return late_ms
    # It is skipped: read by the offset from after the gap it lies before it, by the one from before it after it.
    early_ms = _instant_ms(wall.replace(tzinfo=zone, fold=1))
    while late_ms - early_ms > 1:
        middle_ms = (early_ms + late_ms) // 2
        if _wall(middle_ms, zone) < wall:
            early_ms = middle_ms
        else:
            late_ms = middle_ms
    return late_ms


def day_come(now_ms: int, at: time, zone: tzinfo) -> date | None:
    """Return the date whose time has come today; None before it.

    That is today, or yesterday where its time was skipped together with midnight.
    """
    today = _wall(now_ms, zone).date()
    for day in (today, today - _DAY):
        come_ms = first_instant_ms(day, at, zone)
        if come_ms <= now_ms and _wall(come_ms, zone).date() == today and _exists(day, zone):
            return day
    return None


def day_due(now_ms: int, at: time, zone: tzinfo, last: date) -> date | None:
    """Return the date whose time has come today and that is later than the last one that was seen to.

    A last one beyond tomorrow is of a clock that went wrong and was put right since: it counts for nothing.
    """
    day = day_come(now_ms, at, zone)
    return day if day is not None and (day > last or last > day + _DAY) else None


def day_before_first(now_ms: int, at: time, zone: tzinfo) -> date:
    """Return the last date that counts as seen to where nobody has seen to any: the next time is the first."""
    return day_come(now_ms, at, zone) or _wall(now_ms, zone).date() - _DAY


def _exists(day: date, zone: tzinfo) -> bool:
    """Whether a date was ever on the calendar: one was left out where a zone crossed the date line."""
    return _wall(first_instant_ms(day, time(), zone), zone).date() == day


def _instant_ms(local: datetime) -> int:
    return (local - _EPOCH) // _MS


def _wall(time_ms: int, zone: tzinfo) -> datetime:
    return (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone).replace(tzinfo=None, fold=0)
