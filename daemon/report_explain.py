"""What ``wardian alarms --explain`` says, as plain lines."""

from collections.abc import Iterator, Sequence
from typing import Final

from wardian.daemon.acts import watched
from wardian.daemon.config import Config
from wardian.daemon.explain import DEFAULT, LIBRARY, WAITING, Explanation, LimitHere, SilenceHere
from wardian.daemon.report import columns
from wardian.daemon.tongue import Tongue
from wardian.rules.amounts import duration_words
from wardian.rules.quantities import QUANTITIES, Quantity

_ADVICE: Final = (
    ("Priority", "priority"),
    ("Likely", "cause"),
    ("If nothing is done", "consequence"),
    ("To do", "action"),
    ("How soon", "within"),
)
_NOT_WRITTEN: Final = (LIBRARY, DEFAULT)
_IN_DOUBT: Final = "A breach smaller than its uncertainty has priority medium."


def explained_lines(config: Config | None, one: Explanation) -> Iterator[str]:
    """Yield an alarm in full: what raises it here, what it asks for, and where each of that is from."""
    yield one.advice.alarm
    if one.quantity:
        yield f"  Raised by {one.condition}, known and without a break for the on-delay;"
        yield "  over when within again, by the deadband, for the off-delay."
        yield from _about_limits(config, one)
    else:
        yield f"  Raised when {one.condition}."
        yield from _about_silences(one)
        yield from _about_figures(config, one)
    yield ""
    for words, name in _ADVICE:
        yield f"  {words}: {getattr(one.advice, name)}  # {one.sources[name]}"
    if one.may_be_in_doubt:
        yield f"  {_IN_DOUBT}"


def _about_limits(config: Config | None, one: Explanation) -> Iterator[str]:
    if config is not None and not one.limits:
        yield "  No tray of this configuration has this limit."
    if config is not None and one.limits:
        yield ""
        side = "above" if one.limit.startswith("high") else "below"
        heading = ("trays", "crop", "stage", side, *map(_title, WAITING), "# from")
        site = Tongue.of(config.site)
        yield from columns([heading, *(_limit_row(site, one.quantity, limit) for limit in one.limits)])
    used = [
        name
        for name in WAITING
        if not one.limits or any(limit.sources[name] == LIBRARY for limit in one.limits)
    ]
    if used:
        yield ""
    for name in used:
        reasoned = getattr(one.default, name)
        yield f"  {_title(name)} of the library: {reasoned.text}, {reasoned}"


def _limit_row(site: Tongue, name: str, limit: LimitHere) -> tuple[str, ...]:
    quantity = QUANTITIES[name]
    return (
        ", ".join(limit.trays),
        limit.crop,
        f"{limit.stage} (from day {limit.from_day})",
        site.value(quantity, limit.threshold),
        _in_full(site, quantity, limit.deadband),
        duration_words(limit.on_delay_ms),
        duration_words(limit.off_delay_ms),
        _from(limit.sources),
    )


def _in_full(site: Tongue, quantity: Quantity, deadband: float) -> str:
    """Return a deadband with all its digits, which are few and may be more than those of a value."""
    _, _, unit = site.difference(quantity, deadband).partition(" ")
    in_fahrenheit = site.fahrenheit and quantity.dimension == "temperature"
    return f"{deadband * 9 / 5 if in_fahrenheit else deadband:.4g} {unit}"


def _about_silences(one: Explanation) -> Iterator[str]:
    if one.silences:
        yield ""
        heading = ("trays", "a reading stands", "silent after", "quantities", "# from")
        yield from columns([heading, *map(_silence_row, one.silences)])


def _silence_row(silence: SilenceHere) -> tuple[str, ...]:
    return (
        ", ".join(silence.trays),
        duration_words(silence.hold_ms),
        duration_words(silence.silent_after_ms),
        ", ".join(silence.quantities),
        _from(silence.sources),
    )


def _about_figures(config: Config | None, one: Explanation) -> Iterator[str]:
    if config is not None and not one.advice.watch:
        yield "  It is not looked for: watch is false."
    if one.figures:
        yield ""
        yield from columns(
            [(_title(name), text, f"# {source}: {why}") for name, text, source, why in one.figures]
        )


def _from(sources: dict[str, str]) -> str:
    """Return where some values are from, those of one place together, and what nobody wrote at the end."""
    names: dict[str, list[str]] = {}
    for name, source in sources.items():
        names.setdefault(source, []).append(_title(name))
    if len(names) == 1:
        return f"# {next(iter(names))}"
    written = [f"{source}: {', '.join(of)}" for source, of in names.items() if source not in _NOT_WRITTEN]
    return "# " + "; ".join([*written, *(f"else {source}" for source in _NOT_WRITTEN if source in names)])


def _title(name: str) -> str:
    return name.replace("_", "-")


def listed_lines(config: Config | None, known: Sequence[Explanation]) -> Iterator[str]:
    """Yield every alarm in a line: its name, its priority, what raises it, and how many trays have it."""
    trays: dict[str, set[str]] = {}
    for alarm, name in (watched(config) if config else {}).items():
        trays.setdefault(name, set()).add(alarm.tray)
    rows: list[tuple[str, ...]] = []
    for one in known:
        count = () if config is None else (_how_many(len(trays.get(one.advice.alarm, ()))),)
        rows.append((one.advice.alarm, one.advice.priority, *count, one.condition))
    yield from columns(rows)


def _how_many(trays: int) -> str:
    return f"{trays or 'no'} {'tray' if trays == 1 else 'trays'}"
