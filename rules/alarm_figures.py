"""What an alarm system asks of the person who answers it: rates, floods, and the alarms that are a nuisance.

The rule of this file: each raise is one alarm, because each is a signal to a person; all trays are one person's.
"The worst ten minutes" lie anywhere, because a grid could cut eleven alarms of five minutes in two; such a window
holds its last instant and not its first. Only the share of ten-minute periods is taken on a grid.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby
from operator import attrgetter, itemgetter
from statistics import median
from typing import Final, NamedTuple, TypeAlias

from wardian.rules.ports import Alarm
from wardian.rules.transitions import RAISED, RETURNED

MINUTE_MS: Final = 60_000
TEN_MINUTES_MS: Final = 600_000
DAY_MS: Final = 86_400_000

#: A flood begins with more alarms than this in ten minutes, and ends with fewer than that.
FLOOD_ABOVE: Final = 10
FLOOD_ENDS_BELOW: Final = 5
#: So many raises of one alarm in a minute are chattering.
CHATTERING_RAISES: Final = 3
#: An alarm that stands longer is stale.
STALE_AFTER_MS: Final = DAY_MS
FREQUENT: Final = 10

ACKNOWLEDGED: Final = "acknowledged"

#: From an instant (included) to another (not), in milliseconds since 1970 UTC.
Span: TypeAlias = tuple[int, int]


class AlarmEvent(NamedTuple):
    """What became of an alarm, with the name and the priority that it had then.

    ``event`` is ``RAISED`` when a person is told, ``RETURNED`` when that is over, ``ACKNOWLEDGED`` when somebody
    has seen it; others say nothing here.
    """

    time_ms: int
    alarm: Alarm
    event: str
    name: str
    priority: str


class Frequent(NamedTuple):
    """How often one alarm was raised, and how often in its worst minute."""

    alarm: Alarm
    name: str
    raises: int
    most_in_a_minute: int


class Standing(NamedTuple):
    """A time through which an alarm stood without a break; ``to_ms`` is the period's end where it stood still."""

    alarm: Alarm
    name: str
    from_ms: int
    to_ms: int


