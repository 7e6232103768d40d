"""What people were told of alarms in a time that was watched, by what the store has kept.

The rule of this file: an alarm that is set aside is told to nobody, and one that comes back while its
condition lasts is told anew; figures are of times that were watched, never of more.
"""

from collections.abc import Iterable, Iterator, Sequence

from wardian.daemon.lives import alarm_of
from wardian.daemon.tongue import utc_text
from wardian.rules.alarm_figures import AlarmEvent, AlarmFigures, Span, alarm_figures
from wardian.rules.life import SET_ASIDE
from wardian.rules.ports import Alarm, JournalEntry, Store
from wardian.rules.records import KINDS
from wardian.rules.transitions import RAISED, RETURNED


def figures_of(
    store: Store, entries: Sequence[JournalEntry], trays: int, wanted: tuple[int | None, int | None]
) -> AlarmFigures:
    """Return the figures between two instants, as far as it was watched then.

    Args:
        store: What was read.
        entries: Its journal, which is not empty.
        trays: How many trays are watched.
        wanted: From an instant (included) to another (not); None where it is all the same.

    Raises:
        ValueError: No part of the time between them was watched.
        StoreFailed: The store cannot be read.
    """
    first_ms, end_ms = _watched(store, entries)
    from_ms, to_ms = wanted
    from_ms = first_ms if from_ms is None else max(from_ms, first_ms)
    to_ms = end_ms if to_ms is None else min(to_ms, end_ms)
    if from_ms >= to_ms:
        watched = f"{utc_text(first_ms)} to {utc_text(end_ms)}"
        raise ValueError(f"nothing was watched between these times; what is kept is from {watched}")
    return alarm_figures(told(entries), (from_ms, to_ms), trays)


def _watched(store: Store, entries: Iterable[JournalEntry]) -> Span:
    """Return from the first reading or entry to just after the last."""
    times_ms = [entry.time_ms for entry in entries]
    times_ms += [reading.time_ms for reading in store.latest().values()]
    first = next(store.readings(-(2**62), 2**62), None)
    if first is not None:
        times_ms.append(first.time_ms)
    return min(times_ms), max(times_ms) + 1


def told(entries: Iterable[JournalEntry]) -> Iterator[AlarmEvent]:
    """Yield what became of alarms as far as people were told of them."""
    set_aside: set[Alarm] = set()
    for entry in entries:
        fields = entry.fields
        alarm, event = alarm_of(fields), fields["event"]
        if fields["condition"] in KINDS:
            continue
        if event == RAISED and not fields.get("told", True):
            # Held back as it was raised: nobody was told.
            set_aside.add(alarm)
            continue
        if fields.get("life") in SET_ASIDE:
            set_aside.add(alarm)
            event = RETURNED
        elif alarm in set_aside:
            set_aside.remove(alarm)
            event = RAISED if fields.get("abnormal") else RETURNED
        yield AlarmEvent(entry.time_ms, alarm, event, fields["alarm"], fields["priority"])
