"""What stands above and below the panels of a picture: its name, stages, care, alarms, light, time and what signs mean.

The rule of this file: each lane says its height before it is drawn, and no state is told by colour alone.
"""

from collections.abc import Callable, Iterator
from functools import partial
from itertools import groupby, pairwise
from typing import Final, NamedTuple

from wardian.daemon.picture import AlarmShown, LightStrip, Picture
from wardian.daemon.picture_scale import ticks
from wardian.daemon.picture_sheet import Ruler, Sheet, width_of
from wardian.daemon.record_words import DONE
from wardian.rules.care_given import ALCOHOL, CLEANED, FED, LIFTED, LOOKED, MISTED, WATERED, WIPED
from wardian.rules.light_days import LightDay

#: How each event is marked; another one, such as a change of stage, by ``_OTHER``.
SIGNS: Final = {
    LIFTED: "^",
    MISTED: "d",
    WATERED: "v",
    FED: "p",
    WIPED: "s",
    LOOKED: "o",
    CLEANED: "X",
    ALCOHOL: "D",
}
_OTHER: Final = ">"
#: So many lanes of alarms; what more there are is counted.
_MOST_ALARMS: Final = 8
_LANE_PX: Final = 17.0


class Lane(NamedTuple):
    """A part of the sheet: how high it is, and what draws it from its upper edge on. In px."""

    height: float
    draw: Callable[[Sheet, float], None]


def above(ruler: Ruler) -> Iterator[Lane]:
    """Yield the lanes above the panels."""
    picture = ruler.picture
    yield Lane(44, _heading)
    if picture.stages:
        yield Lane(24, _stages)
    if picture.marks:
        yield Lane(22, _care)
    lanes = _alarm_lanes(picture)
    for some in lanes[:_MOST_ALARMS]:
        height = _LANE_PX * (1 if _place_beside(ruler, some) else 2)
        yield Lane(height, partial(_alarm_lane, some=some, place=_place_beside(ruler, some)))
    if lanes[_MOST_ALARMS:]:
        rest = f"and {len(lanes) - _MOST_ALARMS} more kinds of alarms"
        yield Lane(_LANE_PX, partial(_rest, words=rest))


def below(picture: Picture, width: int) -> Iterator[Lane]:
    """Yield the lanes below the panels."""
    if picture.light:
        light = picture.light
        rows = max((len(_day_rows(day)) for day in light.days), default=0)
        yield Lane(44.0 + 12 * rows, partial(_light, light=light))
    yield Lane(36, _time_and_bench)
    legend = _legend_rows(picture, width)
    yield Lane(18.0 * len(legend) + 8, partial(_legend, rows=legend))


def _heading(sheet: Sheet, top: float) -> None:
    name, _, days = sheet.picture.title.partition(", ")
    sheet.text(sheet.left - 8, top + 16, name, fontsize=15, fontweight="bold")
    sheet.text(sheet.left - 8, top + 34, days, "soft")


def _stages(sheet: Sheet, top: float) -> None:
    for from_ms, to_ms, name in sheet.picture.stages:
        left, right = sheet.x(from_ms), sheet.x(to_ms)
        sheet.line((left, left, right, right), (top + 17, top + 13, top + 13, top + 17), "stage")
        words = name if width_of(name) <= right - left else ""
        sheet.text((left + right) / 2, top + 6, words, "stage", ha="center", fontweight="bold")


def _care(sheet: Sheet, top: float) -> None:
    sheet.text(sheet.left - 8, top + 10, "care", "care", ha="right")
    for one in sheet.picture.marks:
        sign = SIGNS.get(one.event, _OTHER)
        sheet.mark(sheet.x(one.time_ms), top + 10, sign, "care", is_filled=one.is_recorded)


# ---------------------------------------------------------------------------------------------- alarms


