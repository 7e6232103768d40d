"""One tray as it stands on the bench: what it is, what it reads against its bands, its alarms and what is due."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from typing import Any, Final, NamedTuple

from wardian.daemon.care_today import TrayCare
from wardian.daemon.care_words import DUE, LATER, LEFT_OUT, clock, state_of
from wardian.daemon.config import Config
from wardian.daemon.look import QuantityNow, TrayNow
from wardian.daemon.page.forms import Typing, alarm_forms, returned_form
from wardian.daemon.page.marks import BEYOND, UNKNOWN, WITHIN, gauge, mark
from wardian.daemon.page.markup import Child, Html, element
from wardian.daemon.report import life_words
from wardian.daemon.tongue import Tongue, by_factor, ms_of, span_words
from wardian.rules.care_advice import TITLES
from wardian.rules.quantities import QUANTITIES

#: Read first and large, in this order, where a tray has them, and in a word.
_FIRST: Final = {
    "air_temperature": "Air",
    "medium_temperature": "Medium",
    "relative_humidity": "Humidity",
    "vapour_pressure_deficit": "VPD",
}
_SIDE: Final = {
    "high_high": "far too high",
    "high": "too high",
    "low_low": "far too low",
    "low": "too low",
}
_URGENT: Final = {"high": 0, "medium": 1, "low": 2}


class Told(NamedTuple):
    """What is needed to tell of any tray."""

    config: Config
    tongue: Tongue
    typing: Typing
    now_ms: int
    #: The lines that say why, what follows and what to do.
    to_do: Callable[[Mapping[str, Any]], Sequence[str]]


# ------------------------------------------------------------------------------------------ values


def value_words(tongue: Tongue, now: QuantityNow) -> str:
    """Return a present value, or that it is unknown and what it was."""
    quantity = QUANTITIES[now.name]
    if now.value is not None:
        words = tongue.uncertain(quantity, now.value, now.uncertainty)
        words += " (estimated)" if now.is_estimated else ""
        words += f" seen, {tongue.value(quantity, now.unseen)} unseen" if now.unseen > 0 else ""
        return words + by_factor(now.lux_per_umol)
    if now.last_value is not None and now.age_s is not None:
        return (
            f"unknown, was {tongue.value(quantity, now.last_value)} {span_words(round(now.age_s * 1000))} ago"
        )
    return "unknown, never read"


def state_words(now: QuantityNow) -> str:
    """Return how a value stands to its band."""
    if now.state == BEYOND:
        return next((words for limit, words in _SIDE.items() if limit in now.beyond), "beyond its band")
    if now.state == UNKNOWN:
        return "unknown"
    return "within" if now.band else "no band"


def _in_order(quantities: Sequence[QuantityNow]) -> list[QuantityNow]:
    """Return quantities as they are read: those that are always looked for, then what is beyond."""

    def place(now: QuantityNow) -> tuple[int, bool]:
        return list(_FIRST).index(now.name) if now.name in _FIRST else len(_FIRST), now.state != BEYOND

    return sorted(quantities, key=place)


def _large(tongue: Tongue, now: QuantityNow) -> Html:
    """Return a value that can be read from two metres."""
    quantity = QUANTITIES[now.name]
    if now.value is None:
        reading: Child = [
            element("b", "unknown"),
            element("small", value_words(tongue, now).removeprefix("unknown, ")),
        ]
    else:
        number, _, unit = tongue.value(quantity, now.value).partition(" ")
        spread = value_words(tongue, now)
        same = spread == f"{number} {unit}"
        reading = [element("b", number, element("i", f" {unit}")), None if same else element("small", spread)]
    return element(
        "div",
        element("dt", element("abbr", _FIRST.get(now.name, quantity.words), title=quantity.words)),
        element("dd", reading, gauge(now), _told_against(tongue, now)),
        class_=f"value {now.state}",
    )


def _against(tongue: Tongue, now: QuantityNow) -> str:
    """Return how a value stands to its band, nothing where it has none."""
    if not now.band:
        return ""
    band, state = tongue.band(QUANTITIES[now.name], now.band), state_words(now)
    if now.state == BEYOND:
        return f"{state}; wanted {band}"
    return f"wanted {band}" if now.state == UNKNOWN else f"{state}{' ' if band[0].isdigit() else ': '}{band}"


def _told_against(tongue: Tongue, now: QuantityNow) -> Html | None:
    words = _against(tongue, now)
    return element("span", words, class_="against") if words else None


def _small(tongue: Tongue, now: QuantityNow) -> Html:
    # What has no band cannot be within it.
    quantity, state = QUANTITIES[now.name], now.state if now.band or now.state == UNKNOWN else ""
    return element(
        "div",
        element("dt", mark(state) if state else None, quantity.words),
        element(
            "dd",
            element("b", value_words(tongue, now)),
            " ",
            element("span", _against(tongue, now), class_="against"),
        ),
        class_=f"line {state}".rstrip(),
    )


def values(tongue: Tongue, tray: TrayNow) -> list[Child]:
    """Return all values of a tray: those read first large, the others a line each."""
    ordered = _in_order(tray.quantities)
    large = [now for now in ordered if now.name in _FIRST]
    small = [now for now in ordered if now not in large]
    if not ordered:
        return [element("p", "Nothing is known of it, and no band is set.")]
    return [
        element("dl", [_large(tongue, now) for now in large], class_="large"),
        element("dl", [_small(tongue, now) for now in small], class_="small") if small else None,
    ]


# ------------------------------------------------------------------------------------------ the whole


def tray_state(tray: TrayNow, alarms: Sequence[Mapping[str, Any]]) -> str:
    """Return the worst that is known of a tray; what is not known is never within."""
    if any(now.state == BEYOND for now in tray.quantities) or alarms:
        return BEYOND
    banded = [now for now in tray.quantities if now.band]
    if not banded or any(now.state == UNKNOWN for now in banded):
        return UNKNOWN
    return WITHIN


def headline(tray: TrayNow, alarms: Sequence[Mapping[str, Any]]) -> str:
    """Return how a tray is, in a few words."""
    if alarms:
        first = min(alarms, key=lambda one: _URGENT.get(one["priority"], len(_URGENT)))
        more = f" and {len(alarms) - 1} more" if len(alarms) > 1 else ""
        return f"{first['alarm'].replace('-', ' ').capitalize()}{more}"
    beyond = [
        f"{QUANTITIES[now.name].words} {state_words(now)}" for now in tray.quantities if now.state == BEYOND
    ]
    if beyond:
        return f"{', '.join(beyond).capitalize()}, not for long enough to be an alarm"
    unknown = [QUANTITIES[now.name].words for now in tray.quantities if now.state == UNKNOWN and now.band]
    if unknown:
        return f"Unknown: {', '.join(unknown)}" if len(unknown) < 3 else f"Unknown: {len(unknown)} values"
    return "All within" if any(now.band for now in tray.quantities) else "Nothing to judge by now"


def what_it_is(tray: TrayNow) -> str:
    """Return crop, day and stage of a tray."""
    stage = tray.stage or ("before sticking" if tray.day < 0 else "no stage yet")
    return f"{tray.crop}, day {tray.day}, {stage}"


def alarm_part(told: Told, fields: Mapping[str, Any], *, in_full: bool = False) -> Html:
    """Return an alarm with its cause, what to do, where its life is, and what may be done to it; in full with all that is said of it."""
    why, follows, to_do = told.to_do(fields) if fields.get("abnormal", True) else ("", "", "")
    since = f" since {told.tongue.moment(ms_of(fields['since']))}" if fields.get("since") else ""
    words = [fields["message"] if in_full or not why else "", why, follows if in_full else ""]
    return element(
        "article",
        element("h3", mark(BEYOND), f"{fields['alarm'].replace('-', ' ').capitalize()}"),
        element(
            "p", f"{fields['priority']} priority{since}, {life_words(told.config, fields)}", class_="life"
        ),
        [element("p", one) for one in words if one],
        element("p", to_do, class_="do") if to_do else None,
        alarm_forms(fields, told.typing),
        class_=f"alarm {fields['priority']}",
    )


def returned_part(told: Told, tray: str, returned: Sequence[Mapping[str, Any]]) -> Html | None:
    """Return the alarms of a tray that returned unseen, out of the way until somebody opens them."""
    if not returned:
        return None
    count = "1 alarm" if len(returned) == 1 else f"{len(returned)} alarms"
    summary = element(
        "summary", f"{count} returned, and nobody has acknowledged {'it' if len(returned) == 1 else 'them'}"
    )
    rows = [element("li", one["message"]) for one in returned]
    return element(
        "details", summary, element("ul", rows), returned_form(tray, told.typing), class_="returned"
    )


def due_part(told: Told, care: TrayCare | None) -> Html | None:
    """Return what is due at a tray, what was left out and what comes next today."""
    if care is None or not care.tasks:
        return None
    rows = list(_due_rows(told, care))
    return element("dl", rows, class_="due") if rows else None


def _due_rows(told: Told, care: TrayCare) -> Iterator[Html]:
    for state, words in ((DUE, "Due now"), (LEFT_OUT, "Left out"), (LATER, "Next")):
        own = [task for task in care.tasks if state_of(task, told.now_ms) == state]
        if own:
            first = clock(told.tongue, own[0].at_ms)
            titles = ", ".join(
                dict.fromkeys(
                    TITLES[task.name] for task in own if state != LATER or task.at_ms == own[0].at_ms
                )
            )
            yield element(
                "div", element("dt", f"{words} {first}" if state == LATER else words), element("dd", titles)
            )
