"""What commands put on record about batches.

The rule of this file: a record is made, the batch is folded with it in place, and only what can be true of the whole
batch is put down.
"""

from collections.abc import Mapping, Sequence
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any, Final, NamedTuple

from wardian.daemon.batch_crops import known_crop
from wardian.daemon.batch_fields import (
    FIELDS,
    Bench,
    Read,
    moment_ms,
    name,
    reason_counts,
    score_counts,
    text,
    whole,
)
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.putting import Make, corrected, tray_named
from wardian.rules.batch_checks import impossible
from wardian.rules.batches import REASONS, Batch, batches, open_batch
from wardian.rules.crops import day_start_ms
from wardian.rules.documents import nearest, shown
from wardian.rules.records import BATCH, CLOSED, NOTE, REMOVAL, SCORES, Record, in_force

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)
_HAPPENED: Final = frozenset({REMOVAL, SCORES, CLOSED, NOTE})
_HALF_DAY_MS: Final = 43_200_000


class Entry(NamedTuple):
    """Of which batch something is said, by whom and why, when it happened where not now, and what it corrects."""

    batch: str
    who: str
    why: str = ""
    at: str = ""
    corrects: int | None = None


def read_as(read: Read, option: str, written: str, bench: Bench) -> Any:
    """Return what is written for an option.

    Raises:
        ValueError: It cannot be read; the message names the option.
    """
    try:
        return read(written, bench)
    except ValueError as error:
        raise ValueError(f"{option} {shown(written)} {error}") from error


# ------------------------------------------------------------------------------ a batch and its details


def new(config: Config, entry: Entry, said: Mapping[str, str]) -> Make:
    """Return what makes the record with which a batch begins, of what is written for each word."""

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        bench = Bench(config.site.zone, now_ms)
        read_as(name, "NAME", entry.batch, bench)
        _refuse_known(known, entry.batch)
        tray = tray_named(config, said["tray"])
        fields = {"crop": tray.crop.name, **_details(said, bench), **_core(config, said, bench)}
        default_ms = _stuck_then(tray, fields.get("taken_ms"), bench)
        stuck_ms = read_as(moment_ms, "--stuck", said["stuck"], bench) if said.get("stuck") else default_ms
        record = Record(BATCH, stuck_ms, now_ms, tray.name, entry.batch, entry.who, entry.why, fields)
        return _checked(known, record)

    return make


def correct(config: Config, entry: Entry, said: Mapping[str, str]) -> Make:
    """Return what makes the record that takes the place of a batch's first: the same but for what is written."""

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        bench = Bench(config.site.zone, now_ms)
        if not said:
            raise ValueError("nothing to correct was named; `wardian batch correct --help` lists what can be")
        batch = batch_named(known, entry.batch)
        fields = {**fields_of(batch), **_details(said, bench), **_core(config, said, bench)}
        stuck_ms = read_as(moment_ms, "--stuck", said["stuck"], bench) if "stuck" in said else batch.stuck_ms
        tray = tray_named(config, said["tray"]).name if "tray" in said else batch.tray
        made = {key: value for key, value in fields.items() if value is not None}
        record = Record(BATCH, stuck_ms, now_ms, tray, batch.name, entry.who, entry.why, made, batch.number)
        return [*_checked(known, record), *_taken_along(known, record)]

    return make


def _taken_along(known: Sequence[Record], begun: Record) -> list[Record]:
    """Return what happened to a batch, in its other tray: a tray is planned by the records that name it."""
    happened = [one for one in in_force(known) if one.batch == begun.batch and one.kind in _HAPPENED]
    return [
        one._replace(tray=begun.tray, recorded_ms=begun.recorded_ms, corrects=one.number, number=0)
        for one in happened
        if one.tray != begun.tray
    ]


def fields_of(batch: Batch) -> dict[str, Any]:
    """Return what the record of a batch says, as plain values."""
    details = {key: value for key, value in asdict(batch.details).items() if value is not None}
    if batch.details.sensors is not None:
        details["sensors"] = list(batch.details.sensors)
    return {"crop": batch.crop, "count_stuck": batch.count_stuck, "stuck_by": batch.stuck_by, **details}


def _core(config: Config, said: Mapping[str, str], bench: Bench) -> dict[str, Any]:
    found: dict[str, Any] = {}
    if "crop" in said:
        found["crop"] = read_as(lambda written, _: known_crop(config, written), "--crop", said["crop"], bench)
    if "count_stuck" in said:
        found["count_stuck"] = read_as(whole, "--stuck-count", said["count_stuck"], bench)
    return found


def _details(said: Mapping[str, str], bench: Bench) -> dict[str, Any]:
    """Return the details that are written; one written empty is taken away."""
    return {
        one.name: read_as(one.read, f"--{one.word.word}", said[one.name], bench) if said[one.name] else None
        for one in FIELDS
        if one.name in said
    }


def _stuck_then(tray: TraySettings, taken_ms: int | None, bench: Bench) -> int:
    """Return when a tray's cuttings were stuck by its configuration: at noon, or when taken later on that day."""
    begin_ms = day_start_ms(tray.stuck, bench.zone)
    noon_ms, end_ms = begin_ms + _HALF_DAY_MS, day_start_ms(tray.stuck + timedelta(days=1), bench.zone) - 1
    if begin_ms > bench.now_ms:
        raise ValueError(f"tray {tray.name} is to be stuck on {tray.stuck}, ahead of the clock; say --stuck")
    return min(max(noon_ms, min(taken_ms or noon_ms, end_ms)), bench.now_ms)


