"""One tray by itself: what it reads now, its last day, what was done, its batch, and what may be put on record."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from wardian.daemon.light_words import light_lines
from wardian.daemon.look import TrayNow
from wardian.daemon.page.bench_view import alarms_of, aside_of
from wardian.daemon.page.drawings import BATCH, DAY, WEEK
from wardian.daemon.page.forms import care_form, score_form
from wardian.daemon.page.frame import live
from wardian.daemon.page.last_day import DayTable
from wardian.daemon.page.lists_view import journal_list, table
from wardian.daemon.page.looking import Bench
from wardian.daemon.page.marks import mark
from wardian.daemon.page.markup import Child, element
from wardian.daemon.page.tray_card import Told, alarm_part, due_part, headline, tray_state, values, what_it_is
from wardian.rules.batches import Batch
from wardian.rules.ports import JournalEntry


def tray_parts(told: Told, number: int, bench: Bench) -> Iterator[Child]:
    """Yield what a tray reads now, its alarms, and what is due."""
    tray = bench.now.trays[number - 1]
    alarms, aside = alarms_of(bench, tray.name), aside_of(bench, tray.name)
    state = tray_state(tray, alarms)
    yield element("h1", tray.name)
    yield live("crop", what_it_is(tray), tag="p", class_="crop")
    parts = [
        element("h2", "Now", class_="unseen"),
        live(
            "state", mark(state), element("strong", headline(tray, alarms)), tag="p", class_=f"state {state}"
        ),
        live("alarms", [alarm_part(told, one, in_full=True) for one in alarms]),
        live("values", values(told.tongue, tray)),
        live("light", _light(told, tray)),
        live("due", due_part(told, bench.care.get(tray.name))),
        live("aside", _aside(told, aside)),
    ]
    yield element("div", parts, class_="tray")


def _light(told: Told, tray: TrayNow) -> Child:
    if tray.light is None:
        return None
    return element(
        "ul",
        [element("li", line[0].upper() + line[1:]) for line in light_lines(tray.light, told.tongue)],
        class_="light",
    )


def _aside(told: Told, aside: Sequence[Mapping[str, Any]]) -> Child:
    if not aside:
        return None
    heading = element("h2", "Set aside, or returned and waiting for somebody")
    return element(
        "div",
        heading,
        [alarm_part(told, {**one, "abnormal": one.get("abnormal", False)}) for one in aside],
        class_="aside",
    )


def picture_parts(number: int, name: str) -> Iterator[Child]:
    """Yield the pictures of a tray's last day, week and whole batch; the longer ones are drawn when they are opened."""
    yield element("h2", "The last day")
    yield _picture(number, DAY, f"{name} over the last day, drawn; the table below says it in figures")
    for span, words in ((WEEK, "The last week"), (BATCH, "Since sticking")):
        summary = element("summary", element("h2", words))
        yield element("details", summary, _picture(number, span, f"{name}: {words.lower()}, drawn"))


def _picture(number: int, span: str, words: str) -> Child:
    place = f"/tray/{number}/{span}"
    narrow = element("source", media="(max-width: 40rem)", srcset=f"{place}-narrow.svg")
    whole = element("img", src=f"{place}.svg", alt=words, loading="lazy", width=960)
    return element("picture", narrow, whole)


def day_parts(day: DayTable) -> Iterator[Child]:
    """Yield the last day of a tray, hour by hour: the lowest and the highest of each."""
    yield element("h2", "The last 24 hours in figures")
    if not day.rows:
        yield element("p", "Nothing was read in this time.")
        return
    yield table("Lowest to highest of each hour, the newest first", day.headings, day.rows)


def doing_parts(told: Told, tray: str, batch: Batch | None) -> Iterator[Child]:
    """Yield where care and roots are put on record."""
    names = [one.name for one in told.config.trays]
    yield element(
        "details",
        element("summary", element("h2", "Put care on record")),
        care_form([tray, *(one for one in names if one != tray)], told.typing),
        id="care",
    )
    if batch is not None:
        heading = element("h2", f"Score roots of batch {batch.name}")
        yield element("details", element("summary", heading), score_form(batch.name, told.typing), id="score")


def history_parts(told: Told, entries: Sequence[JournalEntry], batch: Batch | None) -> Iterator[Child]:
    """Yield the tray's batch and its journal."""
    if batch is not None:
        yield element("h2", "Its batch")
        yield element(
            "p",
            element("a", batch.name, href=f"/batch/{batch.number}"),
            f": {batch.count_stuck} cuttings of {batch.crop}",
        )
    yield element("h2", "Its journal")
    yield journal_list(told.config, entries)
