"""What care holds back of the alarms about water in a tray."""

import pytest

from wardian.rules.observing.holds import hold_of
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Care
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.transitions import RAISED, Transition

SETTLING_MS = {LIFTED: 45 * MINUTE_MS, MISTED: 45 * MINUTE_MS, WATERED: 90 * MINUTE_MS}


def lost(limit: str, minute: int) -> Transition:
    at_ms = minute * MINUTE_MS
    return Transition(at_ms, "tray-a", "water_lost", limit, RAISED, limit, 0.0, 0.0, "callusing", at_ms)


@pytest.mark.parametrize(
    ("event", "limit", "minute", "is_held"),
    [
        # The cover rides on the balance: without it the tray seems to have lost water.
        (LIFTED, "high", 44, True),
        (LIFTED, "high_high", 44, True),
        (LIFTED, "high", 45, False),
        (LIFTED, "low", 44, False),
        # What is poured on drains within the hour.
        (WATERED, "low", 89, True),
        (WATERED, "low", 90, False),
        (WATERED, "high", 1, False),
        (MISTED, "high", 1, False),
    ],
)
def test_care_holds_back_what_it_does_to_the_weight(
    event: str, limit: str, minute: int, *, is_held: bool
) -> None:
    found = hold_of(lost(limit, minute), [Care(event, 0, MINUTE_MS)], SETTLING_MS)
    assert (found is not None) is is_held
