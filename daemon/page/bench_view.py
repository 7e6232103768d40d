"""The bench: every tray as it stands on it."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from wardian.daemon.look import TrayNow
from wardian.daemon.page.frame import live
from wardian.daemon.page.looking import Bench
from wardian.daemon.page.marks import UNKNOWN, mark
from wardian.daemon.page.markup import Child, Html, element
from wardian.daemon.page.tray_card import (
    Told,
    alarm_part,
    due_part,
    headline,
    returned_part,
    tray_state,
    values,
    what_it_is,
)
from wardian.rules.life import RETURNED_UNACKNOWLEDGED, SET_ASIDE, UNACKNOWLEDGED
from wardian.rules.transitions import WATCH


def bench_parts(told: Told, bench: Bench) -> Iterator[Child]:
    """Yield the bench: how it is as a whole, what is wrong with the watch, its trays in order, and who watches."""
    yield element("h1", "The bench", class_="unseen")
    yield element("p", live("whole", whole(bench), tag="span"), class_="whole", role="status")
    yield live("moment", told.tongue.moment(bench.now.time_ms), tag="p", class_="moment")
    own = [alarm_part(told, one, in_full=True) for one in alarms_of(bench, WATCH)]
    yield live("own", own, class_="own")
    cards = [tray_card(told, number, tray, bench) for number, tray in enumerate(bench.now.trays, start=1)]
    yield element("div", cards, class_="bench")
    yield live("watch", watch_parts(bench), tag="section", class_="watch")


def whole(bench: Bench) -> str:
    """Return how the whole bench is, in a sentence."""
    returned = sum(one["life"] == RETURNED_UNACKNOWLEDGED for one in bench.aside)
    return _standing(bench) + (f"; {returned} returned, not acknowledged" if returned else "")


def _standing(bench: Bench) -> str:
    heard = [one for one in bench.alarms if one["life"] not in SET_ASIDE]
    if not heard:
        trays = bench.now.trays
        unknown = sum(tray_state(tray, ()) == UNKNOWN for tray in trays)
        return f"No alarm, but {unknown} of {len(trays)} trays not wholly known" if unknown else "No alarm"
    unseen = sum(one["life"] == UNACKNOWLEDGED for one in heard)
    count = f"{len(heard)} alarm{'' if len(heard) == 1 else 's'}"
    words = {0: "acknowledged", len(heard): "not acknowledged"}.get(unseen, f"{unseen} not acknowledged")
    return f"{count}, {words}"


def alarms_of(bench: Bench, tray: str) -> list[Mapping[str, Any]]:
    """Return the alarms of a tray that people hear of."""
    return [one for one in bench.alarms if one["tray"] == tray and one["life"] not in SET_ASIDE]


def aside_of(bench: Bench, tray: str) -> list[Mapping[str, Any]]:
    """Return the alarms of a tray that are set aside, or returned and wait for somebody."""
    hidden = [one for one in bench.alarms if one["life"] in SET_ASIDE]
    return [one for one in (*hidden, *bench.aside) if one["tray"] == tray]


def tray_card(told: Told, number: int, tray: TrayNow, bench: Bench) -> Html:
    """Return one tray under its cover."""
    alarms = alarms_of(bench, tray.name)
    state = tray_state(tray, alarms)
    heading = f"tray-{number}-name"
    unseen = [one for one in aside_of(bench, tray.name) if one["life"] == RETURNED_UNACKNOWLEDGED]
    place = f"tray-{number}"
    body: list[Child] = [
        element("h2", element("a", tray.name, href=f"/tray/{number}"), id=heading),
        live(f"{place}-crop", what_it_is(tray), tag="p", class_="crop"),
        live(
            f"{place}-state",
            mark(state),
            element("strong", headline(tray, alarms)),
            tag="p",
            class_=f"state {state}",
        ),
        live(f"{place}-alarms", [alarm_part(told, one) for one in alarms]),
        live(f"{place}-values", values(told.tongue, tray)),
        live(f"{place}-returned", returned_part(told, tray.name, unseen)),
        live(f"{place}-due", due_part(told, bench.care.get(tray.name))),
    ]
    return element("section", body, class_="tray", aria_labelledby=heading)


def watch_parts(bench: Bench) -> Sequence[Child]:
    """Return who watches, and what of it does not work."""
    words = bench.now.daemon.get("words", ())
    return [element("h2", "Who watches"), element("ul", [element("li", line) for line in words])]