@dataclass(frozen=True, slots=True)
class AlarmFigures:
    """What was asked of a person between two instants; the second is not included.

    Attributes:
        from_ms: The first instant.
        to_ms: The instant before which the period ends.
        trays: How many trays are watched.
        by_priority: How many alarms were raised, by priority.
        most_in_ten_minutes: How many were raised in the worst ten minutes of the period.
        crowded_periods: How many of its ten-minute periods had more than ``FLOOD_ABOVE``. The first begins with
            the period; the last may be shorter.
        periods: How many ten-minute periods it has.
        floods: When there was a flood: from the raise that made more than ``FLOOD_ABOVE`` in the ten minutes
            up to it, to the instant at which the ten minutes up to it have fewer than ``FLOOD_ENDS_BELOW``. One
            that began earlier, or lasts longer than the period, is cut.
        raised: Every alarm that was raised, the most frequent first, then by tray, quantity and condition.
        stale: Alarms that stood without a break for longer than ``STALE_AFTER_MS`` and still stood in the
            period, by when they were raised.
        most_stale_in_a_day: How many of them were there, stale, in the worst 24 hours of the period.
        answers_ms: How long alarms raised in the period waited for somebody to acknowledge them, the shortest
            first; one that was raised anew before that, or not acknowledged within the period, is not among them.
    """

    from_ms: int
    to_ms: int
    trays: int
    by_priority: Mapping[str, int]
    most_in_ten_minutes: int
    crowded_periods: int
    periods: int
    floods: tuple[Span, ...]
    raised: tuple[Frequent, ...]
    stale: tuple[Standing, ...]
    most_stale_in_a_day: int
    answers_ms: tuple[int, ...]

    @property
    def days(self) -> float:
        """How long the period is, in days of 24 hours."""
        return (self.to_ms - self.from_ms) / DAY_MS

    @property
    def alarms(self) -> int:
        """How many alarms were raised."""
        return sum(self.by_priority.values())

    @property
    def per_ten_minutes(self) -> float:
        """How many were raised in ten minutes on average."""
        return self.alarms * TEN_MINUTES_MS / (self.to_ms - self.from_ms)

    @property
    def per_day(self) -> float:
        """How many were raised in 24 hours on average."""
        return self.alarms * DAY_MS / (self.to_ms - self.from_ms)

    @property
    def per_day_and_tray(self) -> float:
        """How many of each tray were raised in 24 hours on average."""
        return self.per_day / self.trays

    @property
    def crowded_pct(self) -> float:
        """The share of ten-minute periods with more than ``FLOOD_ABOVE`` alarms."""
        return 100 * self.crowded_periods / self.periods

    @property
    def flood_pct(self) -> float:
        """The share of time in flood."""
        return 100 * sum(to_ms - from_ms for from_ms, to_ms in self.floods) / (self.to_ms - self.from_ms)

    @property
    def frequent(self) -> tuple[Frequent, ...]:
        """The ten most frequent alarms, or as many as there were."""
        return self.raised[:FREQUENT]

    @property
    def frequent_pct(self) -> float | None:
        """The share of all raises that the ten most frequent alarms have; None without alarms."""
        return self._share(sum(one.raises for one in self.frequent))

    @property
    def chattering(self) -> tuple[Frequent, ...]:
        """The alarms that were raised ``CHATTERING_RAISES`` times or more in a minute."""
        return tuple(one for one in self.raised if one.most_in_a_minute >= CHATTERING_RAISES)

    @property
    def chattering_alarms(self) -> int:
        """How many alarms chattered."""
        return len(self.chattering)

    @property
    def median_answer_ms(self) -> float | None:
        """How long an alarm waited to be acknowledged, in the median; None where none was."""
        return median(self.answers_ms) if self.answers_ms else None

    @property
    def low_pct(self) -> float | None:
        """The share of alarms of low priority; None without alarms."""
        return self._share(self.by_priority.get("low", 0))

    @property
    def medium_pct(self) -> float | None:
        """The share of alarms of medium priority; None without alarms."""
        return self._share(self.by_priority.get("medium", 0))

    @property
    def high_pct(self) -> float | None:
        """The share of alarms of high priority; None without alarms."""
        return self._share(self.by_priority.get("high", 0))

    def _share(self, count: int) -> float | None:
        return 100 * count / self.alarms if self.alarms else None


