"""What takes part in the rounds of every bench: what people put on record, and what follows from it.

The rule of this file: records are taken up before anything is judged; the rest has its turn after it.
"""

from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING, NamedTuple

from wardian.daemon.beside import Beside
from wardian.daemon.care_seen_noted import CareSeenNoted, KnownCare
from wardian.daemon.config import Config
from wardian.daemon.loop import Loop
from wardian.daemon.planning import plan_of, with_records
from wardian.daemon.recording import Recording, Replan
from wardian.daemon.retaking import Retaking
from wardian.daemon.tongue import Tongue
from wardian.daemon.words import Teller
from wardian.rules.crops import day_start_ms
from wardian.rules.ports import Clock, Store
from wardian.rules.records import Record

if TYPE_CHECKING:
    from wardian.daemon.finding_words import FindingWords


class RoundsOf(NamedTuple):
    """Whose rounds they are; ``config`` is as written, ``channels`` are all there are."""

    config: Config
    store: Store
    loop: Loop
    words: Teller
    clock: Clock
    channels: Sequence[str]
    findings: "Callable[[], Mapping[str, FindingWords]]"


def taking_part(of: RoundsOf, opened: ExitStack) -> tuple[list[Beside], list[Beside]]:
    """Return what takes part before judging and after it; what runs on threads is stopped with ``opened``."""
    recording = _recording(of)
    known = KnownCare(of.loop.observer, lambda: recording.known, lambda: of.loop.is_sure)
    before: list[Beside] = [recording, CareSeenNoted(of.loop.observer, of.store.notes())]
    retaking = Retaking(of.store, of.loop.observer.trays)
    retaking.is_ready = lambda: of.loop.is_sure
    return before, [retaking, *_reminders(of, known), *_past_due(of, opened)]


def _recording(of: RoundsOf) -> Recording:
    """Return what takes up records, and lets everything go on by the plan that they make of a tray."""
    zone = of.config.site.zone
    stuck_ms = {tray.name: day_start_ms(tray.stuck, zone) for tray in of.config.trays}
    return Recording(of.store, Tongue.of(of.config.site), stuck_ms, _replan(of))


def _replan(of: RoundsOf) -> Replan:
    """Return what lets a tray be judged and told of by the plan that records make of it."""
    from wardian.daemon.acts import named

    trays = {tray.name: tray for tray in of.config.trays}

    def replan(name: str, records: Sequence[Record]) -> None:
        plan = plan_of(trays[name], records, of.config.site.zone)
        of.loop.replan(plan, records)
        of.words.trays[name] = replace(of.words.trays[name], plan=plan)
        of.loop.lives.names = named(with_records(of.config, records), of.clock.wall_ms)

    return replan


def _reminders(of: RoundsOf, known: KnownCare) -> list[Beside]:
    """Return what reminds people of care, where somebody wants that."""
    if not of.config.care.remind or not any(person.care for person in of.config.people):
        return []
    from wardian.daemon.opening_people import open_care_reminders

    return [open_care_reminders(of.config, of.channels, of.store.notes(), known)]


def _past_due(of: RoundsOf, opened: ExitStack) -> list[Beside]:
    """Return what explains trays whose roots are past due, where some crop says when they are."""
    if all(tray.plan.due_ms is None for tray in of.config.trays):
        return []
    from wardian.daemon.opening_past_due import Around, open_past_due

    part = open_past_due(Around(of.config, of.store, of.channels, of.findings))
    part.is_ready = lambda: of.loop.is_sure
    part.progress = of.loop.progress
    opened.callback(part.stop)
    return [part]
