"""The panels of a picture: curves over the bands of their stages, each in a tray of its own that stands on the bench.

The rule of this file: a column is drawn from its least to its most, so that one reading beyond a limit is seen.
"""

from typing import Any, Final

import numpy as np
from matplotlib.axes import Axes
from matplotlib.path import Path
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from wardian.daemon.picture import Curve, Panel
from wardian.daemon.picture_colours import CURVES, LIGHT
from wardian.daemon.picture_scale import last_words, reach, shown, shown_one, ticks, unit_of
from wardian.daemon.picture_sheet import Sheet
from wardian.rules.readings import Values
from wardian.rules.shares import common, without

#: Of the words above a panel, of the panel itself, and of what is left below. [px]
HEAD_PX: Final = 22.0
_BODY_PX: Final = {"temperature": 132.0, "deficit": 96.0}
_OTHER_PX: Final = 84.0
_FOOT_PX: Final = 12.0
_SHORT: Final = {
    "air_temperature": "air",
    "medium_temperature": "medium",
    "leaf_temperature": "leaves",
    "vapour_pressure_deficit": "air",
    "leaf_vapour_pressure_deficit": "leaves",
}
#: Two labels beside a panel keep so far apart. [px]
_APART_PX: Final = 25.0


def panel_height(panel: Panel) -> float:
    """Return how high a panel is with its words. In px."""
    return HEAD_PX + _BODY_PX.get(panel.name, _OTHER_PX) + _FOOT_PX


def draw_panel(sheet: Sheet, top: float, panel: Panel) -> None:
    """Draw a panel whose words begin at ``top``."""
    body = (top + HEAD_PX, top + panel_height(panel) - _FOOT_PX)
    unit = unit_of(sheet.picture.tongue, panel.curves[0].quantity)
    sheet.text(sheet.left, top + HEAD_PX / 2, f"{panel.words}, {unit}", fontweight="bold")
    _tray(sheet, body)
    low, high = reach(sheet.picture.tongue, panel)
    axes = _axes(sheet, body, (low, high))
    for curve in panel.curves:
        _bands(sheet, axes, curve)
    _alarms(sheet, axes, panel)
    _unknown(sheet, axes, panel)
    for curve in panel.curves:
        _curve(sheet, axes, curve)
    _labels(sheet, panel, body, (low, high))


def _axes(sheet: Sheet, body: tuple[float, float], ends: tuple[float, float]) -> Axes:
    place = (
        sheet.left / sheet.width,
        1 - body[1] / sheet.height,
        (sheet.right - sheet.left) / sheet.width,
        (body[1] - body[0]) / sheet.height,
    )
    axes = sheet.figure.add_axes(place, frameon=False)
    axes.set_xlim(*sheet.picture.span)
    axes.set_ylim(*ends)
    axes.xaxis.set_visible(False)
    axes.yaxis.set_major_locator(MaxNLocator(4, steps=[1, 2, 2.5, 5, 10]))
    axes.tick_params(axis="y", length=0, pad=11, labelsize=10, labelcolor=LIGHT["soft"])
    axes.grid(visible=True, axis="y", color=LIGHT["grid"], linewidth=0.8)
    axes.set_axisbelow(True)
    for tick in ticks(sheet.picture.span, sheet.picture.tongue.zone, sheet.right - sheet.left):
        if tick.is_midnight:
            axes.axvline(tick.time_ms, color=LIGHT["grid"], linewidth=1.2, zorder=0.6)
    return axes


def _tray(sheet: Sheet, body: tuple[float, float]) -> None:
    """Draw the tray that a panel stands in, and the cover over it."""
    (top, bottom), left, right = body, sheet.left, sheet.right
    rim = bottom - 0.3 * (bottom - top)
    wall = [(left - 8, rim), (left - 4, rim), (left - 1, bottom + 3), (right + 1, bottom + 3)]
    wall += [(right + 4, rim), (right + 8, rim)]
    sheet.curve(wall, [Path.MOVETO, *[Path.LINETO] * 5], "soil", 2.4)
    arch = [(left - 4, rim - 3), (left - 4, top + 8), (left - 4, top - 3), (left + 8, top - 3)]
    arch += [(right - 8, top - 3), (right + 4, top - 3), (right + 4, top + 8), (right + 4, rim - 3)]
    bend = [Path.CURVE3, Path.CURVE3]
    sheet.curve(arch, [Path.MOVETO, Path.LINETO, *bend, Path.LINETO, *bend, Path.LINETO], "cover", 1.0)


