"""Alarms that latch: over or not, they stay until somebody has acknowledged and reset them."""

import pytest
from base_config import changed
from led_lives import TOO_DRY, TOO_WARM, asked, fields_of

from wardian.daemon.acts import latching
from wardian.daemon.lives import Lives
from wardian.rules import life
from wardian.rules.ports import Alarm

READINGS = "readings: {hold: 5 min, settle: 5 s}\n"
NOW_MS = 1_772_452_800_000


def lives() -> Lives:
    return Lives({}, names=fields_of, latches=lambda alarm: alarm == TOO_WARM)


def state_after(alarm: Alarm, *events: str) -> str:
    led = lives()
    for event in events:
        if event in (life.RAISED, life.RETURNED):
            led.follow(fields_of(alarm, event))
        else:
            led.do(asked(event, alarm), NOW_MS)
    return led.of(alarm).state


def test_an_alarm_that_latches_outlives_its_condition_until_it_is_reset() -> None:
    over = (life.RAISED, life.RETURNED)
    assert state_after(TOO_WARM, *over) == life.LATCHED_UNACKNOWLEDGED
    assert state_after(TOO_WARM, *over, life.ACKNOWLEDGE) == life.LATCHED_ACKNOWLEDGED
    assert state_after(TOO_WARM, *over, life.ACKNOWLEDGE, life.RESET) == life.NORMAL
    assert state_after(TOO_WARM, *over, life.RAISED) == life.UNACKNOWLEDGED


def test_another_alarm_of_the_tray_does_not_latch() -> None:
    assert state_after(TOO_DRY, life.RAISED, life.ACKNOWLEDGE, life.RETURNED) == life.NORMAL


def test_what_nobody_has_seen_cannot_be_reset() -> None:
    led = lives()
    led.follow(fields_of(TOO_WARM, life.RAISED))
    led.follow(fields_of(TOO_WARM, life.RETURNED))
    with pytest.raises(life.Impossible, match="reset: the alarm is latched unacknowledged"):
        led.do(asked(life.RESET), NOW_MS)


def test_a_configuration_says_which_alarms_latch() -> None:
    latches = latching(changed((READINGS, f"{READINGS}alarms:\n  too-dry: {{latch: true}}\n")))
    assert latches(Alarm("tray-a", "relative_humidity", "low"))
    assert not latches(Alarm("tray-a", "air_temperature", "high"))
    assert not latches(Alarm("a tray that is gone", "ppfd", "low"))