def alarm_figures(events: Iterable[AlarmEvent], within: Span, trays: int) -> AlarmFigures:
    """Return the figures of a period, of which nothing later than its end is used.

    Args:
        events: The journal in its order. What lies before the period says what stood when it began, and
            whether there was a flood.
        within: From an instant (included) to a later one (not).
        trays: How many trays are watched.
    """
    from_ms, to_ms = within
    known = [one for one in events if one.time_ms < to_ms]
    raises = [one for one in known if one.event == RAISED]
    inside = [one for one in raises if one.time_ms >= from_ms]
    times_ms = [one.time_ms for one in inside]
    crowds = Counter((time_ms - from_ms) // TEN_MINUTES_MS for time_ms in times_ms)
    stale = tuple(one for one in _standings(known, to_ms) if _is_stale(one, from_ms))
    return AlarmFigures(
        from_ms=from_ms,
        to_ms=to_ms,
        trays=trays,
        by_priority=Counter(one.priority for one in inside),
        most_in_ten_minutes=_most_within(TEN_MINUTES_MS, times_ms),
        crowded_periods=sum(count > FLOOD_ABOVE for count in crowds.values()),
        periods=-((from_ms - to_ms) // TEN_MINUTES_MS),
        floods=tuple(_floods([one.time_ms for one in raises], within)),
        raised=_by_frequency(inside),
        stale=stale,
        most_stale_in_a_day=_most_stale_in_a_day(stale, from_ms),
        answers_ms=tuple(sorted(_answers(known, from_ms))),
    )


# ------------------------------------------------------------------------------------- windows


def _at_once(spans: Iterable[Span]) -> Iterator[tuple[int, int]]:
    """Yield each instant at which spans begin or end, in order, and how many lie over it from then on."""
    edges = sorted(edge for from_ms, to_ms in spans for edge in ((from_ms, 1), (to_ms, -1)))
    count = 0
    for time_ms, changes in groupby(edges, key=itemgetter(0)):
        count += sum(change for _, change in changes)
        yield time_ms, count


def _windows(length_ms: int, times_ms: Iterable[int]) -> Iterator[tuple[int, int]]:
    """Yield instants and how many times lie in the window up to each: the last changes in that count."""
    return _at_once((time_ms, time_ms + length_ms) for time_ms in times_ms)


def _most_within(length_ms: int, times_ms: Iterable[int]) -> int:
    return max((count for _, count in _windows(length_ms, times_ms)), default=0)


def _floods(raises_ms: Iterable[int], within: Span) -> Iterator[Span]:
    begun_ms: int | None = None
    for time_ms, count in _windows(TEN_MINUTES_MS, raises_ms):
        if begun_ms is None and count > FLOOD_ABOVE:
            begun_ms = time_ms
        elif begun_ms is not None and count < FLOOD_ENDS_BELOW:
            if time_ms > within[0]:
                yield max(begun_ms, within[0]), min(time_ms, within[1])
            begun_ms = None


# -------------------------------------------------------------------------------- single alarms


def _by_frequency(raises: Sequence[AlarmEvent]) -> tuple[Frequent, ...]:
    of_alarm: defaultdict[Alarm, list[AlarmEvent]] = defaultdict(list)
    for one in raises:
        of_alarm[one.alarm].append(one)
    found = [
        Frequent(alarm, every[-1].name, len(every), _most_within(MINUTE_MS, (one.time_ms for one in every)))
        for alarm, every in of_alarm.items()
    ]
    return tuple(sorted(found, key=lambda one: (-one.raises, one.alarm)))


def _standings(events: Iterable[AlarmEvent], to_ms: int) -> list[Standing]:
    """Return when alarms stood before an instant, in order of time.

    Whatever their order, a return and a new raise at one instant are a break of what stood before it; of what did
    not, they are nothing.
    """
    found: list[Standing] = []
    raised: dict[Alarm, AlarmEvent] = {}
    by_instant = sorted(events, key=attrgetter("alarm", "time_ms"))
    for (alarm, time_ms), at_once in groupby(by_instant, key=attrgetter("alarm", "time_ms")):
        happened = list(at_once)
        raises = [one for one in happened if one.event == RAISED]
        returns = sum(one.event == RETURNED for one in happened)
        stands = (alarm in raised) + len(raises) > returns
        if returns and alarm in raised:
            before = raised.pop(alarm)
            found.append(Standing(alarm, before.name, before.time_ms, time_ms))
        if raises and stands:
            raised.setdefault(alarm, raises[-1])
    found += [Standing(alarm, one.name, one.time_ms, to_ms) for alarm, one in raised.items()]
    return sorted(found, key=attrgetter("from_ms", "alarm"))


def _is_stale(one: Standing, from_ms: int) -> bool:
    return one.to_ms - one.from_ms > STALE_AFTER_MS and one.to_ms > from_ms


def _most_stale_in_a_day(stale: Iterable[Standing], from_ms: int) -> int:
    """Return how many are there in any 24 hours: each is from when it is stale to a day after its end."""
    spans = ((max(one.from_ms + STALE_AFTER_MS, from_ms), one.to_ms + DAY_MS) for one in stale)
    return max((count for _, count in _at_once(spans)), default=0)


def _answers(events: Iterable[AlarmEvent], from_ms: int) -> Iterator[int]:
    raised_ms: dict[Alarm, int] = {}
    for one in events:
        if one.event == RAISED:
            raised_ms[one.alarm] = one.time_ms
        elif one.event == ACKNOWLEDGED and one.alarm in raised_ms:
            since_ms = raised_ms.pop(one.alarm)
            if since_ms >= from_ms:
                # The clock that people's acts are timed by may have been set back.
                yield max(one.time_ms - since_ms, 0)
