"""Signs of lost mains: lamp and mats without power together."""

from collections.abc import Sequence
from typing import Final

from wardian.rules.evidence import Evidence, moment, number, span
from wardian.rules.observing.heater import is_air_ahead, overdue_min
from wardian.rules.observing.looks import Look
from wardian.rules.observing.mains import without_power
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.observing.signs_of_heat import MEDIUM, has_heated, mat_is_cold
from wardian.rules.observing.signs_of_light import Dark, dark_runs
from wardian.rules.observing.usual import PULSE_MIN, heating

#: A medium is warm again so long after the mains came back. From memory.
_LATELY_MIN: Final = 6 * 60
#: The medium is so much cooler than where the mat comes on. [K] From memory.
_BELOW_K: Final = 0.3
#: So many mats must have gone cold together in the dark, when no lamp can tell.
_MATS: Final = 2
#: So many pulses of heat must be missing on a bench before a few minutes without any say something.
_MISSING: Final = 1.5


def mains_lost(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell lost mains: the lamp is dark and the mat cold since then, or all mats went cold together.

    Mains that came back long ago make no tray cold any more.
    """
    return _lamp_went_dark(look, others, _LATELY_MIN) or _all_mats(look, others)


def mains_were_lost(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell lost mains of the last days, as hours of light look back on them."""
    return _lamp_went_dark(look, others, KEPT) or _all_mats(look, others)


def _lamp_went_dark(look: Look, others: Sequence[Look], ended_within_min: int) -> tuple[Evidence, ...]:
    for run in dark_runs(look):
        signs = _lamp_and_mat(look, others, run) if run.ended_min <= ended_within_min else ()
        if signs:
            return signs
    return ()


def _lamp_and_mat(look: Look, others: Sequence[Look], run: Dark) -> tuple[Evidence, ...]:
    mat = look.usual.mat
    medium = look.minutes.trace(MEDIUM, run.began_min + PULSE_MIN).mean
    during = medium[PULSE_MIN : len(medium) - run.ended_min]
    if mat is None or not len(during) or heated(look, run.began_min, run.ended_min):
        return ()
    end_c = float(during[-1])
    dark = [one for one in others if any(abs(run.began_min - its.began_min) <= 5 for its in dark_runs(one))]
    beside = (
        (Evidence("the lamps of {} neighbouring trays went dark with it", (number(len(dark)),)),)
        if dark
        else ()
    )
    if mat.on_c - end_c >= _BELOW_K:
        return (without_power(look.now_ms - run.began_min * MINUTE_MS, end_c), *beside)
    if not dark or len(dark) < len(others) or any(heated(one, run.began_min, run.ended_min) for one in dark):
        return ()
    missing = sum(
        (run.began_min - run.ended_min) / one.usual.mat.apart_min for one in (look, *dark) if one.usual.mat
    )
    if missing < _MISSING:
        return ()
    return (
        Evidence(
            "all lamps of the bench went dark at {}", (moment(look.now_ms - run.began_min * MINUTE_MS),)
        ),
        Evidence("and none of its mats has heated since"),
    )


def heated(look: Look, began_min: int, ended_min: int) -> bool:
    """Return whether the mat was seen to heat between so many and so many minutes ago."""
    medium = look.minutes.trace(MEDIUM, began_min).mean
    during = medium[: len(medium) - ended_min]
    return bool(heating(during).any())


def _all_mats(look: Look, others: Sequence[Look]) -> tuple[Evidence, ...]:
    """Tell it when no lamp can: the mat should have come on for a while, and no other mat has either."""
    cold = mat_is_cold(look)
    if cold is None or is_air_ahead(look):
        return ()
    known, minutes = [one for one in others if one.usual.mat], overdue_min(look)
    missing = sum(minutes / one.usual.mat.apart_min for one in known if one.usual.mat)
    if len(known) < _MATS or missing < _MISSING or any(has_heated(one, minutes) for one in known):
        return ()
    return cold, Evidence(
        "none of the mats of {} neighbouring trays has heated for {}",
        (number(len(known)), span(minutes * MINUTE_MS)),
    )