def _alarm_lanes(picture: Picture) -> list[list[AlarmShown]]:
    """Return the alarms of each kind together, the kind that was raised first on top."""
    first = list(dict.fromkeys((one.alarm, one.quantity) for one in picture.alarms))
    ordered = sorted(picture.alarms, key=lambda one: (first.index((one.alarm, one.quantity)), one.from_ms))
    return [list(some) for _, some in groupby(ordered, key=lambda one: (one.alarm, one.quantity))]


def _rest(sheet: Sheet, top: float, words: str) -> None:
    sheet.text(sheet.left, top + 8, words, "alarm")


def _alarm_lane(sheet: Sheet, top: float, some: list[AlarmShown], place: tuple[float, str] | None) -> None:
    """Draw the alarms of a kind, with their name beside them where it covers none, else above them."""
    if place is None:
        sheet.text(sheet.left, top + 8, _alarm_words(some), "alarm")
        top += _LANE_PX
    else:
        x, side = place
        sheet.text(x, top + 8, _alarm_words(some), "alarm", ha=side)
    for one in some:
        ends = sheet.x(one.from_ms), sheet.x(one.to_ms)
        if one.priority == "high":
            sheet.bar(*ends, (top + 3, top + 13), "alarm")
        else:
            hatch = "////" if one.priority == "medium" else ""
            sheet.hatched(*ends, (top + 3, top + 13), "alarm", hatch=hatch)


def _alarm_words(some: list[AlarmShown]) -> str:
    return f"{some[0].alarm} ({some[0].priority}{', stands' if some[-1].stands else ''})"


def _place_beside(ruler: Ruler, some: list[AlarmShown]) -> tuple[float, str] | None:
    """Return where the name of alarms covers none of them and on which side of it that is, None for nowhere."""
    wide = width_of(_alarm_words(some)) + 12
    after = max(ruler.x(one.to_ms) for one in some)
    if after + wide <= ruler.width:
        return after + 6, "left"
    before = ruler.x(some[0].from_ms)
    if before >= wide:
        return before - 6, "right"
    for one, following in pairwise(some):
        if ruler.x(following.from_ms) - ruler.x(one.to_ms) >= wide:
            return ruler.x(one.to_ms) + 6, "left"
    return None


# ------------------------------------------------------------------------------------------------ light


def _light(sheet: Sheet, top: float, light: LightStrip) -> None:
    """Draw when the lamp was lit, and below it the sums of each day."""
    about = " and daily photons (an estimate of lux)" if light.is_estimated else " and daily photons"
    has_photons = any(day.photons for day in light.days)
    words = f"Light: hours lit{about if has_photons else ''}"
    sheet.text(sheet.left, top + 10, words, fontweight="bold")
    upper, lower = top + 22, top + 34
    sheet.line((sheet.left, sheet.right), (lower, lower), "soil", linewidth=1.4)
    for from_ms, to_ms in light.lit:
        sheet.bar(sheet.x(from_ms), sheet.x(to_ms), (upper, lower), "lamp")
    for from_ms, to_ms in light.unknown:
        sheet.hatched(sheet.x(from_ms), sheet.x(to_ms), (upper, lower), "unknown", linewidth=0)
    for day in light.days:
        _day(sheet, lower + 10, day)


def _day(sheet: Sheet, y: float, day: LightDay) -> None:
    left, right = max(sheet.x(day.from_ms), sheet.left), sheet.x(day.to_ms)
    for place, words in enumerate(_day_rows(day)):
        if width_of(words, 10) <= right - left:
            sheet.text((left + right) / 2, y + 12 * place, words, "soft", ha="center", fontsize=10)


def _day_rows(day: LightDay) -> list[str]:
    rows = [f"{day.lit_h:.1f} h"]
    rows += [f"{day.photons.measured:.1f} mol"] if day.photons else []
    return [*rows, f"{day.unknown_h:.1f} h unknown"] if day.unknown_h >= 0.05 else rows


