"""A round as both stores write it down: plain numbers, text and bytes.

The rule of this file: whatever cannot be kept is refused here, before anything of its round is written.
"""

import json
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Final

from wardian.rules.errors import StoreFailed
from wardian.rules.moving import Moving, moved_json, moved_state
from wardian.rules.ports import Act, Alarm, Refused, Round
from wardian.rules.records import KINDS, Record

#: What the configuration calls it, in every error.
ADAPTER: Final = "store"

#: Of what was refused, this much is kept of each text and this many of them.
RAW_LIMIT: Final = 200
REFUSED_LIMIT: Final = 10_000

#: The note that says before when readings were let go.
GONE_NOTE: Final = "let-go"

_INTEGER_LIMIT: Final = 2**63

Row = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Packed:
    """The rows of one round by table, readings excepted, each with the columns of its table."""

    journal: list[Row]
    outbox: list[Row]
    states: list[Row]
    notes: list[Row]
    refused: list[Row]
    acts_done: list[int]
    records: list[Row]


def act_row(act: Act) -> Row:
    """Return what a person wants as the columns of its table.

    Raises:
        StoreFailed: It names an instant that no table can hold.
    """
    for time_ms in (act.asked_ms, act.until_ms):
        if time_ms is not None and not -_INTEGER_LIMIT <= time_ms < _INTEGER_LIMIT:
            raise StoreFailed(ADAPTER, f"cannot be kept: {act}")
    return {
        "asked_ms": act.asked_ms,
        **act.alarm._asdict(),
        "event": act.event,
        "who": _text(act.who),
        "why": _text(act.why),
        "until_ms": act.until_ms,
    }


def act_of(row: Mapping[str, Any]) -> Act:
    """Return what a person wants from the columns of its table."""
    alarm = Alarm(row["tray"], row["quantity"], row["condition"])
    return Act(row["asked_ms"], alarm, row["event"], row["who"], row["why"], row["until_ms"])


def record_row(record: Record) -> Row:
    """Return a record as the columns of its table, without its number.

    Raises:
        StoreFailed: It is of no known kind, or has something that no table can hold.
    """
    times = (record.time_ms, record.recorded_ms)
    if record.kind not in KINDS or not all(-_INTEGER_LIMIT <= time_ms < _INTEGER_LIMIT for time_ms in times):
        raise StoreFailed(ADAPTER, f"cannot be kept: {record}")
    texts = {name: _text(getattr(record, name)) for name in ("tray", "batch", "who", "why")}
    return {
        "kind": record.kind,
        "time_ms": record.time_ms,
        "recorded_ms": record.recorded_ms,
        **texts,
        "fields": to_json(record.fields),
        "corrects": record.corrects,
    }


def record_of(row: Mapping[str, Any]) -> Record:
    """Return a record from the columns of its table."""
    return Record(**{**row, "fields": json.loads(row["fields"])})


def pack(round_: Round) -> Packed:
    """Return a round's rows.

    Raises:
        StoreFailed: Something in it cannot be written as JSON or lacks what the journal is read by.
    """
    return Packed(
        journal=[_journal_row(*entry) for entry in round_.journal],
        outbox=[
            {
                "channel": due.channel,
                "key": due.message.key,
                "subject": due.message.subject,
                "body": due.message.body,
                "fields": to_json(due.message.fields),
                "created_ms": round_.now_ms,
                "attempts": 0,
                "due_ms": round_.now_ms,
                "last_error": "",
            }
            for due in round_.due
        ],
        states=[{"tray": tray, "state": _packed(state)} for tray, state in round_.states.items()],
        notes=[{"name": name, "value": to_json(value)} for name, value in round_.notes.items()],
        refused=[{"refused_ms": round_.now_ms, **_cut(one)._asdict()} for one in round_.refused],
        acts_done=list(round_.acts_done),
        records=[record_row(record) for record in round_.records],
    )


def to_json(value: Any) -> str:
    """Return a value as JSON text without NaN or infinity.

    Raises:
        StoreFailed: JSON has no such value.
    """
    try:
        return json.dumps(value, allow_nan=False, separators=(",", ":"))
    except (TypeError, ValueError, RecursionError) as error:
        raise StoreFailed(ADAPTER, f"cannot be kept as JSON: {error}") from error


def state_of(packed: bytes) -> dict[str, Any]:
    """Return the engine's state of one tray as it was given."""
    state: dict[str, Any] = json.loads(zlib.decompress(packed))
    return state


def _packed(state: Mapping[str, Any]) -> bytes:
    return zlib.compress(to_json(state).encode())


def moved_packed(packed: bytes, moving: Moving) -> bytes:
    """Return the engine's state of one tray, moved."""
    return _packed(moved_state(state_of(packed), moving))


def moved_text(text: str, moving: Moving) -> str:
    """Return JSON text with every instant in it moved."""
    return to_json(moved_json(json.loads(text), moving))


def moved_entry(row: Row, moving: Moving) -> Row:
    """Return a row of the journal, moved; what people put on record keeps its time."""
    time_ms = moving.of(row["time_ms"])
    fields = json.loads(row["fields"])
    if time_ms == row["time_ms"] or "record" in fields:
        return row
    return {**row, "time_ms": time_ms, "fields": to_json(moved_json(fields, moving))}


def _journal_row(time_ms: int, tray: str, fields: Mapping[str, Any]) -> Row:
    row = {
        "time_ms": time_ms,
        "tray": tray,
        "quantity": fields.get("quantity"),
        "condition": fields.get("limit") or fields.get("condition") or fields.get("alarm"),
        "event": fields.get("event"),
        "fields": to_json(fields),
    }
    missing = [name for name in ("quantity", "condition", "event") if not isinstance(row[name], str)]
    if missing:
        raise StoreFailed(ADAPTER, f"a journal entry of {tray} has no {' and no '.join(missing)}")
    return row


def _cut(refused: Refused) -> Refused:
    """Return what is kept of it: bounded, and writable whatever arrived."""
    source, why, raw, time_ms, tray, quantity = refused
    if time_ms is not None and not -_INTEGER_LIMIT <= time_ms < _INTEGER_LIMIT:
        time_ms = None
    return Refused(
        _text(source),
        _text(why),
        _text(raw),
        time_ms,
        None if tray is None else _text(tray),
        None if quantity is None else _text(quantity),
    )


def _text(text: str) -> str:
    # Half a surrogate pair, as a broken payload can bring, has no UTF-8.
    return text[:RAW_LIMIT].encode("utf-8", "backslashreplace").decode()[:RAW_LIMIT]
