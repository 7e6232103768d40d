"""The store in an SQLite file, through SQLAlchemy Core.

The rule of this file: reading holds no transaction open between two steps of an iterator; rounds and marks of
messages are kept at any cost, the reserve's included, all else only where there is room.
"""

import json
import logging
from collections.abc import Collection, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Engine, Select, exists, func, insert, select, update
from sqlalchemy import Row as Found

from wardian.adapters.stores import folding, letting_go, moving_rows, sums
from wardian.adapters.stores.copies import free_name
from wardian.adapters.stores.failures import explaining
from wardian.adapters.stores.flaws import flaws_of
from wardian.adapters.stores.keeping import Keeper
from wardian.adapters.stores.lock import DatabaseLock
from wardian.adapters.stores.packing import act_of, act_row, pack, record_of, record_row, state_of
from wardian.adapters.stores.reading_back import (
    Key,
    Row,
    Span,
    judged,
    late_times,
    named,
    names_by_number,
    numbers_of,
    page,
)
from wardian.adapters.stores.schema import (
    acts,
    is_waiting,
    journal,
    late,
    notes,
    outbox,
    records,
    refused,
    states,
)
from wardian.adapters.stores.sqlite_file import (
    asking,
    driver_of,
    open_for_reading,
    open_for_writing,
    refuse_what_is_not_ours,
)
from wardian.adapters.stores.transactions import Transactions
from wardian.adapters.stores.unreadable import put_aside as put_rows_aside
from wardian.adapters.stores.unreadable import unreadable
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
from wardian.rules.readings import Chunk, Reading, Series
from wardian.rules.records import Record
from wardian.rules.rollups import Rollups
from wardian.rules.transitions import RAISED, RETURNED

log = logging.getLogger(__name__)


