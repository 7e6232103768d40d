"""What people put on record, taken up by a running daemon: told in the journal, and planned by.

The rule of this file: a record is taken up once, in one commit with its entry in the journal.
"""

import logging
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.record_words import record_words
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.care_given import CLEANED, FED, WIPED
from wardian.rules.errors import StoreFailed
from wardian.rules.observing.looks import ALCOHOL, LIFTED, MISTED, WATERED, Care
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.ports import Store
from wardian.rules.readings import Reading
from wardian.rules.records import CARE, WITHDRAWN, Record, in_force

log = logging.getLogger(__name__)

#: The note that says which record was taken up last.
NOTE: Final = "records"
#: Recorded events that observers are told of, and as what they show in the traces.
SHOWS: Final = {
    LIFTED: LIFTED,
    MISTED: MISTED,
    WATERED: WATERED,
    FED: WATERED,
    WIPED: LIFTED,
    CLEANED: LIFTED,
    ALCOHOL: ALCOHOL,
}

#: What is measured by hand in the water, and the quantity that it is.
MEASURED: Final = {"ph": "water_ph", "ec": "water_ec"}

_NEVER_MS: Final = 2**62

#: Lets all that judges a tray go on by the records there are.
Replan = Callable[[str, Sequence[Record]], None]


class Recording:
    """Takes part in the rounds with what was put on record since the last one."""

    def __init__(self, store: Store, tongue: Tongue, trays: Mapping[str, int], replan: Replan) -> None:
        """Go on after the record that an earlier run took up last.

        ``trays`` says of each when its cuttings went in: what happened before is an earlier batch's, and no news.
        """
        self._store = store
        self._tongue = tongue
        self._trays = trays
        self._replan = replan
        self._taken = int(store.notes().get(NOTE, 0))
        self._known: list[Record] = store.records()

    @property
    def known(self) -> Sequence[Record]:
        """All records there are, as far as the store was read."""
        return self._known

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return the entries of the journal about what is new, and plan by it."""
        try:
            self._known += self._store.records(after=self._known[-1].number if self._known else 0)
        except StoreFailed as error:
            if not error.may_heal:
                raise
            log.warning("store cannot say what was put on record", extra={"why": error.why})
        new = [record for record in self._known if record.number > self._taken]
        if not new:
            return Extra()
        for tray in sorted(self._trays.keys() & _trays_of(new, self._known)):
            self._replan(tray, self._known)
        extra = Extra(notes={NOTE: new[-1].number})
        for record in new:
            if record.time_ms >= self._trays.get(record.tray, _NEVER_MS):
                extra.recorded.append((now_ms, record.tray, entry_of(record, self._tongue, now_ms)))
                extra.readings += readings_of(record)
        self._taken = new[-1].number
        return extra

    def committed(self) -> None:
        """Do nothing: what is put on record waits for nothing."""


def readings_of(record: Record) -> Iterator[Reading]:
    """Yield what somebody measured by hand, as readings of the time when they did."""
    for field, quantity in MEASURED.items():
        if record.kind == CARE and field in record.fields:
            yield Reading(record.time_ms, record.tray, quantity, float(record.fields[field]))


def _trays_of(new: Sequence[Record], known: Sequence[Record]) -> set[str]:
    """Return the trays of records and of what they correct."""
    corrected = {record.corrects for record in new}
    return {record.tray for record in new} | {record.tray for record in known if record.number in corrected}


def entry_of(record: Record, tongue: Tongue, now_ms: int) -> dict[str, Any]:
    """Return the entry of the journal that tells of a record; ``since`` is when it happened."""
    why = f": {record.why}" if record.why else ""
    is_correction = record.corrects is not None and record.kind != WITHDRAWN
    corrects = f", in place of record {record.corrects}" if is_correction else ""
    said = f"{record_words(record, tongue)} {tongue.moment(record.time_ms)}"
    return {
        "time": utc_text(now_ms),
        "tray": record.tray,
        "quantity": "",
        "limit": None,
        "event": record.fields.get("event", record.kind),
        "alarm": record.kind,
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "since": utc_text(record.time_ms),
        "since_ms": record.time_ms,
        "condition": record.kind,
        "who": record.who,
        "why": record.why,
        "batch": record.batch,
        "record": record.number,
        "message": f"{said}, recorded by {record.who}{corrects}{why}.",
    }


def cares(records: Iterable[Record], since_ms: int) -> Iterator[tuple[str, Care]]:
    """Yield the care that records tell of and observers know, done since an instant, with its tray."""
    for record in in_force(records):
        event = SHOWS.get(record.fields.get("event", "")) if record.kind == CARE else None
        if event and record.time_ms >= since_ms:
            end_ms = record.time_ms + round(record.fields.get("minutes", 0) * MINUTE_MS)
            grams = record.fields.get("grams")
            yield record.tray, Care(event, record.time_ms, end_ms, is_recorded=True, grams=grams)


def remembered_cares(records: Iterable[Record], now_ms: int) -> Iterator[tuple[str, Care]]:
    """Yield the care that observers still look back to."""
    return cares(records, now_ms - KEPT * MINUTE_MS)
