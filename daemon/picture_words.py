"""What a picture is called and what it shows in sentences, for whoever does not see it."""

from collections.abc import Iterator
from typing import Final

import numpy as np

from wardian.daemon.picture import Curve, Picture
from wardian.daemon.tongue import span_words
from wardian.rules.light_days import LightDay
from wardian.rules.quantities import QUANTITIES
from wardian.rules.shares import length_ms

#: So many alarms are told one by one.
_NAMED: Final = 6


def picture_title(picture: Picture, crop: str) -> str:
    """Return a line that names the tray, its crop and the time."""
    moment = picture.tongue.moment
    return f"{picture.tray}: {crop}, {moment(picture.span[0])} to {moment(picture.span[1])}"


def picture_words(picture: Picture) -> str:
    """Return what a picture shows, a sentence each for stages, curves, light, alarms and care."""
    return " ".join(_sentences(picture))


def _sentences(picture: Picture) -> Iterator[str]:
    if picture.stages:
        yield f"Stages: {', '.join(dict.fromkeys(one.name for one in picture.stages))}."
    for panel in picture.panels:
        yield from (f"{curve_words(picture, curve)}." for curve in panel.curves)
    if picture.light:
        yield f"Light: {'; '.join(day_words(day) for day in picture.light.days)}."
    yield from _alarm_sentences(picture)
    if picture.marks:
        yield f"Care: {len(picture.marks)} marks."


def curve_words(picture: Picture, curve: Curve) -> str:
    """Return between what a quantity moved, and for how long nobody knew it."""
    quantity = QUANTITIES[curve.quantity]
    name = quantity.words[0].upper() + quantity.words[1:]
    unknown_ms = length_ms(list(curve.unknown))
    unknown = f", unknown for {span_words(unknown_ms)}" if unknown_ms else ""
    if np.isnan(curve.columns.low).all():
        return f"{name}: unknown all the time"
    low, high = float(np.nanmin(curve.columns.low)), float(np.nanmax(curve.columns.high))
    least, _, _ = picture.tongue.value(quantity, low).partition(" ")
    return f"{name}: {least} to {picture.tongue.value(quantity, high)}{unknown}"


def day_words(day: LightDay) -> str:
    """Return a local day's light: ``Wed 4: 18.0 h lit, 2.1 h unknown, 12.3 mol m⁻²``."""
    unknown = f", {day.unknown_h:.1f} h unknown" if day.unknown_h >= 0.05 else ""
    photons = f", {day.photons.measured:.1f} mol m⁻²" if day.photons else ""
    return f"{day.day:%a} {day.day.day}: {day.lit_h:.1f} h lit{unknown}{photons}"


def _alarm_sentences(picture: Picture) -> Iterator[str]:
    if not picture.alarms:
        yield "No alarm."
        return
    told = [
        f"{one.alarm} ({one.priority}) from {picture.tongue.moment(one.from_ms)} "
        + ("and it stands" if one.stands else f"to {picture.tongue.moment(one.to_ms)}")
        for one in picture.alarms[:_NAMED]
    ]
    rest = len(picture.alarms) - len(told)
    yield f"Alarms: {'; '.join(told)}{f'; and {rest} more' if rest else ''}."
