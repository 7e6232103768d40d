"""The store without a file: the reference for what the others promise, and enough for a replay.

The rule of this file: a round is understood whole before any of it is kept.
"""

import json
import math
from collections import Counter
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from threading import RLock
from typing import Any, NamedTuple

from wardian.adapters.stores.hours_in_memory import HoursInMemory, summed_until_ms
from wardian.adapters.stores.moving_in_memory import moved_due, moved_readings, moved_refusal
from wardian.adapters.stores.packing import (
    ADAPTER,
    GONE_NOTE,
    REFUSED_LIMIT,
    Packed,
    Row,
    act_of,
    act_row,
    moved_entry,
    moved_packed,
    moved_text,
    pack,
    record_of,
    record_row,
    state_of,
)
from wardian.rules.errors import StoreFailed
from wardian.rules.kept import Mended, Older, Unreadable
from wardian.rules.moving import Moving
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import (
    SERIES_AT_ONCE,
    Act,
    Alarm,
    Due,
    JournalEntry,
    Kept,
    MakeRecords,
    Message,
    Refused,
    Round,
)
from wardian.rules.readings import Chunk, Reading, Series, chunk_of
from wardian.rules.records import Record
from wardian.rules.rollups import HOUR_MS, Rollups
from wardian.rules.transitions import RAISED, RETURNED


class _End(NamedTuple):
    is_delivered: bool
    time_ms: int
    error: str = ""