# ------------------------------------------------------------------------------------- time and signs


def _time_and_bench(sheet: Sheet, top: float) -> None:
    """Draw the bench on which the trays stand, and the time below its edge."""
    sheet.bar(sheet.left - 16, sheet.right + 16, (top, top + 4), "wood")
    for leg in (sheet.left - 12, sheet.right + 8):
        sheet.bar(leg, leg + 4, (top + 4, top + 26), "wood")
    taken: list[tuple[float, float]] = []
    every = ticks(sheet.picture.span, sheet.picture.tongue.zone, sheet.right - sheet.left)
    for tick in sorted(every, key=lambda one: not one.is_midnight):
        x = sheet.x(tick.time_ms)
        sheet.line((x, x), (top + 4, top + (10 if tick.is_midnight else 7)), "soft")
        half = width_of(tick.words, 10) / 2
        # Words stay between the legs.
        middle = min(max(x, sheet.left + half - 6), sheet.right + 6 - half)
        is_free = all(abs(middle - other) > half + its_half + 6 for other, its_half in taken)
        if tick.words and is_free:
            weight = "bold" if tick.is_midnight else "normal"
            sheet.text(middle, top + 18, tick.words, "soft", ha="center", fontsize=10, fontweight=weight)
            taken.append((middle, half))


def _legend_rows(picture: Picture, width: int) -> list[list[tuple[str, str]]]:
    """Return what signs mean, as rows that fit: sign and words."""
    events = dict.fromkeys(one.event for one in picture.marks)
    signs = [(SIGNS.get(one, _OTHER), DONE.get(one, "stage changed").lower()) for one in events]
    if any(not one.is_recorded for one in picture.marks):
        signs.append(("hollow", "hollow: by the traces alone"))
    if any(curve.bands for panel in picture.panels for curve in panel.curves):
        signs.append(("band", "band of the stage"))
    if any(curve.doubt for panel in picture.panels for curve in panel.curves):
        signs.append(("doubt", "uncertainty"))
    if any(curve.unknown for panel in picture.panels for curve in panel.curves) or (
        picture.light and picture.light.unknown
    ):
        signs.append(("unknown", "unknown"))
    signs += [("alarm", "alarm stood")] if picture.alarms else []
    rows: list[list[tuple[str, str]]] = [[]]
    used = 0.0
    for sign in dict.fromkeys(signs):
        wide = width_of(sign[1], 10) + 28
        if used + wide > width - 60 and rows[-1]:
            rows.append([])
            used = 0.0
        rows[-1].append(sign)
        used += wide
    return rows


def _legend(sheet: Sheet, top: float, rows: list[list[tuple[str, str]]]) -> None:
    for number, row in enumerate(rows):
        x, y = sheet.left - 8, top + 9 + 18.0 * number
        for sign, words in row:
            _sign(sheet, x, y, sign)
            sheet.text(x + 18, y, words, "soft", fontsize=10)
            x += width_of(words, 10) + 28


def _sign(sheet: Sheet, x: float, y: float, sign: str) -> None:
    box = (y - 5, y + 5)
    if sign == "band":
        sheet.bar(x, x + 12, box, "air", alpha=0.13)
        sheet.line((x, x + 12), (y - 5, y - 5), "air", dashes=(3, 2))
    elif sign == "doubt":
        sheet.bar(x, x + 12, box, "deficit", alpha=0.18)
        sheet.line((x, x + 12), (y, y), "deficit", linewidth=1.3)
    elif sign == "unknown":
        sheet.hatched(x, x + 12, box, "unknown", linewidth=0)
    elif sign == "alarm":
        sheet.bar(x, x + 12, box, "alarm", alpha=0.08)
        sheet.bar(x, x + 12, (y + 3, y + 5), "alarm")
    else:
        sheet.mark(x + 6, y, "o" if sign == "hollow" else sign, "care", is_filled=sign != "hollow")