class SqlStore(Transactions):
    """What is kept, in one SQLite file; may be called from any thread."""

    def __init__(self, path: Path, engine: Engine, lock: DatabaseLock | None) -> None:
        """Take over an open engine, and the lock that makes this the one writer (None: only read)."""
        super().__init__(path, engine, lock)
        self._keeper = Keeper()

    @classmethod
    def open(cls, path: Path, *, read_only: bool = False) -> Self:
        """Open the database at a path; the writer makes it, or brings it up to date, if need be.

        Read-only works beside a live writer, of another process too, and makes no file.

        Raises:
            StoreFailed: It is in use by another writer, not ours, newer than this program, lost or damaged.
        """
        path = path.resolve()
        if read_only:
            return cls(path, open_for_reading(path), None)
        refuse_what_is_not_ours(path)
        lock = DatabaseLock.take(path)
        try:
            return cls(path, open_for_writing(path, lock), lock)
        except BaseException:
            lock.release()
            raise

    # --------------------------------------------------------------------------------- damage

    def damage(self) -> str:
        """Return what is broken in the file, empty if nothing. Reads all of it: minutes for gigabytes."""
        with self._reading() as connection:
            return "; ".join(flaws_of(driver_of(connection)))

    def unreadable(self, from_ms: int = 0, *, fully: bool = False) -> list[Unreadable]:
        """Return the packed rows of the hours from one on that cannot be read; ``fully`` unpacks each."""
        return unreadable(self._reading, from_ms, fully=fully)

    def put_aside(self, found: Sequence[Unreadable], now_ms: int) -> Mended:
        """Take packed rows that cannot be read out of the database into a file beside it."""
        aside = free_name(self._path, "damaged-hours", now_ms)
        with self._writing() as connection:
            put_rows_aside(connection, found, aside)
        return Mended("hours", f"{len(found)} packed hours cannot be read", aside.name)

    # --------------------------------------------------------------------------------- rounds

    def keep(self, round_: Round) -> Kept:
        """Commit one round: all of it or nothing. A repeated (time, tray, quantity) is ignored."""
        packed = pack(round_)
        return self._write_at_any_cost(lambda connection: self._keeper.keep(connection, round_, packed))

    def move(self, moving: Moving) -> None:
        """Move all that was kept of an era to where it belongs; all of it or nothing."""
        with self._writing() as connection:
            moving_rows.move(connection, moving)
            self._keeper.forget()

    def states(self) -> dict[str, dict[str, Any]]:
        """Return the last saved engine state of every tray."""
        with self._reading() as connection:
            return {tray: state_of(state) for tray, state in connection.execute(select(states))}

    def notes(self) -> dict[str, Any]:
        """Return the small named facts kept with the rounds, the last of each name."""
        with self._reading() as connection:
            return {name: json.loads(value) for name, value in connection.execute(select(notes))}

    # ------------------------------------------------------------------------------- readings

    def readings(self, from_ms: int, to_ms: int, *, late: bool = True) -> Iterator[Reading]:
        """Yield readings with from_ms <= time < to_ms in order of time, late ones on request."""
        after: Key | None = (from_ms, -1)
        while after is not None:
            with self._reading() as connection:
                rows, following = page(connection, after, to_ms)
                too_late = set() if late else _late_keys(connection, rows)
                names = names_by_number(connection)
            for time_ms, number, value in rows:
                if (time_ms, number) not in too_late:
                    yield Reading(time_ms, *names[number], value)
            after = following

    def chunk(
        self,
        from_ms: int,
        to_ms: int,
        quantities: Collection[str] | None = None,
        trays: Collection[str] | None = None,
    ) -> Chunk:
        """Return readings with from_ms <= time < to_ms that were judged, as arrays (no late ones)."""
        with self._reading() as connection:
            names = names_by_number(connection)
            wanted = numbers_of(names, quantities, trays)
            return named(judged(connection, Span(from_ms, to_ms, wanted)), names)

    def latest(self) -> dict[Series, Reading]:
        """Return the newest reading of every series."""
        with self._reading() as connection:
            return sums.latest(connection)

    # ----------------------------------------------------------------------------- closed hours

    def fold(self, before_ms: int, plans: Mapping[str, TrayPlan], most: int = SERIES_AT_ONCE) -> bool:
        """Fold some of the oldest hours that ended before an instant; return whether more is to be folded."""
        with self._reading() as connection:
            if not folding.is_due(connection, before_ms):
                return False
        with self._writing() as connection:
            return folding.fold(connection, (before_ms, most), plans)

    def let_go(self, older: Older) -> bool:
        """Let go of the oldest hour that ended before an instant; return whether more is to be let go."""
        with self._reading() as connection:
            if not letting_go.is_due(connection, older):
                return False
        with self._writing() as connection:
            letting_go.let_go(connection, older)
            return letting_go.is_due(connection, older)

    def folded_until_ms(self) -> int:
        """Return before when all hours were folded; 0 where none were."""
        with self._reading() as connection:
            return folding.folded_until_ms(connection)

    def rollups(self, series: Series, from_ms: int, to_ms: int) -> Rollups:
        """Return the five-minute pieces of a series that begin from an instant on and before another, of folded hours."""
        with self._reading() as connection:
            return folding.rolled_up(connection, series, Span(from_ms, to_ms))

    # ------------------------------------------------------------------- journal and refused

    def journal(self, *, last: int | None = None) -> list[JournalEntry]:
        """Return the journal in the order it was written, or its last entries."""
        newest_first = select(journal).order_by(journal.c.number.desc()).limit(last)
        with self._reading() as connection:
            return [_entry(row) for row in connection.execute(newest_first)][::-1]

    def standing(self) -> list[JournalEntry]:
        """Return the raised entries that no later one has returned, in the order they were raised."""
        later = journal.alias("later")
        returned_since = exists().where(
            later.c.tray == journal.c.tray,
            later.c.quantity == journal.c.quantity,
            later.c.condition == journal.c.condition,
            later.c.number > journal.c.number,
            later.c.event == RETURNED,
        )
        standing = select(journal).where(journal.c.event == RAISED, ~returned_since)
        with self._reading() as connection:
            return [_entry(row) for row in connection.execute(standing.order_by(journal.c.number))]

    def last_of_alarms(self) -> dict[Alarm, JournalEntry]:
        """Return the last entry of every alarm that has any."""
        alarm = (journal.c.tray, journal.c.quantity, journal.c.condition)
        last = select(func.max(journal.c.number)).group_by(*alarm)
        with self._reading() as connection:
            rows = connection.execute(select(journal).where(journal.c.number.in_(last))).all()
        return {Alarm(row.tray, row.quantity, row.condition): _entry(row) for row in rows}

    def ask(self, asked: Sequence[Act]) -> None:
        """Write down what a person wants, all or nothing, for the daemon to take; also beside a live one."""
        if asked:
            with explaining(self._path), asking(self._path) as connection:
                connection.execute(insert(acts), [act_row(act) for act in asked])

    def acts(self) -> dict[int, Act]:
        """Return what was asked and is not done yet, by number, in the order it was asked."""
        with self._reading() as connection:
            rows = connection.execute(select(acts).order_by(acts.c.number)).mappings().all()
        return {row["number"]: act_of(dict(row)) for row in rows}

    def record(self, make: MakeRecords) -> list[Record]:
        """Put on record what ``make`` returns, all or nothing, and return it numbered; also beside a live writer."""
        with explaining(self._path), asking(self._path) as connection:
            known = _records(connection, 0)
            rows = [record_row(one) for one in make(known)]
            if rows:
                connection.execute(insert(records), rows)
            return _records(connection, known[-1].number if known else 0)

    def records(self, *, after: int = 0) -> list[Record]:
        """Return the records with numbers above one, in order of number."""
        with self._reading() as connection:
            return _records(connection, after)

    def refused(self, last: int = 100) -> list[tuple[int, Refused]]:
        """Return the newest refused readings with the time they were refused at, the newest last."""
        newest_first = select(refused).order_by(refused.c.number.desc()).limit(last)
        with self._reading() as connection:
            rows = connection.execute(newest_first).all()
        return [(row.refused_ms, Refused(*row[2:])) for row in reversed(rows)]

    def late(self, from_ms: int, to_ms: int) -> dict[Series, int]:
        """Return how many readings with from_ms <= time < to_ms came too late to be judged, by series."""
        of_span = (late.c.time_ms >= from_ms) & (late.c.time_ms < to_ms)
        query = select(late.c.series_id, func.count()).where(of_span).group_by(late.c.series_id)
        with self._reading() as connection:
            names = names_by_number(connection)
            return {names[number]: count for number, count in connection.execute(query)}

    def lost(self, from_ms: int, to_ms: int) -> dict[str, int]:
        """Return how many messages each channel has given up between two instants."""
        of_span = (outbox.c.given_up_ms >= from_ms) & (outbox.c.given_up_ms < to_ms)
        query = select(outbox.c.channel, func.count()).where(of_span).group_by(outbox.c.channel)
        with self._reading() as connection:
            return {row[0]: row[1] for row in connection.execute(query)}

    def counts(self) -> dict[str, int]:
        """Return how many of each thing are kept; of the refused, how many there ever were."""
        number = {
            "late": select(func.count()).select_from(late),
            "refused": select(func.coalesce(func.max(refused.c.number), 0)),
            "journal": select(func.count()).select_from(journal),
            "due": select(func.count()).select_from(outbox).where(is_waiting),
            "sent": select(func.count()).select_from(outbox).where(outbox.c.delivered_ms.is_not(None)),
        }
        with self._reading() as connection:
            rest = {name: connection.execute(query).scalar_one() for name, query in number.items()}
            return {"readings": sums.count(connection)} | rest

    # --------------------------------------------------------------------------------- outbox

    def due(self, now_ms: int, limit: int = 100) -> list[Due]:
        """Return messages whose time has come, in the order they were written."""
        return self._outbox(select(outbox).where(is_waiting, outbox.c.due_ms <= now_ms).limit(limit))

    def waiting(self) -> list[Due]:
        """Return every message not yet delivered nor given up, in the order they were written."""
        return self._outbox(select(outbox).where(is_waiting))

    def delivered(self, number: int, now_ms: int) -> None:
        """Mark a message as delivered; one no longer waiting stays as it is."""
        self._mark(number, {"delivered_ms": now_ms})

    def postponed(self, number: int, due_ms: int, error: str) -> None:
        """Mark a failed attempt and when to try again."""
        self._mark(number, {"due_ms": due_ms, "last_error": error, "attempts": outbox.c.attempts + 1})

    def given_up(self, number: int, now_ms: int, error: str) -> None:
        """Mark a message that this channel will never take."""
        self._mark(number, {"given_up_ms": now_ms, "last_error": error})

    def _outbox(self, query: Select[Any]) -> list[Due]:
        with self._reading() as connection:
            return [_due(row) for row in connection.execute(query.order_by(outbox.c.number))]

    def _mark(self, number: int, values: Mapping[str, Any]) -> None:
        marked = update(outbox).where(outbox.c.number == number, is_waiting).values(values)
        self._write_at_any_cost(lambda connection: connection.execute(marked))

    def _drop_writer(self) -> None:
        self._keeper.forget()
        super()._drop_writer()


def _records(connection: Connection, after: int) -> list[Record]:
    query = select(records).where(records.c.number > after).order_by(records.c.number)
    return [record_of(dict(row)) for row in connection.execute(query).mappings()]


def _late_keys(connection: Connection, rows: Sequence[Row]) -> set[Key]:
    """Return which of some readings, in order of time, came too late."""
    span = Span(rows[0][0], rows[-1][0] + 1) if rows else Span(0, 0)
    late_ones = late_times(connection, span)
    return {(time_ms, number) for number, times_ms in late_ones.items() for time_ms in times_ms}


def _entry(row: Found[Any]) -> JournalEntry:
    return JournalEntry(row.number, row.time_ms, row.tray, json.loads(row.fields))


def _due(row: Found[Any]) -> Due:
    return Due(
        number=row.number,
        channel=row.channel,
        message=Message(row.key, row.subject, row.body, json.loads(row.fields)),
        created_ms=row.created_ms,
        attempts=row.attempts,
        due_ms=row.due_ms,
        last_error=row.last_error,
    )
