"""The figures of the alarm system beside their targets: a table for people, an object for programs."""

from collections.abc import Iterator, Sequence
from typing import Any, Final, NamedTuple

from wardian.daemon.report import columns
from wardian.daemon.tongue import Tongue, span_words, utc_text
from wardian.rules.alarm_figures import AlarmFigures
from wardian.rules.alarm_targets import FREQUENT_JUDGED_FROM, TARGETS, Target, met
from wardian.rules.ports import Alarm
from wardian.rules.quantities import QUANTITIES


class _Figure(NamedTuple):
    """What people call an attribute of the figures, and its unit."""

    name: str
    words: str
    unit: str = ""


FIGURES: Final = (
    _Figure("days", "days looked at"),
    _Figure("alarms", "alarms"),
    _Figure("per_ten_minutes", "alarms in 10 min, on average"),
    _Figure("most_in_ten_minutes", "alarms in the worst 10 min"),
    _Figure("per_day", "alarms a day, on average"),
    _Figure("per_day_and_tray", "alarms a day of a tray, on average"),
    _Figure("crowded_pct", "10 min periods with more than 10 alarms", "%"),
    _Figure("flood_pct", "time in flood", "%"),
    _Figure("low_pct", "alarms of low priority", "%"),
    _Figure("medium_pct", "alarms of medium priority", "%"),
    _Figure("high_pct", "alarms of high priority", "%"),
    _Figure("frequent_pct", "share of the ten most frequent", "%"),
    _Figure("chattering_alarms", "alarms that chattered: 3 times in 1 min"),
    _Figure("most_stale_in_a_day", "alarms that stood over 24 h, on the worst day"),
    _Figure("median_answer_ms", "time to acknowledge, median", "ms"),
)
EMPTY: Final = "the journal is empty: nothing was raised yet, and there is nothing to make figures of"
_ANSWERS: Final = "median_answer_ms"
HEADINGS: Final = ("figure", "value", "target", "met", "source")
_MET: Final = {True: "yes", False: "NO", None: ""}
#: More of a kind than anybody reads in a terminal; programs get all.
_LISTED: Final = 10


# ------------------------------------------------------------------------------------- for people


def figure_lines(site: Tongue, figures: AlarmFigures) -> Iterator[str]:
    """Yield every figure with its target, who says so, and the alarms that are a nuisance."""
    yield f"alarms from {site.moment(figures.from_ms)} to {site.moment(figures.to_ms)}"
    rows, sources = figure_rows(figures)
    yield from columns([HEADINGS, *rows])
    yield from (f"  [{number}] {source}" for number, source in enumerate(sources, start=1))
    yield from remark_lines(site, figures)


def figure_rows(figures: AlarmFigures) -> tuple[list[tuple[str, ...]], list[str]]:
    """Return a row for every figure, and the sources that its last cell counts from 1."""
    sources = list(dict.fromkeys(target.source for target in TARGETS.values()))
    return [_row(figures, one, sources) for one in FIGURES], sources


def remark_lines(site: Tongue, figures: AlarmFigures) -> Iterator[str]:
    """Yield what is to be minded of the figures, and the alarms that are a nuisance."""
    yield "The rates of staffed plants are the most that a person can bear; for one grower they are no goal."
    if figures.alarms and met(figures, "frequent_pct") is None:
        yield (
            f"The share of the ten most frequent is not judged: ten of fewer than {FREQUENT_JUDGED_FROM} alarms "
            f"always have more than {TARGETS['frequent_pct'].limit} %."
        )
    yield from _nuisances(site, figures)


def _row(figures: AlarmFigures, figure: _Figure, sources: Sequence[str]) -> tuple[str, ...]:
    target = TARGETS.get(figure.name)
    return (
        figure.words,
        _value_words(figures, figure),
        _target_words(target, figure.unit),
        _MET[met(figures, figure.name)],
        f"[{sources.index(target.source) + 1}]" if target else "",
    )


