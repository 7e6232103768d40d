"""What people read in a terminal: the bench, the alarms and the journal, as plain lines."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

from wardian.daemon.config import Config
from wardian.daemon.look import BenchNow, QuantityNow, TrayNow
from wardian.daemon.replay import Replayed
from wardian.daemon.words import Tongue, span_words
from wardian.rules.ports import JournalEntry
from wardian.rules.quantities import QUANTITIES


def status_lines(config: Config, bench: BenchNow) -> Iterator[str]:
    """Yield the bench: every tray, its quantities and its alarms."""
    site = Tongue.of(config.site)
    yield f"{config.site.name}, {site.moment(bench.time_ms)}"
    yield from (f"  {line}" for line in bench.daemon.get("words", ()))
    for tray in bench.trays:
        yield ""
        yield from _tray_lines(site, tray)


def _tray_lines(site: Tongue, tray: TrayNow) -> Iterator[str]:
    stage = tray.stage or ("before sticking" if tray.day < 0 else "no stage yet")
    yield f"{tray.name}: {tray.crop}, day {tray.day}, {stage}"
    if not tray.quantities:
        yield "  nothing is known of it and no band is set"
    yield from columns([_quantity_words(site, quantity) for quantity in tray.quantities])
    for alarm in tray.alarms:
        yield f"  ! {alarm['alarm']} ({alarm['priority']}): {alarm['message']}"


def _quantity_words(site: Tongue, now: QuantityNow) -> tuple[str, ...]:
    quantity = QUANTITIES[now.name]
    if now.value is not None:
        value = site.value(quantity, now.value)
        if now.unseen > 0:
            value += f" seen, {site.value(quantity, now.unseen)} unseen"
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


def alarm_lines(config: Config, entries: Sequence[JournalEntry], *, everything: bool) -> Iterator[str]:
    """Yield the present alarms, or the whole journal."""
    if not entries:
        yield "the journal is empty" if everything else "no alarm is present"
    yield from journal_lines(config, [entry.fields for entry in entries])


def journal_lines(config: Config, entries: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """Yield transitions as lines: when, which tray, raised or returned, and the message."""
    site = Tongue.of(config.site)
    for fields in entries:
        mark = "raised  " if fields["event"] == "raised" else "returned"
        moment = site.moment(_ms(fields["time"]))
        yield f"{moment:<17} {fields['tray']:<10} {mark} {fields['priority']:<6} {fields['message']}"


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


def _ms(text: str) -> int:
    from datetime import datetime

    return round(datetime.fromisoformat(text).timestamp() * 1000)
