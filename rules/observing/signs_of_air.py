"""Signs in the humidity: a cover that is off, cracked, never lifted, or was just lifted."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from wardian.rules.evidence import Evidence, difference, moment, span, value
from wardian.rules.observing.looks import LIFTED, WATERED, Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.uncovered import Fall, fallen, lasting_fall
from wardian.rules.observing.usual import recent

_AIR: Final = "air_temperature"
_HUMIDITY: Final = "relative_humidity"
_DAY_MIN: Final = 24 * 60
#: Humidity that is down for so long after a fall is not coming back by itself.
_LEAST_MIN: Final = 20
_MOST_MIN: Final = 2 * _DAY_MIN
#: The room's air cools what is under a cover that lets it in. [K] From memory.
_COOLS_K: Final = 0.5
#: Vents are set for a stage within so long of its beginning.
_STAGE_MS: Final = 6 * 60 * MINUTE_MS
#: How long the air takes to settle after a lift, and the medium after water (common practice, no source).
_SETTLES_MS: Final = 45 * MINUTE_MS
_WATER_SETTLES_MS: Final = 90 * MINUTE_MS
#: A tray is aired two to three times a day (common practice, no source); two rounds were left out.
_AIRED_MIN: Final = 18 * 60
_MOIST_PCT: Final = 93.0


def cover_left_off(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a cover that is off: humidity fell within minutes and stays down, and the scale or the air agree."""
    fall = _fall(look)
    return _with_air(look, fall) if fall and fall.is_off else ()


def cover_cracked(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a cover that leaks: humidity fell within minutes and stays lower, with the cover on."""
    fall = _fall(look)
    return _with_air(look, fall) if fall and not fall.is_off else ()


def never_aired(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell a tray that nobody airs: no lift for most of a day, and no dip of humidity either."""
    humidity = look.minutes.trace(_HUMIDITY, _AIRED_MIN).mean
    last = look.last_care(LIFTED)
    if len(humidity) < _AIRED_MIN or not np.nanmin(humidity) >= _MOIST_PCT:
        return ()
    since = (Evidence("the cover was last lifted at {}", (moment(last.from_ms),)),) if last else ()
    lowest = Evidence(
        "humidity has not been below {} for {}",
        (value(_HUMIDITY, float(np.nanmin(humidity))), span(_AIRED_MIN * MINUTE_MS)),
    )
    return (lowest, *since, Evidence("no lifted cover shows in that time"))


def care(look: Look, _: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell an alarm of a tray at which somebody was just at work."""
    for event, settles_ms in ((WATERED, _WATER_SETTLES_MS), (LIFTED, _SETTLES_MS)):
        last = look.last_care(event)
        humidity = look.minutes.trace(_HUMIDITY, 15).mean
        is_rising = len(humidity) > 0 and bool(humidity[-1] > humidity[0])
        if last and look.now_ms <= last.to_ms + settles_ms and is_rising:
            words = "the tray was watered at {}" if event == WATERED else "the cover was lifted at {}"
            return Evidence(words, (moment(last.from_ms),)), Evidence("and humidity is coming back")
    return ()


def _fall(look: Look) -> Fall | None:
    fall = lasting_fall(look.minutes, _LEAST_MIN, _MOST_MIN)
    if fall is None or not fall.is_flat:
        return None
    began_ms = look.now_ms - fall.at * MINUTE_MS
    is_vented = any(abs(stage.from_ms - began_ms) < _STAGE_MS for stage in look.plan.spans[1:])
    return None if is_vented else fall


def _with_air(look: Look, fall: Fall) -> tuple[Evidence, ...]:
    """Return a fall with what else speaks for the cover; nothing where it stands alone."""
    signs = [fallen(fall, look.now_ms)]
    air = look.minutes.trace(_AIR, fall.at + 10).mean
    before_c, now_c = float(np.mean(air[:10])) if len(air) else np.nan, recent(look.minutes, _AIR, 5)
    if before_c - now_c >= _COOLS_K:
        signs.append(Evidence("the air cooled by {} with it", (difference(_AIR, before_c - now_c),)))
    return tuple(signs) if len(signs) > 1 or fall.lighter_g is not None else ()
