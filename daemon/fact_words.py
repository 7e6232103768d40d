"""The facts of a batch in words: a label and a clause each, so that those of two batches can stand side by side.

The rule of this file: what was not seen is told as such beside what was.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from statistics import median
from typing import Final

from wardian.daemon.tongue import Tongue, span_words
from wardian.rules.crops import Aim
from wardian.rules.light_days import LightDay
from wardian.rules.postmortem.air import SODDEN_PCT, WET_PCT
from wardian.rules.postmortem.bands import StageTime
from wardian.rules.postmortem.blindness import Blind
from wardian.rules.postmortem.facts import AlarmTime, CareDay, Facts, FirstDays, WaterDay, Wetness
from wardian.rules.quantities import QUANTITIES

#: A fact: its label, and what is said of it.
Fact = tuple[str, str]
#: Of parts of days that are shorter nothing is said by day. [h]
_WHOLE_DAY_H: Final = 22.0
_TOLD_ALARMS: Final = 6


def hours_words(count: float) -> str:
    """Return hours as people say them: ``9 h``, ``0.4 h``."""
    return f"{count:.0f} h" if count >= 9.95 or count == 0 else f"{count:.1f} h"


def wanted_words(quantity: str, wanted: Aim, tongue: Tongue) -> str:
    """Return what a crop wants of a quantity as ``70.0 to 77.0 °F``."""
    known = QUANTITIES[quantity]
    low, high = (None if one is None else tongue.value(known, one) for one in wanted)
    if low and high:
        return f"{low.partition(' ')[0]} to {high}"
    return f"at least {low}" if low else f"at most {high}"


def longest_words(time: StageTime, tongue: Tongue) -> str:
    """Return the longest time beyond what the crop wants, with its clock time; empty where there was none."""
    longest = time.longest
    if longest is None:
        return ""
    lasted = span_words(longest.span[1] - longest.span[0])
    worst = tongue.value(QUANTITIES[time.quantity], longest.worst)
    return f"{lasted} {longest.side} from {tongue.moment(longest.span[0])}, {worst} at worst"


def facts_in_words(facts: Facts, tongue: Tongue) -> Iterator[Fact]:
    """Yield what there is to say of a batch beside its bands."""
    yield "First 72 hours", _first(facts.first)
    if facts.warmth is not None:
        base = tongue.value(QUANTITIES["medium_temperature"], facts.warmth.base_c)
        sum_words = (
            f"{facts.warmth.degree_h:,.0f} K h above {base}, known for {hours_words(facts.warmth.known_h)}"
        )
        yield "Warmth of the medium", sum_words
    if facts.light:
        yield from _light(facts.light)
    yield "Wet air", _wetness(facts.wetness, tongue)
    yield "Care that showed", _care(facts.care)
    if facts.water:
        yield "Water in the medium", _water(facts.water, is_estimated=facts.is_water_estimated)
    yield "Alarms", _alarms(facts.alarms)
    yield "Not seen", _blind(facts.blind)


def _first(first: FirstDays) -> str:
    told = [
        f"deficit above what is wanted for {span_words(first.dry_air_min * 60_000)}"
        if first.dry_air_min
        else ""
    ]
    told.append(f"cover off for {span_words(first.cover_off_min * 60_000)}" if first.cover_off_min else "")
    told.append(f"medium too cold for {hours_words(first.too_cold_h)}" if first.too_cold_h else "")
    told.append(f"medium too hot for {hours_words(first.too_hot_h)}" if first.too_hot_h else "")
    done = f"aired {first.airings}, misted {first.mistings}, watered {first.waterings} times"
    told.append(
        f"air unknown for {span_words(first.unknown_air_min * 60_000)}" if first.unknown_air_min else ""
    )
    told.append(f"medium unknown for {hours_words(first.unknown_medium_h)}" if first.unknown_medium_h else "")
    short = "" if first.hours >= 72 else f" (of {hours_words(first.hours)} so far)"
    return f"{', '.join(part for part in [*told, done] if part)}{short}"


def _light(days: Sequence[LightDay]) -> Iterator[Fact]:
    whole = [day for day in days if day.to_ms - day.from_ms >= _WHOLE_DAY_H * 3_600_000]
    if not whole:
        yield "Light by day", "no whole day yet"
        return
    lit = " ".join(_lit(day) for day in whole)
    yield "Light by day", f"{median(day.lit_h for day in whole):.1f} h in the median; by day {lit}"
    photons = [day.photons.measured for day in whole if day.photons]
    if photons:
        listed = " ".join(f"{one:.1f}" for one in photons)
        yield (
            "Daily light integral",
            f"{median(photons):.1f} mol/m²/d in the median, estimated; by day {listed}",
        )


def _lit(day: LightDay) -> str:
    return f"{day.lit_h:.0f}" + (f"(+{day.unknown_h:.0f}?)" if day.unknown_h >= 0.5 else "")


def _wetness(wetness: Wetness, tongue: Tongue) -> str:
    quantity = QUANTITIES["relative_humidity"]
    wet, sodden = (tongue.value(quantity, level) for level in (WET_PCT, SODDEN_PCT))
    told = [
        f"{hours_words(wetness.wet_h)} at {wet} or more",
        f"{hours_words(wetness.sodden_h)} at {sodden} or more",
    ]
    if wetness.longest:
        lasted = span_words(wetness.longest[1] - wetness.longest[0])
        told.append(f"longest without a break {lasted} from {tongue.moment(wetness.longest[0])}")
    if wetness.unknown_h:
        told.append(f"unknown for {hours_words(wetness.unknown_h)}")
    return ", ".join(told)


def _care(days: Sequence[CareDay]) -> str:
    aired, misted = (" ".join(str(getattr(day, what)) for day in days) for what in ("airings", "mistings"))
    watered = sum(day.waterings for day in days)
    off = span_words(sum(day.cover_off_min for day in days) * 60_000)
    return f"airings by day {aired}; mistings by day {misted}; watered {watered} times; cover off for {off} in all"


def _water(days: Sequence[WaterDay], *, is_estimated: bool) -> str:
    lost = " ".join("?" if day.lost is None else str(round(100 * day.lost)) for day in days)
    told = [f"lost by the end of each day {lost} % of what it holds"]
    dry, full = (sum(getattr(day, what) for day in days) for what in ("too_dry_h", "above_full_h"))
    told.append(f"too dry for {hours_words(dry)}" if dry else "")
    told.append(f"more than it holds for {hours_words(full)}" if full and not is_estimated else "")
    changes = " ".join("?" if day.change_g is None else f"{round(day.change_g):+d}" for day in days)
    told.append(f"mass by day {changes} g" if any(day.change_g is not None for day in days) else "")
    told.append("estimated, since nobody said what the tray weighs full and dry" if is_estimated else "")
    return "; ".join(part for part in told if part)


def _alarms(alarms: Sequence[AlarmTime]) -> str:
    told = [one for one in alarms if not one.is_held_back]
    if not told:
        return "none that people were told"
    counts = Counter(one.alarm for one in told).most_common()
    names = [
        f"{name.replace('-', ' ')} {count} times" if count > 1 else name.replace("-", " ")
        for name, count in counts
    ]
    words = ", ".join(names[:_TOLD_ALARMS]) + (
        f", {len(names) - _TOLD_ALARMS} more" if len(names) > _TOLD_ALARMS else ""
    )
    answers = [one.acknowledged_ms - one.raised_ms for one in told if one.acknowledged_ms is not None]
    lasted = [one.returned_ms - one.raised_ms for one in told if one.returned_ms is not None]
    answered = f"{len(answers)} of {len(told)} acknowledged" + (
        f", after {span_words(round(median(answers)))} in the median" if answers else ""
    )
    over = f"returned after {span_words(round(median(lasted)))} in the median" if lasted else "none returned"
    return f"{words}; {answered}; {over}"


def _blind(blind: Sequence[Blind]) -> str:
    told = [words for one in blind if (words := _blind_words(one))]
    return "; ".join(told) if told else "nothing of note"


def _blind_words(one: Blind) -> str:
    parts = [
        f"unknown for {hours_words(one.unknown_h)}" if one.unknown_h >= 0.5 else "",
        f"stuck for {hours_words(one.stuck_h)}" if one.stuck_h else "",
        f"at its end for {hours_words(one.saturated_h)}" if one.saturated_h else "",
        f"{one.refused} reading{'' if one.refused == 1 else 's'} refused" if one.refused else "",
    ]
    told = ", ".join(part for part in parts if part)
    return f"{QUANTITIES[one.quantity].words} {told}" if told else ""
