"""The journal, the batches and the figures of the alarm system, as tables."""

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import groupby, pairwise
from typing import Any, Final

from wardian.daemon.config import Config
from wardian.daemon.page.markup import Child, Html, element, together
from wardian.daemon.report_alarm_figures import EMPTY, HEADINGS, figure_rows, remark_lines
from wardian.daemon.report_batches import day_words, share_words, show_lines
from wardian.daemon.tongue import Tongue, ms_of
from wardian.rules.alarm_figures import AlarmFigures
from wardian.rules.batches import Batch, outcome
from wardian.rules.ports import JournalEntry

_BATCHES: Final = ("Batch", "Crop", "Tray", "Stuck", "Cuttings", "Left", "Rooted and fit")


def table(caption: str, headings: Sequence[str], rows: Iterable[Sequence[Child]]) -> Html:
    """Return a table in a part that scrolls by itself where it is too wide."""
    whole = _table(headings, rows, element("caption", caption))
    return element("div", whole, class_="wide", tabindex="0", role="region", aria_label=caption)


def _table(headings: Sequence[str], rows: Iterable[Sequence[Child]], caption: Child = None) -> Html:
    """Return a table whose cells know their headings: on a narrow screen they stand beside them."""
    head = element("thead", element("tr", [element("th", words, scope="col") for words in headings]))
    body = [
        element(
            "tr",
            [element("td", cell, data_words=words) for words, cell in zip(headings, row, strict=True)],
        )
        for row in rows
    ]
    return element("table", caption, head, element("tbody", body))


def journal_list(config: Config, entries: Sequence[JournalEntry]) -> Html:
    """Return entries of the journal."""
    if not entries:
        return element("p", "The journal is empty.")
    site = Tongue.of(config.site)
    told = element("p", f"The newest {len(entries)} entries, newest first", class_="crop")
    return together(
        [told, element("ol", [_entry(site, entry.fields) for entry in entries], class_="journal")]
    )


def _entry(site: Tongue, fields: Mapping[str, Any]) -> Html:
    priority = f"{fields['priority']} priority" if fields["priority"] else ""
    parts = (site.moment(ms_of(fields["time"])), fields["tray"], fields["event"], priority)
    return element("li", [element("span", part) for part in parts], element("p", fields["message"]))


def journal_parts(config: Config, entries: Sequence[JournalEntry]) -> Iterator[Child]:
    """Yield the journal."""
    yield element("h1", "Journal")
    yield journal_list(config, entries)


def batches_parts(config: Config, known: Sequence[Batch]) -> Iterator[Child]:
    """Yield all batches."""
    yield element("h1", "Batches")
    if not known:
        yield element("p", "No batch is on record yet; `wardian batch new` begins one.")
        return
    yield table(
        "All batches, the newest first", _BATCHES, [_batch_row(Tongue.of(config.site), one) for one in known]
    )


def _batch_row(site: Tongue, batch: Batch) -> Sequence[Child]:
    became = outcome(batch)
    success = share_words(became.success) if became.success else "not yet"
    left = "closed" if batch.closed else str(became.left)
    link = element("a", batch.name, href=f"/batch/{batch.number}")
    return link, batch.crop, batch.tray, day_words(site, batch.stuck_ms), batch.count_stuck, left, success


def batch_parts(config: Config, batch: Batch) -> Iterator[Child]:
    """Yield all that is known of one batch."""
    yield element("h1", f"Batch {batch.name}")
    yield _told(show_lines(Tongue.of(config.site), batch))
    words = "What was out of line in its time, and what may be behind it"
    yield element(
        "p", element("a", words, href=f"/batch/{batch.number}/explanation"), " (this takes a while)"
    )


def explanation_parts(batch: Batch, told: str | None) -> Iterator[Child]:
    """Yield what was out of line in a batch's time, as ``wardian batch explain`` tells it."""
    yield element("h1", f"Batch {batch.name} explained")
    yield element("p", element("a", f"All that is known of {batch.name}", href=f"/batch/{batch.number}"))
    yield element("p", "It cannot be explained now.") if told is None else _told(told.splitlines())


def _told(lines: Iterable[str]) -> Html:
    """Return lines as a terminal has them, its tables as tables: on a narrow screen a row of one stands below another."""
    parts: list[Child] = []
    for is_indented, some in groupby(lines, key=lambda line: line.startswith("  ")):
        own = list(some)
        rows = _cells(own) if is_indented else []
        parts.append(_table(rows[0], rows[1:]) if rows else _lines(own))
    return element("div", parts, class_="told")


def _lines(lines: Iterable[str]) -> Html:
    spans = [element("span", line, class_="row" if line.startswith("  ") else None) for line in lines]
    return element("pre", [child for span in spans for child in (span, "\n")], tabindex="0")


def _cells(rows: Sequence[str]) -> list[list[str]]:
    """Return the cells of a table, each beginning where its heading does; none where the rows are no such table."""
    begins = [one.start() for one in re.finditer(r"(?<=  )\S", rows[0])]
    if len(rows) < 2 or len(begins) < 3 or any(row[at - 2 : at].strip() for row in rows for at in begins):
        return []
    return [[row[at:to].strip() for at, to in pairwise([*begins, None])] for row in rows]


def figures_parts(config: Config, figures: AlarmFigures | None) -> Iterator[Child]:
    """Yield what the alarm system asks of people, beside what is bearable."""
    yield element("h1", "What the alarms ask of people")
    if figures is None:
        yield element("p", f"{EMPTY[0].upper()}{EMPTY[1:]}.")
        return
    site = Tongue.of(config.site)
    rows, sources = figure_rows(figures)
    yield table(f"{site.moment(figures.from_ms)} to {site.moment(figures.to_ms)}", HEADINGS, rows)
    yield element("h2", "Sources")
    yield element("ol", [element("li", source) for source in sources])
    yield element("h2", "To be minded")
    yield _told(remark_lines(site, figures))
