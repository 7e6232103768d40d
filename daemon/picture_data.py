"""A picture of a tray made of its readings, of what the journal tells of its alarms, and of the care it was given.

The rule of this file: what is derived is made by the same formulas as the engine's, and nothing is smoothed.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import zip_longest
from typing import Any, Final, NamedTuple

import numpy as np

from wardian.daemon.config import TraySettings
from wardian.daemon.lives import alarm_of
from wardian.daemon.picture import (
    AlarmShown,
    BandSpan,
    Curve,
    LightStrip,
    Mark,
    Panel,
    Picture,
    StageShown,
)
from wardian.daemon.picture_words import picture_title, picture_words
from wardian.daemon.tongue import Tongue, ms_of, utc_text
from wardian.rules.columns import Columns, columns, standing, unknown_spans
from wardian.rules.derived import derive, formulas
from wardian.rules.judging import Stretch
from wardian.rules.light_days import day_around_ms, light_days, lit_spans
from wardian.rules.plans import TrayPlan
from wardian.rules.quantities import LEAF_DEFICIT, SATURATION_PCT
from wardian.rules.readings import Chunk, Points, Series
from wardian.rules.shares import Span
from wardian.rules.transitions import RAISED, RETURNED
from wardian.rules.uncertainty import UNCERTAINTIES, expanded_uncertainty
from wardian.rules.water import lost_pct_array

#: The panels from the top down: name, what it is called, and the quantities that share its axis.
PANELS: Final = (
    ("temperature", "Temperature", ("air_temperature", "medium_temperature", "leaf_temperature")),
    ("humidity", "Humidity", ("relative_humidity",)),
    ("deficit", "Vapour pressure deficit", ("vapour_pressure_deficit", LEAF_DEFICIT)),
    ("water", "Water lost", ("water_lost",)),
    ("mass", "Tray mass", ("tray_mass",)),
    ("moisture", "Water in the medium", ("medium_moisture",)),
)
_LIGHTS: Final = ("illuminance", "ppfd")
#: So many columns show each pixel of a picture of usual width.
COLUMNS: Final = 900


class Told(NamedTuple):
    """All that is known of a time at the bench.

    Attributes:
        chunk: Readings, also those from before the time that still stood at its beginning.
        entries: The journal in the order it was written: all that was written since the beginning of the time, and
            what stood then.
        marks: Care and changes of stage, by tray, in order of time.
    """

    chunk: Chunk
    entries: Sequence[Mapping[str, Any]]
    marks: Mapping[str, Sequence[Mark]]


def lead_ms(plan: TrayPlan, span: Span) -> int:
    """Return from when on readings are needed for a picture: the light of its first day, and what stood before."""
    return day_around_ms(span[0], plan.zone)[0] - plan.hold_ms


def picture_of(
    tray: TraySettings, told: Told, span: Span, tongue: Tongue, *, count: int = COLUMNS
) -> Picture:
    """Return what is to be drawn of a tray between two instants, in so many columns.

    Raises:
        ValueError: The time is empty.
    """
    if span[0] >= span[1]:
        raise ValueError("the picture would show no time: its end is not after its beginning")
    plan = tray.plan
    stretches = _stretches(plan, told.chunk)
    stages = tuple(_stages(plan, span))
    panels = tuple(_panels(plan, stretches, span, count))
    light = _light(plan, told.chunk, span, tongue)
    alarms = tuple(_alarms(tray.name, told.entries, span))
    marks = tuple(one for one in told.marks.get(tray.name, ()) if span[0] <= one.time_ms < span[1])
    picture = Picture(tray.name, "", "", span, tongue, panels, light, stages, alarms, marks)
    return replace(picture, title=picture_title(picture, tray.crop.name), words=picture_words(picture))


# --------------------------------------------------------------------------------------------- series


def _stretches(plan: TrayPlan, chunk: Chunk) -> dict[str, Stretch]:
    """Return what stood of each quantity of a tray, measured and derived."""
    found = {
        series.quantity: standing(points, plan.hold_ms)
        for series, points in chunk.items()
        if series.tray == plan.tray
    }
    if "relative_humidity" in found:
        humidity = found["relative_humidity"]
        pct = np.minimum(humidity.for_high, SATURATION_PCT)
        found["relative_humidity"] = humidity._replace(for_low=pct, for_high=pct)
    for quantity in ("vapour_pressure_deficit", LEAF_DEFICIT):
        formula = formulas(plan.leaf_offset_k)[quantity]
        if all(name in found for name in formula.inputs):
            inputs = [found[name] for name in formula.inputs]
            found[quantity] = derive(formula, inputs, [None] * len(inputs))
    if plan.masses and "tray_mass" in found:
        mass = found["tray_mass"]
        mass = mass.between(plan.masses[0].from_ms, int(np.iinfo(np.int64).max))
        lost = lost_pct_array(mass.from_ms, mass.for_high, plan.masses)
        found["water_lost"] = mass._replace(for_low=lost, for_high=lost)
    return found


def _panels(plan: TrayPlan, stretches: Mapping[str, Stretch], span: Span, count: int) -> Iterable[Panel]:
    for name, words, quantities in PANELS:
        curves = [
            _curve(plan, stretches, (quantity, span, count))
            for quantity in quantities
            if _is_shown(plan, stretches, quantity)
        ]
        if curves:
            yield Panel(name, words, tuple(curves))


def _is_shown(plan: TrayPlan, stretches: Mapping[str, Stretch], quantity: str) -> bool:
    """Return whether a quantity is worth a curve; what the tray weighs is not, where that says what it has lost."""
    if quantity == "tray_mass" and "water_lost" in stretches:
        return False
    if quantity == LEAF_DEFICIT and not any(quantity in span.stage.bands for span in plan.spans):
        return False
    return quantity in stretches or quantity in plan.silent_after_ms


def _curve(plan: TrayPlan, stretches: Mapping[str, Stretch], which: tuple[str, Span, int]) -> Curve:
    quantity, span, count = which
    nothing = Stretch(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0))
    stretch = stretches.get(quantity, nothing)
    shown = columns(stretch, span, count)
    return Curve(
        quantity,
        shown,
        _doubt(plan, stretches, which, shown) if quantity in UNCERTAINTIES else None,
        tuple(_bands(plan, quantity, span)),
        tuple(unknown_spans(stretch, span)),
    )


def _doubt(
    plan: TrayPlan, stretches: Mapping[str, Stretch], which: tuple[str, Span, int], shown: Columns
) -> Columns | None:
    """Return the columns of a derived quantity with its expanded uncertainty at the middle of those of its inputs."""
    quantity, span, count = which
    names = formulas(plan.leaf_offset_k)[quantity].inputs
    if not all(name in stretches and name in plan.accuracies for name in names):
        return None
    inputs = [columns(stretches[name], span, count) for name in names]
    middles = np.array([(one.low + one.high) / 2 for one in inputs])
    known = ~np.isnan(middles).any(axis=0) & ~np.isnan(shown.low)
    spread = np.full(count, np.nan)
    spread[known] = [
        expanded_uncertainty(quantity, column.tolist(), plan.accuracies, plan.leaf_offset_k) or 0.0
        for column in middles[:, known].T
    ]
    return Columns(np.maximum(shown.low - spread, 0.0), shown.high + spread)


# ---------------------------------------------------------------------------------- what lies behind and on


def _stages(plan: TrayPlan, span: Span) -> Iterable[StageShown]:
    for begun, following in zip_longest(plan.spans, plan.spans[1:]):
        from_ms = max(begun.from_ms, span[0])
        to_ms = min(following.from_ms if following else span[1], span[1])
        if from_ms < to_ms:
            yield StageShown(from_ms, to_ms, begun.stage.name)


def _bands(plan: TrayPlan, quantity: str, span: Span) -> Iterable[BandSpan]:
    for begun, following in zip_longest(plan.spans, plan.spans[1:]):
        from_ms = max(begun.from_ms, span[0])
        to_ms = min(following.from_ms if following else span[1], span[1])
        if from_ms < to_ms and quantity in begun.stage.bands:
            yield BandSpan(from_ms, to_ms, begun.stage.bands[quantity])


def _light(plan: TrayPlan, chunk: Chunk, span: Span, tongue: Tongue) -> LightStrip | None:
    light = {name: chunk[Series(plan.tray, name)] for name in _LIGHTS if Series(plan.tray, name) in chunk}
    if plan.lamp is None or plan.lamp.quantity not in light:
        return None
    points: Points = light[plan.lamp.quantity]
    days_from_ms, _ = day_around_ms(span[0], tongue.zone)
    return LightStrip(
        lit=tuple(lit_spans(points, plan, span)),
        unknown=tuple(unknown_spans(standing(points, plan.hold_ms), span)),
        days=tuple(light_days(light, plan, (days_from_ms, span[1]), tongue.zone)),
        is_estimated=plan.lux_per_umol is not None,
    )


def _alarms(tray: str, entries: Iterable[Mapping[str, Any]], span: Span) -> list[AlarmShown]:
    """Return the alarms of a tray that stood at any time of a span, in the order in which they were raised."""
    open_: dict[tuple[str, str, str], Mapping[str, Any]] = {}
    found = []
    for fields in entries:
        if fields["tray"] != tray or fields["event"] not in (RAISED, RETURNED):
            continue
        alarm = alarm_of(fields)
        # Whose raise is not among the entries was raised before them.
        raised = open_.pop(alarm, _before(fields, span) if fields["event"] == RETURNED else None)
        if raised is not None:
            found.append(_alarm(raised, ms_of(fields["time"]), span, stands=False))
        if fields["event"] == RAISED:
            open_[alarm] = fields
    found += [_alarm(raised, span[1], span, stands=True) for raised in open_.values()]
    shown = [one for one in found if one is not None]
    return sorted(shown, key=lambda one: (one.from_ms, one))


def _before(fields: Mapping[str, Any], span: Span) -> Mapping[str, Any]:
    return {**fields, "time": utc_text(span[0] - 1)}


def _alarm(raised: Mapping[str, Any], to_ms: int, span: Span, *, stands: bool) -> AlarmShown | None:
    from_ms = ms_of(raised["time"])
    if from_ms >= span[1] or to_ms < span[0]:
        return None
    return AlarmShown(
        raised["alarm"],
        raised["priority"],
        raised["quantity"],
        max(from_ms, span[0]),
        min(to_ms, span[1]),
        stands or to_ms > span[1],
    )
