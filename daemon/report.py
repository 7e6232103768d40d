"""What people read in a terminal: the bench, the alarms and the journal, as plain lines."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby
from types import MappingProxyType
from typing import Any, Final

from wardian.daemon.config import Config
from wardian.daemon.light_words import light_lines
from wardian.daemon.lives import alarm_of
from wardian.daemon.look import BenchNow, QuantityNow, TrayNow
from wardian.daemon.replay import Replayed
from wardian.daemon.tongue import Tongue, by_factor, ms_of, span_words
from wardian.rules.life import LATCHED, RETURNED_UNACKNOWLEDGED, SET_ASIDE
from wardian.rules.ports import JournalEntry
from wardian.rules.quantities import QUANTITIES

#: So many alarms of a tray are named one by one.
_NAMED: Final = 4


def status_lines(
    config: Config, bench: BenchNow, trends: Mapping[str, Mapping[str, str]] = MappingProxyType({})
) -> Iterator[str]:
    """Yield the bench: every tray, its quantities and its alarms; with trends, by tray and quantity, also these."""
    site = Tongue.of(config.site)
    yield f"{config.site.name}, {site.moment(bench.time_ms)}"
    yield from (f"  {line}" for line in bench.daemon.get("words", ()))
    if trends:
        from wardian.daemon.trends import KEY

        yield f"  {KEY}"
    for tray in bench.trays:
        yield ""
        yield from _tray_lines(site, tray, trends.get(tray.name, {}))


def _tray_lines(site: Tongue, tray: TrayNow, trends: Mapping[str, str]) -> Iterator[str]:
    stage = tray.stage or ("before sticking" if tray.day < 0 else "no stage yet")
    yield f"{tray.name}: {tray.crop}, day {tray.day}, {stage}"
    if not tray.quantities:
        yield "  nothing is known of it and no band is set"
    yield from columns(
        [(*_quantity_words(site, quantity), trends.get(quantity.name, "")) for quantity in tray.quantities]
    )
    yield from (f"  {line}" for line in (light_lines(tray.light, site) if tray.light else ()))
    for alarm in tray.alarms:
        yield f"  ! {alarm['alarm']} ({alarm['priority']}): {alarm['message']}"


def _quantity_words(site: Tongue, now: QuantityNow) -> tuple[str, ...]:
    quantity = QUANTITIES[now.name]
    if now.value is not None:
        value = site.uncertain(quantity, now.value, now.uncertainty)
        value += " (estimated)" if now.is_estimated else ""
        if now.unseen > 0:
            value += f" seen, {site.value(quantity, now.unseen)} unseen"
        value += by_factor(now.lux_per_umol)
    elif now.last_value is not None and now.age_s is not None:
        age = span_words(round(now.age_s * 1000))
        value = f"unknown, was {site.value(quantity, now.last_value)} {age} ago"
    else:
        value = "unknown, never read"
    if now.state == "beyond":
        return quantity.words, value, site.band(quantity, now.band), f"BEYOND {', '.join(now.beyond)}"
    return quantity.words, value, site.band(quantity, now.band), now.state if now.band else ""


def columns(rows: Sequence[tuple[str, ...]]) -> Iterator[str]:
    """Yield rows of cells, each column as wide as its widest cell."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    for row in rows:
        cells = (cell.ljust(width) for cell, width in zip(row, widths, strict=True))
        yield f"  {'  '.join(cells)}".rstrip()


def present_alarms(
    standing: Iterable[JournalEntry], lives: Iterable[Mapping[str, Any]]
) -> list[dict[str, Any]]:
    """Return the alarms that stand, each with where its life is and what people did to it."""
    told = {alarm_of(fields): fields for fields in lives}
    kept = ("life", "who", "why", "until")
    return [
        {**entry.fields, **{key: told.get(alarm_of(entry.fields), entry.fields).get(key) for key in kept}}
        for entry in standing
    ]


def alarm_lines(
    config: Config, standing: Sequence[Mapping[str, Any]], lives: Sequence[Mapping[str, Any]]
) -> Iterator[str]:
    """Yield the present alarms, then those that returned unseen, and those that are set aside."""
    if not standing:
        yield "no alarm is present"
    for fields, line in zip(standing, journal_lines(config, standing), strict=True):
        yield f"{line} [{life_words(config, fields)}]" if fields["life"] else line
    present = {alarm_of(fields) for fields in standing}
    others = [fields for fields in lives if alarm_of(fields) not in present]
    aside = [fields for fields in others if fields["life"] in SET_ASIDE]
    latched = [fields for fields in others if fields["life"] in LATCHED]
    unseen = [fields for fields in others if fields["life"] == RETURNED_UNACKNOWLEDGED]
    for heading, some in (
        ("Returned, and nobody has acknowledged it:", unseen),
        ("Returned, and kept until somebody resets it:", latched),
        ("Set aside:", aside),
    ):
        if some:
            yield ""
            yield heading
            yield from _life_lines(config, some)


def _life_lines(config: Config, some: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield alarms with their lives; many of a tray that share one life, as when it is worked on, in a line."""

    def shared(fields: Mapping[str, Any]) -> tuple[str, str]:
        return fields["tray"], life_words(config, fields)

    for (tray, words), group in groupby(sorted(some, key=shared), key=shared):
        alarms = [" ".join([fields["alarm"], *_of_quantity(fields)]) for fields in group]
        names = ", ".join(alarms) if len(alarms) <= _NAMED else f"{len(alarms)} alarms"
        yield f"  {tray:<10} {names}: {words}"


def _of_quantity(fields: Mapping[str, Any]) -> Iterator[str]:
    if fields["quantity"]:
        yield f"({fields['quantity']})"


def life_words(config: Config, fields: Mapping[str, Any]) -> str:
    """Return where an alarm's life is, and by whom, until when and why."""
    words = str(fields["life"])
    if fields.get("who"):
        words += f" by {fields['who']}"
    if fields.get("until"):
        words += f" until {Tongue.of(config.site).moment(ms_of(fields['until']))}"
    return f"{words}: {fields['why']}" if fields.get("why") else words


def journal_lines(config: Config, entries: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield transitions as lines: when, which tray, raised or returned, and the message."""
    site = Tongue.of(config.site)
    for fields in entries:
        moment = site.moment(ms_of(fields["time"]))
        yield f"{moment:<17} {fields['tray']:<10} {fields['event']:<8} {fields['priority']:<6} {fields['message']}"


def replay_summary(config: Config, replayed: Replayed) -> Iterator[str]:
    """Yield what a replay read, refused and left out."""
    assert replayed.first_ms is not None
    assert replayed.last_ms is not None
    site = Tongue.of(config.site)
    yield (
        f"{replayed.readings} readings from {site.moment(replayed.first_ms)} to {site.moment(replayed.last_ms)}, "
        f"{replayed.repeated} repeated, {replayed.refused} refused, {len(replayed.transitions)} transitions"
    )
    for refused in replayed.refused_rows:
        yield f"{refused.source}: refused: {refused.why}"
    if replayed.refused > len(replayed.refused_rows):
        yield f"and {replayed.refused - len(replayed.refused_rows)} more refused"
    for tray, count in sorted(replayed.not_watched.items()):
        yield f"tray {tray!r} is not in the configuration: {count} readings not judged"
