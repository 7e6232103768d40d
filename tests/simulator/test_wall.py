"""The clock on the wall, through the nights in which clocks change."""

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from wardian.simulator.wall import MS_PER_DAY, MS_PER_HOUR, at_wall_ms, wall

NEW_YORK = ZoneInfo("America/New_York")
#: Days since 1970: 8 March 2026, clocks go forward at two; 1 November 2026, they go back at two.
FORWARD, BACK = (
    (datetime(2026, month, day, tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)).days
    for month, day in ((3, 8), (11, 1))
)


def hours_of(day: int, minutes: float) -> float:
    return float(wall(np.array([at_wall_ms(day, minutes, NEW_YORK)]), NEW_YORK).hours[0])


def test_a_year_of_instants_shows_what_the_calendar_of_the_zone_shows() -> None:
    start_ms = int(datetime(2026, 1, 1, tzinfo=UTC).timestamp() * 1000)
    times_ms = start_ms + np.arange(0, 365 * MS_PER_DAY, 1_234_567)
    shown = wall(times_ms, NEW_YORK)
    for time_ms, hour, day in zip(times_ms[::97], shown.hours[::97], shown.days[::97], strict=True):
        local = datetime.fromtimestamp(time_ms / 1000, NEW_YORK)
        since = local.replace(tzinfo=UTC) - datetime(1970, 1, 1, tzinfo=UTC)
        assert day == since.days
        assert hour == pytest.approx((since.total_seconds() - since.days * 86_400) / 3600, abs=1e-6)


@pytest.mark.parametrize("day", [FORWARD - 1, FORWARD, FORWARD + 1, BACK - 1, BACK, BACK + 1])
@pytest.mark.parametrize("minutes", [0, 61, 510, 1110, 1439])
def test_there_and_back_the_wall_shows_the_same_on_days_of_23_24_and_25_hours(
    day: int, minutes: float
) -> None:
    assert hours_of(day, minutes) == pytest.approx(minutes / 60)
    assert int(wall(np.array([at_wall_ms(day, minutes, NEW_YORK)]), NEW_YORK).days[0]) == day


def test_days_on_which_clocks_change_last_23_and_25_hours() -> None:
    lasts_h = [
        (at_wall_ms(day + 1, 0, NEW_YORK) - at_wall_ms(day, 0, NEW_YORK)) / MS_PER_HOUR
        for day in (FORWARD, FORWARD + 1, BACK)
    ]
    assert lasts_h == [23, 24, 25]
