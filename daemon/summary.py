"""What happened at a bench in some hours, for the daily summary: each tray's time, its alarms, and what went wrong.

The rule of this file: it only looks at what is kept, piece by piece so that little of it is in memory, and what
was not known is neither within a band nor beyond it.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.configuration_kept import cautions
from wardian.daemon.light_seen import light_of_yesterday
from wardian.daemon.lives import Lives
from wardian.daemon.outbox import Backlog, backlogs
from wardian.rules.crops import Band, day_of, is_optional, stage_at
from wardian.rules.engine import Engine
from wardian.rules.excursions import Excursion, paired, without_delays
from wardian.rules.life import ACKNOWLEDGED, LATCHED, RETURNED_UNACKNOWLEDGED, SET_ASIDE, UNACKNOWLEDGED
from wardian.rules.light_days import LightDay
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import JournalEntry, Store
from wardian.rules.quantities import QUANTITIES
from wardian.rules.shares import KnownTime, Shares, Span, common, judged_spans, merged, shares
from wardian.rules.transitions import RAISED, RETURNED

#: Readings are judged in pieces of this length.
_PIECE_MS: Final = 3_600_000
#: Hours of light are those of the last day, so readings of one more day are looked at.
_DAY_MS: Final = 86_400_000
#: What people do to a tray, as the journal tells it and as they call it.
CARE: Final = {
    "misted": "misted",
    "lifted": "aired",
    "watered": "watered",
    "fed": "fed",
    "looked": "looked at",
    "wiped": "wiped",
    "cleaned": "cleaned",
}
_JOURNAL_LOOKS: Final = (1_000, 20_000, None)
_MOST_REFUSED: Final = 10_000
#: Hours of light that are older are not those of the last day.
_STALE_MS: Final = 3_600_000
_INNER: Final = ("low", "high")


class LongestTime(NamedTuple):
    """The longest known time beyond a limit without a break, and the limit."""

    limit: str
    threshold: float | None
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class BandDay:
    """What became of a quantity's time."""

    quantity: str
    shares: Shares
    longest: LongestTime | None


@dataclass(frozen=True, slots=True)
class TrayDay:
    """One tray: its bands' times, and what was done and told.

    ``light_h`` are the lit hours seen in the last 24 h, ``unseen_h`` what more there may have been; None where they
    are not known now. ``wants_light``: some stage has a band of them. ``readings`` counts those of the whole time;
    ``raised`` how often each alarm was, by name. ``yesterday`` is the light of the last whole local day, None where
    there was none, its photons by ``lux_per_umol`` where that is one.
    """

    name: str
    crop: str
    day: int
    stage: str | None
    bands: tuple[BandDay, ...]
    wants_light: bool
    light_h: float | None
    unseen_h: float
    readings: int
    raised: Mapping[str, int]
    returned: int
    care: Mapping[str, int]
    yesterday: LightDay | None
    lux_per_umol: float | None


@dataclass(frozen=True, slots=True)
class Summary:
    """A bench between two instants, and how it stands at the second.

    Attributes:
        from_ms: Included.
        to_ms: Not included.
        trays: In the order of the configuration.
        standing: Last journal entries of alarms that somebody has yet to deal with, unacknowledged ones first.
        aside: The same of alarms that are shelved, suppressed or out of service.
        refused: Readings refused, by source and reason.
        late: Readings too late to be judged, by tray and quantity.
        waiting: Messages that no channel has taken yet.
        lost: Messages given up, by channel.
        watched_ms: How long the daemon was there; None where nobody noted it.
        cautions: What people should bear in mind about the configuration.
    """

    from_ms: int
    to_ms: int
    trays: tuple[TrayDay, ...]
    standing: tuple[Mapping[str, Any], ...]
    aside: tuple[Mapping[str, Any], ...]
    refused: Mapping[tuple[str, str], int]
    late: Mapping[tuple[str, str], int]
    waiting: tuple[Backlog, ...]
    lost: Mapping[str, int]
    watched_ms: int | None
    cautions: tuple[str, ...] = ()


def summed_up(config: Config, store: Store, lives: Lives, span: Span, watched_ms: int | None) -> Summary:
    """Return what a store knows of a time.

    Raises:
        StoreFailed: The store cannot be read.
    """
    from_ms, to_ms = span
    looked = _Looked(config.trays, store, span)
    plans = [tray.plan for tray in config.trays]
    light = light_of_yesterday(store, plans, to_ms, config.site.zone)
    entries = entries_between(store, span)
    listed = lives.listed()
    standing = [fields for fields in listed if fields["life"] not in SET_ASIDE]
    refused = Counter(
        (one.tray or one.source, one.why)
        for refused_ms, one in store.refused(_MOST_REFUSED)
        if from_ms <= refused_ms < to_ms
    )
    return Summary(
        from_ms=from_ms,
        to_ms=to_ms,
        trays=tuple(
            replace(looked.day(tray, config, entries), yesterday=light.get(tray.name))
            for tray in config.trays
        ),
        standing=tuple(sorted(standing, key=_urgency)),
        aside=tuple(fields for fields in listed if fields["life"] in SET_ASIDE),
        refused=refused,
        late={(series.tray, series.quantity): count for series, count in store.late(*span).items()},
        waiting=tuple(backlogs(store.waiting())),
        lost=store.lost(*span),
        watched_ms=watched_ms,
        cautions=tuple(cautions(config, store.notes(), to_ms)),
    )