def _value_words(figures: AlarmFigures, figure: _Figure) -> str:
    value = getattr(figures, figure.name)
    if figure.name == _ANSWERS:
        if value is None:
            return "nobody acknowledged anything yet"
        return f"{span_words(round(value))} ({len(figures.answers_ms)} of {figures.alarms})"
    if value is None:
        return "no alarm"
    unit = f" {figure.unit}" if figure.unit else ""
    return f"{_number(value)}{unit}"


def _number(value: float) -> str:
    if isinstance(value, int):
        return str(value)
    return "under 0.01" if 0 < value < 0.01 else f"{value:.2f}"


def _target_words(target: Target | None, unit: str) -> str:
    if target is None:
        return "no target"
    words = f"{target.side} {target.limit}{f' {unit}' if unit else ''}"
    return words if target.manageable is None else f"{words} ({target.manageable} can be managed)"


def _nuisances(site: Tongue, figures: AlarmFigures) -> Iterator[str]:
    frequent = [
        ("once" if one.raises == 1 else f"{one.raises} times", _alarm_words(one.alarm, one.name))
        for one in figures.frequent
    ]
    yield from _listed("most frequent:", frequent)
    chattering = [
        (f"{one.most_in_a_minute} times in 1 min", _alarm_words(one.alarm, one.name))
        for one in figures.chattering
    ]
    yield from _listed("chattering:", chattering)
    stale = [
        (site.moment(one.from_ms), span_words(one.to_ms - one.from_ms), _alarm_words(one.alarm, one.name))
        for one in figures.stale
    ]
    yield from _listed("stood over 24 h:", stale)
    floods = [(site.moment(from_ms), span_words(to_ms - from_ms)) for from_ms, to_ms in figures.floods]
    yield from _listed("floods:", floods)


def _listed(heading: str, rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    if rows:
        yield heading
        yield from columns(rows[:_LISTED])
    if len(rows) > _LISTED:
        yield f"  and {len(rows) - _LISTED} more"


def _alarm_words(alarm: Alarm, name: str) -> str:
    known = QUANTITIES.get(alarm.quantity)
    of = known.words if known else alarm.quantity
    return f"{alarm.tray}: {name} ({of})" if of else f"{alarm.tray}: {name}"


# ------------------------------------------------------------------------------------ for programs


def figures_json(figures: AlarmFigures | None) -> dict[str, Any]:
    """Return the figures as a JSON object; ``from`` and ``to`` are null where the journal is empty."""
    if figures is None:
        return {"from": None, "to": None, "figures": []}
    return {
        "from": utc_text(figures.from_ms),
        "to": utc_text(figures.to_ms),
        "trays": figures.trays,
        "figures": [_figure_json(figures, one) for one in FIGURES],
        "acknowledged": len(figures.answers_ms),
        "most_frequent": [
            _alarm_json(one.alarm, one.name) | {"raises": one.raises} for one in figures.frequent
        ],
        "chattering": [
            _alarm_json(one.alarm, one.name) | {"most_in_a_minute": one.most_in_a_minute}
            for one in figures.chattering
        ],
        "stale": [
            _alarm_json(one.alarm, one.name) | _span_json(one.from_ms, one.to_ms) for one in figures.stale
        ],
        "floods": [_span_json(*span) for span in figures.floods],
    }


def _figure_json(figures: AlarmFigures, figure: _Figure) -> dict[str, Any]:
    target = TARGETS.get(figure.name)
    return {
        "name": figure.name,
        "value": getattr(figures, figure.name),
        "unit": figure.unit,
        "target": target and {"side": target.side, "limit": target.limit, "manageable": target.manageable},
        "met": met(figures, figure.name),
        "source": target and target.source,
    }


def _alarm_json(alarm: Alarm, name: str) -> dict[str, Any]:
    return {**alarm._asdict(), "alarm": name}


def _span_json(from_ms: int, to_ms: int) -> dict[str, Any]:
    return {"from": utc_text(from_ms), "to": utc_text(to_ms)}