class MemoryStore:
    """What is kept, as long as the process lives; may be called from any thread."""

    def __init__(self) -> None:
        self._lock = RLock()
        self._numbers: dict[Series, int] = {}
        self._readings: dict[tuple[int, int], Reading] = {}
        self._late: set[tuple[int, int]] = set()
        self._states: dict[str, bytes] = {}
        self._notes: dict[str, str] = {}
        self._journal: list[Row] = []
        self._refused: list[tuple[int, Refused]] = []
        self._ever_refused = 0
        self._outbox: dict[int, Due] = {}
        self._told: set[tuple[str, str]] = set()
        self._ends: dict[int, _End] = {}
        self._acts: dict[int, Act] = {}
        self._records: list[Row] = []
        self._hours = HoursInMemory()
        self._last_due = 0
        self._summed_ms = 0

    def close(self) -> None:
        """Do nothing: what is kept stays readable."""

    def damage(self) -> str:
        """Return nothing: there is no file to be damaged."""
        return ""

    def unreadable(self, from_ms: int = 0) -> list[Unreadable]:  # noqa: ARG002 - nothing is packed here
        """Return nothing: nothing is packed here."""
        return []

    def put_aside(self, found: Sequence[Unreadable], now_ms: int) -> Mended:
        """Refuse: nothing is packed here.

        Raises:
            StoreFailed: Always.
        """
        raise StoreFailed(ADAPTER, f"nothing is packed in memory: {len(found)} rows at {now_ms}")

    def room(self) -> None:
        """Return nothing: it takes no room on a disk."""

    # --------------------------------------------------------------------------------- rounds

    def announce(self, trouble: str) -> None:
        """Say nothing: nobody can look at it from outside."""

    def keep(self, round_: Round) -> Kept:
        """Commit one round: all of it or nothing. A repeated (time, tray, quantity) is ignored."""
        packed = pack(round_)
        for reading in (*round_.readings, *round_.late):
            _refuse_unkeepable(reading)
        with self._lock:
            for one in (*round_.readings, *round_.late):
                self._numbers.setdefault(Series(one.tray, one.quantity), len(self._numbers) + 1)
            added = len(self._add(round_.readings))
            late = self._add(round_.late)
            self._late.update(late)
            self._keep_rest(packed)
            self._summed_ms = summed_until_ms(
                self._summed_ms, [one.time_ms for one in (*round_.readings, *round_.late)]
            )
        offered = len(round_.readings) + len(round_.late)
        return Kept(added + len(late), offered - added - len(late))

    def _add(self, readings: Sequence[Reading]) -> list[tuple[int, int]]:
        new = []
        for reading in readings:
            place = reading.time_ms, self._numbers[Series(reading.tray, reading.quantity)]
            if place not in self._readings:
                self._readings[place] = Reading(*reading[:3], float(reading.value))
                self._hours.add(self._readings[place])
                new.append(place)
        return new

    def _keep_rest(self, packed: Packed) -> None:
        self._journal += packed.journal
        self._records += packed.records
        self._states |= {row["tray"]: row["state"] for row in packed.states}
        self._notes |= {row["name"]: row["value"] for row in packed.notes}
        self._ever_refused += len(packed.refused)
        self._refused += [(row["refused_ms"], _refused(row)) for row in packed.refused]
        del self._refused[:-REFUSED_LIMIT]
        for number in packed.acts_done:
            self._acts.pop(number, None)
        for row in packed.outbox:
            if (row["channel"], row["key"]) not in self._told:
                self._told.add((row["channel"], row["key"]))
                self._last_due += 1
                self._outbox[self._last_due] = _due(self._last_due, row)

    def move(self, moving: Moving) -> None:
        """Move all that was kept of an era to where it belongs; all of it or nothing."""
        with self._lock:
            self._readings = moved_readings(self._readings, moving)
            self._late = {(moving.of(time_ms), number) for time_ms, number in self._late}
            self._hours.move(moving)
            self._summed_ms = moving.end_of(self._summed_ms)
            self._journal = [moved_entry(row, moving) for row in self._journal]
            self._refused = [moved_refusal(one, moving) for one in self._refused]
            self._outbox = {number: moved_due(due, moving) for number, due in self._outbox.items()}
            self._ends = {n: end._replace(time_ms=moving.of(end.time_ms)) for n, end in self._ends.items()}
            self._states = {tray: moved_packed(state, moving) for tray, state in self._states.items()}
            self._notes = {name: moved_text(value, moving) for name, value in self._notes.items()}

    def states(self) -> dict[str, dict[str, Any]]:
        """Return the last saved engine state of every tray."""
        with self._lock:
            return {tray: state_of(state) for tray, state in self._states.items()}

    def notes(self) -> dict[str, Any]:
        """Return the small named facts kept with the rounds, the last of each name."""
        with self._lock:
            return {name: json.loads(value) for name, value in self._notes.items()}

    # ------------------------------------------------------------------------------- readings

    def readings(self, from_ms: int, to_ms: int, *, late: bool = True) -> Iterator[Reading]:
        """Yield readings with from_ms <= time < to_ms in order of time, late ones on request."""
        with self._lock:
            places = sorted(
                place
                for place in self._readings
                if from_ms <= place[0] < to_ms and (late or place not in self._late)
            )
            found = [self._readings[place] for place in places]
        yield from found

    def chunk(
        self,
        from_ms: int,
        to_ms: int,
        quantities: Collection[str] | None = None,
        trays: Collection[str] | None = None,
    ) -> Chunk:
        """Return readings with from_ms <= time < to_ms that were judged, as arrays (no late ones)."""
        every = self.readings(from_ms, to_ms, late=False)
        return chunk_of(
            one
            for one in every
            if (quantities is None or one.quantity in quantities) and (trays is None or one.tray in trays)
        )

    def latest(self) -> dict[Series, Reading]:
        """Return the newest reading of every series."""
        with self._lock:
            last = {number: (time_ms, number) for time_ms, number in sorted(self._readings)}
            return {
                series: self._readings[last[number]]
                for series, number in self._numbers.items()
                if number in last
            }

    def fold(self, before_ms: int, plans: Mapping[str, TrayPlan], most: int = SERIES_AT_ONCE) -> bool:  # noqa: ARG002 - here all is done at once
        """Roll up what there is of the hours that ended before an instant; nothing takes less room by it."""
        with self._lock:
            self._hours.roll(before_ms, plans)
        return False

    def let_go(self, older: Older) -> bool:
        """Let go of all that is too old; here it is done at once."""
        with self._lock:
            if older.readings_ms is not None:
                self._let_readings_go(min(older.readings_ms, self._summed_ms) // HOUR_MS * HOUR_MS)
                self._refused[:-1] = [one for one in self._refused[:-1] if one[0] >= older.readings_ms]
            if older.rollups_ms is not None:
                self._hours.let_rollups_go(older.rollups_ms // HOUR_MS * HOUR_MS)
            if older.messages_ms is not None:
                self._let_messages_go(older.messages_ms)
        return False

    def _let_readings_go(self, before_ms: int) -> None:
        gone = [place for place in (*self._readings, *self._late) if place[0] < before_ms]
        for place in gone:
            self._readings.pop(place, None)
            self._late.discard(place)
        if gone:
            until_ms = max(time_ms for time_ms, _ in gone) // HOUR_MS * HOUR_MS + HOUR_MS
            until_ms = max(until_ms, json.loads(self._notes.get(GONE_NOTE, str(until_ms))))
            self._notes[GONE_NOTE] = str(until_ms)
            self._hours.let_readings_go(until_ms)

    def _let_messages_go(self, before_ms: int) -> None:
        for number in [number for number, end in self._ends.items() if end.time_ms < before_ms]:
            if number != self._last_due:
                due = self._outbox.pop(number)
                self._told.discard((due.channel, due.message.key))
                del self._ends[number]

    def folded_until_ms(self) -> int:
        """Return before when all hours were rolled up; 0 where none were."""
        return self._hours.until_ms

    def rollups(self, series: Series, from_ms: int, to_ms: int) -> Rollups:
        """Return the five-minute pieces of a series that begin from an instant on and before another."""
        with self._lock:
            return self._hours.rolled_up(series, from_ms, to_ms)

    # ------------------------------------------------------------------- journal and refused

    def journal(self, *, last: int | None = None) -> list[JournalEntry]:
        """Return the journal in the order it was written, or its last entries."""
        with self._lock:
            entries = [_entry(number, row) for number, row in enumerate(self._journal, start=1)]
        return entries if last is None else entries[max(0, len(entries) - last) :]

    def standing(self) -> list[JournalEntry]:
        """Return the raised entries that no later one has returned, in the order they were raised."""
        raised: dict[tuple[str, str, str], list[JournalEntry]] = {}
        with self._lock:
            for number, row in enumerate(self._journal, start=1):
                alarm = row["tray"], row["quantity"], row["condition"]
                if row["event"] == RAISED:
                    raised.setdefault(alarm, []).append(_entry(number, row))
                elif row["event"] == RETURNED:
                    raised.pop(alarm, None)
        return sorted(entry for entries in raised.values() for entry in entries)

    def last_of_alarms(self) -> dict[Alarm, JournalEntry]:
        """Return the last entry of every alarm that has any."""
        with self._lock:
            rows = enumerate(self._journal, start=1)
            return {
                Alarm(row["tray"], row["quantity"], row["condition"]): _entry(number, row)
                for number, row in rows
            }

    def ask(self, asked: Sequence[Act]) -> None:
        """Write down what a person wants, all or nothing, for the daemon to take; also beside a live one."""
        kept = [act_of(act_row(act)) for act in asked]
        with self._lock:
            for act in kept:
                self._acts[max(self._acts, default=0) + 1] = act

    def acts(self) -> dict[int, Act]:
        """Return what was asked and is not done yet, by number, in the order it was asked."""
        with self._lock:
            return dict(self._acts)

    def record(self, make: MakeRecords) -> list[Record]:
        """Put on record what ``make`` returns, all or nothing, and return it numbered."""
        with self._lock:
            kept = len(self._records)
            self._records += [record_row(one) for one in make(self.records())]
            return self.records(after=kept)

    def records(self, *, after: int = 0) -> list[Record]:
        """Return the records with numbers above one, in order of number."""
        with self._lock:
            rows = enumerate(self._records[after:], start=after + 1)
            return [record_of({"number": number, **row}) for number, row in rows]

    def refused(self, last: int = 100) -> list[tuple[int, Refused]]:
        """Return the newest refused readings with the time they were refused at, the newest last."""
        with self._lock:
            return self._refused[max(0, len(self._refused) - last) :]

    def late(self, from_ms: int, to_ms: int) -> dict[Series, int]:
        """Return how many readings with from_ms <= time < to_ms came too late to be judged, by series."""
        with self._lock:
            names = {number: series for series, number in self._numbers.items()}
            return dict(
                Counter(names[number] for time_ms, number in self._late if from_ms <= time_ms < to_ms)
            )

    def lost(self, from_ms: int, to_ms: int) -> dict[str, int]:
        """Return how many messages each channel has given up between two instants."""
        with self._lock:
            ends = [(self._outbox[number], end) for number, end in self._ends.items()]
        given_up = [
            due.channel for due, end in ends if not end.is_delivered and from_ms <= end.time_ms < to_ms
        ]
        return dict(Counter(given_up))

    def counts(self) -> dict[str, int]:
        """Return how many of each thing are kept; of the refused, how many there ever were."""
        with self._lock:
            return {
                "readings": len(self._readings),
                "late": len(self._late),
                "refused": self._ever_refused,
                "journal": len(self._journal),
                "due": len(self.waiting()),
                "sent": sum(end.is_delivered for end in self._ends.values()),
            }

    # --------------------------------------------------------------------------------- outbox

    def due(self, now_ms: int, limit: int = 100) -> list[Due]:
        """Return messages whose time has come, in the order they were written."""
        return [due for due in self.waiting() if due.due_ms <= now_ms][:limit]

    def waiting(self) -> list[Due]:
        """Return every message not yet delivered nor given up, in the order they were written."""
        with self._lock:
            return [due for number, due in self._outbox.items() if number not in self._ends]

    def delivered(self, number: int, now_ms: int) -> None:
        """Mark a message as delivered; one no longer waiting stays as it is."""
        self._end(number, _End(is_delivered=True, time_ms=now_ms))

    def postponed(self, number: int, due_ms: int, error: str) -> None:
        """Mark a failed attempt and when to try again."""
        with self._lock:
            old = self._outbox.get(number)
            if old is not None and number not in self._ends:
                tried = replace(old, due_ms=due_ms, last_error=error, attempts=old.attempts + 1)
                self._outbox[number] = tried

    def given_up(self, number: int, now_ms: int, error: str) -> None:
        """Mark a message that this channel will never take."""
        self._end(number, _End(is_delivered=False, time_ms=now_ms, error=error))

    def _end(self, number: int, end: _End) -> None:
        with self._lock:
            if number in self._outbox:
                self._ends.setdefault(number, end)


def _refuse_unkeepable(reading: Reading) -> None:
    # A numpy integer passes for one in most places, but not in a database.
    if type(reading.time_ms) is not int or not math.isfinite(reading.value):
        raise StoreFailed(ADAPTER, f"cannot be kept: {reading}")


def _refused(row: Row) -> Refused:
    return Refused(**{name: row[name] for name in Refused._fields})


def _entry(number: int, row: Row) -> JournalEntry:
    return JournalEntry(number, row["time_ms"], row["tray"], json.loads(row["fields"]))


def _due(number: int, row: Row) -> Due:
    fields = json.loads(row["fields"])
    message = Message(row["key"], row["subject"], row["body"], fields)
    return Due(number, row["channel"], message, row["created_ms"], 0, row["due_ms"], "")