# ---------------------------------------------------------------------------------- what happens to it


def remove(config: Config, entry: Entry, count: str, reason: str) -> Make:
    """Return what makes the record of cuttings taken out."""

    def fields(bench: Bench) -> dict[str, Any]:
        if reason not in REASONS:
            raise ValueError(f"{shown(reason)} is no reason; {nearest(reason, REASONS)}")
        return {"count": read_as(whole, "COUNT", count, bench), "reason": reason}

    return _happening(config, entry, REMOVAL, fields)


def score(config: Config, entry: Entry, counts: str) -> Make:
    """Return what makes the record of a look at roots."""
    return _happening(
        config, entry, SCORES, lambda bench: {"counts": read_as(score_counts, "SCORES", counts, bench)}
    )


def close(config: Config, entry: Entry, said: Mapping[str, str]) -> Make:
    """Return what makes the record of a batch's end."""

    def fields(bench: Bench) -> dict[str, Any]:
        return {
            "potted": read_as(whole, "--potted", said["potted"], bench),
            "fit": read_as(whole, "--fit", said["fit"], bench),
            "discarded": read_as(reason_counts, "--discarded", said["discarded"], bench),
        }

    return _happening(config, entry, CLOSED, fields)


def note(config: Config, entry: Entry) -> Make:
    """Return what makes a note, which is what its ``why`` says."""

    def fields(bench: Bench) -> dict[str, Any]:
        read_as(text, "TEXT", entry.why, bench)
        return {}

    return _happening(config, entry, NOTE, fields)


def _happening(config: Config, entry: Entry, kind: str, fields: Any) -> Make:
    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        bench = Bench(config.site.zone, now_ms)
        batch = batch_named(known, entry.batch)
        place = _corrected(known, entry, kind) if entry.corrects is not None else None
        if batch.closed and kind != NOTE and place is None:
            raise ValueError(
                f"batch {batch.name} is closed; withdraw or correct record {batch.closed.number} first"
            )
        time_ms = place.time_ms if place else now_ms
        if entry.at:
            time_ms = read_as(moment_ms, "--at", entry.at, bench)
        made = fields(bench)
        record = Record(
            kind, time_ms, now_ms, batch.tray, batch.name, entry.who, entry.why, made, entry.corrects
        )
        return _checked(known, record)

    return make


def _corrected(known: Sequence[Record], entry: Entry, kind: str) -> Record:
    place = corrected(known, entry.corrects or 0, kind)
    if place.batch != entry.batch:
        raise ValueError(f"record {place.number} is about batch {place.batch or 'none'}, not {entry.batch}")
    return place


# ---------------------------------------------------------------------------------------------- checks


def batch_named(known: Sequence[Record], wanted: str) -> Batch:
    """Return a batch.

    Raises:
        ValueError: There is none of that name.
    """
    found = batches(known)
    if wanted not in found:
        hint = nearest(wanted, found)
        raise ValueError(f"there is no batch {shown(wanted)}" + (f"; {hint}" if hint else ""))
    return found[wanted]


def _refuse_known(known: Sequence[Record], wanted: str) -> None:
    numbers = [str(one.number) for one in in_force(known) if one.batch == wanted]
    if wanted in batches(known):
        raise ValueError(
            f"there is a batch {wanted} already; choose another name, or `wardian batch correct`"
        )
    if numbers:
        raise ValueError(
            f"record {', '.join(numbers)} is about a batch {wanted} already; choose another name"
        )


def refuse_withdrawal(_config: Config, record: Record, known: Sequence[Record]) -> None:
    """Refuse to withdraw what begins a batch of which more is on record, or ends one whose tray has another.

    Raises:
        ValueError: It is one of these.
    """
    others = [one for one in in_force(known) if one.batch == record.batch and one.kind in _HAPPENED]
    if record.kind == BATCH and others:
        numbers = ", ".join(str(one.number) for one in others)
        raise ValueError(f"record {numbers} is about batch {record.batch} as well; withdraw that first")
    there = open_batch(batches(known), record.tray)
    if record.kind == CLOSED and there:
        raise ValueError(
            f"batch {there.name} is in tray {record.tray} now; batch {record.batch} cannot be, too"
        )


def _checked(known: Sequence[Record], record: Record) -> list[Record]:
    """Return a record as the one that is to be put down.

    Raises:
        ValueError: With it something would be true of its batch that cannot be, or two batches be in one tray.
    """
    then = batches([*known, record._replace(number=known[-1].number + 1 if known else 1)])
    batch = then[record.batch]
    wrong = impossible(batch)
    if wrong:
        raise ValueError(f"batch {batch.name}: {wrong.why}")
    other = next(
        (
            one
            for one in then.values()
            if one.tray == batch.tray and one.name != batch.name and not one.closed
        ),
        None,
    )
    if record.kind == BATCH and other and not batch.closed:
        raise ValueError(
            f"batch {other.name} is in tray {batch.tray}; close it first; `import` takes past ones"
        )
    return [record]