_LIVES: Final = (UNACKNOWLEDGED, ACKNOWLEDGED, *LATCHED, RETURNED_UNACKNOWLEDGED)
_PRIORITIES: Final = ("high", "medium", "low")


def _urgency(fields: Mapping[str, Any]) -> tuple[int, int]:
    """Return the place of an alarm among others: what nobody has seen first, then by priority."""
    life, priority = fields["life"], fields.get("priority")
    place = _LIVES.index(life) if life in _LIVES else len(_LIVES)
    return place, _PRIORITIES.index(priority) if priority in _PRIORITIES else len(_PRIORITIES)


def entries_between(store: Store, span: Span) -> Sequence[JournalEntry]:
    """Return the journal of a time, without reading years of it and without records that hold no more."""
    for last in _JOURNAL_LOOKS:
        entries = store.journal(last=last)
        if last is None or len(entries) < last or entries[0].time_ms < span[0]:
            break
    gone = {record.corrects for record in store.records()} - {None}
    own = (entry for entry in entries if span[0] <= entry.time_ms < span[1])
    return [entry for entry in own if entry.fields.get("record") not in gone]


class _Looked:
    """Every tray's readings, judged once more by limits that do not wait."""

    def __init__(self, trays: Iterable[TraySettings], store: Store, span: Span) -> None:
        plans = [tray.plan for tray in trays]
        self._span = span
        self._engine = Engine(map(without_delays, plans))
        self._known = {plan.tray: KnownTime(_banded(plan)) for plan in plans}
        self._readings: Counter[str] = Counter()
        for name, known in self._known.items():
            self._engine.trays[name].on_stretches = known.hear
        self._excursions = self._judged(store)

    def _judged(self, store: Store) -> list[Excursion]:
        from_ms, to_ms = self._span
        told = []
        for piece_ms in range(from_ms - _DAY_MS, to_ms, _PIECE_MS):
            end_ms = min(piece_ms + _PIECE_MS, to_ms)
            chunk = store.chunk(piece_ms, end_ms)
            for series, points in chunk.items():
                self._readings[series.tray] += int((points.times_ms >= from_ms).sum())
            self._engine.feed(chunk)
            told += self._engine.advance(end_ms)
        return paired(told, to_ms)

    def day(self, tray: TraySettings, config: Config, entries: Iterable[JournalEntry]) -> TrayDay:
        """Return one tray's time."""
        _, to_ms = self._span
        stage = stage_at(tray.plan.spans, to_ms)
        light = self._engine.trays[tray.name].present(to_ms).get("light_hours")
        stand = light.last if light and light.last and light.last.from_ms >= to_ms - _STALE_MS else None
        own = [entry for entry in entries if entry.tray == tray.name]
        events = Counter(entry.fields["event"] for entry in own)
        return TrayDay(
            name=tray.name,
            crop=tray.crop.name,
            day=day_of(tray.stuck, config.site.zone, to_ms),
            stage=stage.name if stage else None,
            bands=tuple(band for band in self._bands(tray.plan) if not _is_beside(tray.plan, band)),
            wants_light="light_hours" in _banded(tray.plan),
            light_h=stand.for_high if stand else None,
            unseen_h=stand.for_low - stand.for_high if stand else 0.0,
            readings=self._readings[tray.name],
            raised=Counter(entry.fields["alarm"] for entry in own if entry.fields["event"] == RAISED),
            returned=events[RETURNED],
            care={word: events[event] for event, word in CARE.items() if events[event]},
            yesterday=None,
            lux_per_umol=tray.plan.lux_per_umol,
        )

    def _bands(self, plan: TrayPlan) -> Iterator[BandDay]:
        return (self._band(plan, quantity) for quantity in _banded(plan))

    def _band(self, plan: TrayPlan, quantity: str) -> BandDay:
        judged = judged_spans(plan, quantity, self._span)
        known = common(judged, self._known[plan.tray].spans(quantity))
        own = [one for one in self._excursions if (one.tray, one.quantity) == (plan.tray, quantity)]
        beyond = merged((one.from_ms, one.to_ms) for one in own)
        of_time = shares(judged, known, beyond)
        pieces = [
            (to_ms - from_ms, one.limit in _INNER, one.limit, from_ms, to_ms)
            for one in own
            for from_ms, to_ms in common(known, [(one.from_ms, one.to_ms)])
        ]
        if not pieces:
            return BandDay(quantity, of_time, None)
        _, _, limit, from_ms, to_ms = max(pieces)
        return BandDay(
            quantity, of_time, LongestTime(limit, _threshold(plan, quantity, limit, from_ms), from_ms, to_ms)
        )


def _banded(plan: TrayPlan) -> list[str]:
    banded = {quantity for span in plan.spans for quantity in span.stage.bands}
    return [quantity for quantity in QUANTITIES if quantity in banded]


def _is_beside(plan: TrayPlan, band: BandDay) -> bool:
    """Return whether nothing measures a quantity whose band nobody misses."""
    is_known = band.shares.within_ms or band.shares.beyond_ms
    return not is_known and is_optional(plan.spans, band.quantity)


def _threshold(plan: TrayPlan, quantity: str, limit: str, at_ms: int) -> float | None:
    """Return a limit of the stage that held at an instant."""
    stage = stage_at(plan.spans, at_ms)
    band: Band | None = stage.bands.get(quantity) if stage else None
    return band.threshold(limit) if band else None