def _bands(sheet: Sheet, axes: Axes, curve: Curve) -> None:
    """Draw the bands behind a curve: filled within the inner limits, a dotted line at the urgent ones."""
    colour, tongue = LIGHT[CURVES[curve.quantity]], sheet.picture.tongue
    bottom, top = axes.get_ylim()
    for from_ms, to_ms, band in curve.bands:
        inner = [band.threshold(name) for name in ("low", "high")]
        low, high = (None if one is None else shown_one(tongue, curve.quantity, one) for one in inner)
        floor, ceiling = bottom if low is None else low, top if high is None else high
        axes.fill_between([from_ms, to_ms], floor, ceiling, color=colour, alpha=0.13, linewidth=0, zorder=0.8)
        for limit in (low, high):
            if limit is not None:
                axes.plot(
                    [from_ms, to_ms], [limit] * 2, color=colour, linewidth=0.9, dashes=(5, 2), zorder=0.9
                )
        for name in ("low_low", "high_high"):
            outer = band.threshold(name)
            if outer is not None:
                value = shown_one(tongue, curve.quantity, outer)
                axes.plot(
                    [from_ms, to_ms],
                    [value] * 2,
                    color=LIGHT["alarm"],
                    linewidth=1,
                    dashes=(1, 3),
                    zorder=0.9,
                )


def _alarms(sheet: Sheet, axes: Axes, panel: Panel) -> None:
    """Mark in a panel when its alarms stood: a tint over its height and a strip at its foot."""
    quantities = {curve.quantity for curve in panel.curves}
    for one in sheet.picture.alarms:
        if one.quantity in quantities:
            axes.axvspan(one.from_ms, one.to_ms, color=LIGHT["alarm"], alpha=0.08, linewidth=0, zorder=0.7)
            axes.axvspan(one.from_ms, one.to_ms, 0, 0.035, color=LIGHT["alarm"], linewidth=0, zorder=3)


def _unknown(sheet: Sheet, axes: Axes, panel: Panel) -> None:
    """Hatch what is unknown: over the whole height where all is, else low down where a part of it is."""
    every = list(panel.curves[0].unknown)
    for curve in panel.curves[1:]:
        every = common(every, list(curve.unknown))
    how: dict[str, Any] = {
        "facecolor": "none",
        "edgecolor": LIGHT["unknown"],
        "hatch": "////",
        "linewidth": 0.0,
        "zorder": 1.0,
    }
    least_ms = (sheet.picture.span[1] - sheet.picture.span[0]) / (sheet.right - sheet.left) * 2
    for curve in panel.curves:
        for from_ms, to_ms in without(list(curve.unknown), every):
            axes.axvspan(from_ms, max(to_ms, from_ms + least_ms), 0.035, 0.12, **how)
    for from_ms, to_ms in every:
        axes.axvspan(from_ms, max(to_ms, from_ms + least_ms), **how)


def _curve(sheet: Sheet, axes: Axes, curve: Curve) -> None:
    colour, tongue = LIGHT[CURVES[curve.quantity]], sheet.picture.tongue
    from_ms, to_ms = sheet.picture.span
    count = len(curve.columns.low)
    middles = from_ms + (np.arange(count) + 0.5) * ((to_ms - from_ms) / count)
    if curve.doubt is not None:
        low, high = (shown(tongue, curve.quantity, one) for one in curve.doubt)
        axes.fill_between(middles, low, high, color=colour, alpha=0.18, linewidth=0, zorder=1.5)
    low, high = (shown(tongue, curve.quantity, one) for one in curve.columns)
    # With a line around it a column shows that is as high as it is low, and one that stands alone.
    axes.fill_between(*_wide(middles, low, high), color=colour, linewidth=1.3, joinstyle="round", zorder=2)


def _wide(middles: NDArray[Any], low: Values, high: Values) -> tuple[NDArray[Any], Values, Values]:
    """Return columns so that one with empty ones on both sides has a width, too."""
    known = ~np.isnan(low)
    alone = known & ~np.append(False, known[:-1]) & ~np.append(known[1:], False)
    if not alone.any():
        return middles, low, high
    step = middles[1] - middles[0] if len(middles) > 1 else 1.0
    places = np.repeat(np.arange(len(middles)), np.where(alone, 2, 1))
    xs = middles[places]
    second = np.append(False, places[1:] == places[:-1])
    return np.where(second, xs + step / 2, xs), low[places], high[places]


def _labels(sheet: Sheet, panel: Panel, body: tuple[float, float], ends: tuple[float, float]) -> None:
    """Write beside a panel which curve is which and where each ends, apart from each other."""
    top, bottom = body
    wanted = []
    for curve in panel.curves:
        last = shown(sheet.picture.tongue, curve.quantity, curve.columns.high)
        known = last[~np.isnan(last)]
        value = float(known[-1]) if len(known) else ends[0]
        y = bottom - (value - ends[0]) / (ends[1] - ends[0]) * (bottom - top)
        wanted.append((min(max(y, top + 8), bottom - 12), curve))
    wanted.sort(key=lambda one: one[0])
    lowest = bottom - 8 - _APART_PX * (len(wanted) - 1)
    y = top
    for wish, curve in wanted:
        y = max(y, min(wish, lowest))
        lowest += _APART_PX
        role, x = CURVES[curve.quantity], sheet.right + 12
        name = _SHORT.get(curve.quantity, "") if len(panel.curves) > 1 else ""
        if name:
            sheet.text(x, y - 6, name, role, fontsize=10)
        sheet.text(
            x, y + (6 if name else 0), last_words(sheet.picture, curve), role, fontweight="bold", fontsize=10
        )
        y += _APART_PX
