"""What ``wardian batch`` does: put on record what people say of batches, show it, and set batches side by side."""

import argparse
import json
import sys
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, Final

from wardian.daemon import (
    batch_records,
    batch_table,
    recorded,
    report_batch_compare,
    report_batches,
    visiting,
    wiring,
)
from wardian.daemon.acts import one_line
from wardian.daemon.batch_cautions import cautions, warnings
from wardian.daemon.batch_crops import known_crop
from wardian.daemon.batch_fields import FIELDS, Bench, moment_ms
from wardian.daemon.batch_records import Entry
from wardian.daemon.cli_alarms import whoever
from wardian.daemon.config import Config
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.putting import Make
from wardian.daemon.record_words import record_words
from wardian.daemon.tongue import Tongue
from wardian.rules.batch_compare import BY, Group, compare, group_of, grouped
from wardian.rules.batches import Batch, batches

#: For who looks back, no instant lies ahead of a clock. [ms]
_FAR_MS: Final = 2**62
_SAID: Final = ("tray", "crop", "count_stuck", "stuck", *(field.name for field in FIELDS))


def batch(options: argparse.Namespace) -> int:
    """Do one thing about batches."""
    config = wiring.load_config(Path(options.config))
    try:
        if options.act in _MAKES:
            return _put(config, options)
        return _ACTS[options.act](config, options)
    except ValueError as error:
        print(f"wardian batch {options.act}: {error}", file=sys.stderr)
        return CANNOT_BE_USED


def _print_json(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, allow_nan=False))


def _print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


# ---------------------------------------------------------------------------------------------- to record


def _put(config: Config, options: argparse.Namespace) -> int:
    put_down = visiting.put_on_record(config, _MAKES[options.act](config, options))
    record = put_down.records[0]
    stands = batches(visiting.records(config))[record.batch]
    beside = (
        [*warnings(config, stands), *cautions(config, stands)] if options.act in ("new", "correct") else []
    )
    if options.json:
        told = {"put": record.kind, "number": record.number, "is_watching": put_down.is_watching}
        _print_json({**told, "warnings": beside, **report_batches.batch_json(stands)})
        return DONE
    tongue = Tongue.of(config.site)
    print(f"{record_words(record, tongue)} {tongue.moment(record.time_ms)}, put on record as {record.number}")
    for warning in beside:
        print(f"warning: {warning}", file=sys.stderr)
    return DONE


def _entry(options: argparse.Namespace, why: str = "") -> Entry:
    who = one_line(options.who or "") or whoever()
    at, corrects = getattr(options, "at", ""), getattr(options, "corrects", None)
    return Entry(options.batch, who, one_line(why or options.why), at, corrects)


def _said(options: argparse.Namespace) -> Mapping[str, str]:
    return {name: getattr(options, name) for name in _SAID if getattr(options, name) is not None}


def _close(config: Config, options: argparse.Namespace) -> Make:
    said = {name: getattr(options, name) for name in ("potted", "fit", "discarded")}
    return batch_records.close(config, _entry(options), said)


_MAKES: Final[Mapping[str, Callable[[Config, argparse.Namespace], Make]]] = {
    "new": lambda config, options: batch_records.new(config, _entry(options), _said(options)),
    "correct": lambda config, options: batch_records.correct(config, _entry(options), _said(options)),
    "remove": lambda config, options: batch_records.remove(
        config, _entry(options), options.count, options.reason
    ),
    "score": lambda config, options: batch_records.score(config, _entry(options), options.counts),
    "close": _close,
    "note": lambda config, options: batch_records.note(config, _entry(options, options.text)),
}


# ------------------------------------------------------------------------------------------------ to see


def _listed(config: Config, options: argparse.Namespace) -> int:
    found = [one for one in batches(visiting.records(config)).values() if not (options.open and one.closed)]
    found = _of_crop(config, found, options.crop)
    if options.json:
        for one in found:
            _print_json(report_batches.batch_json(one))
    else:
        _print_lines(report_batches.list_lines(Tongue.of(config.site), found))
    return DONE


def _of_crop(config: Config, found: Iterable[Batch], crop: str | None) -> list[Batch]:
    """Return the batches of a crop, which is one of the configuration's or of a batch's."""
    every = list(found)
    if crop is None:
        return every
    if crop not in (one.crop for one in every):
        batch_records.read_as(lambda written, _: known_crop(config, written), "--crop", crop, _bench(config))
    return [one for one in every if one.crop == crop]


def _bench(config: Config) -> Bench:
    return Bench(config.site.zone, _FAR_MS)


def _show(config: Config, options: argparse.Namespace) -> int:
    found = batch_records.batch_named(visiting.records(config), options.batch)
    if options.json:
        _print_json(report_batches.batch_json(found))
    else:
        _print_lines(report_batches.show_lines(Tongue.of(config.site), found))
    return DONE


def _compare(config: Config, options: argparse.Namespace) -> int:
    known = batches(visiting.records(config))
    left_out: dict[str, int] = {}
    if options.by and not options.batches:
        found = _chosen(config, known, options)
        groups = grouped(found, options.by)
        left_out = _left_out(found, options.by)
        if len(groups) < 2:
            raise ValueError(
                f"closed batches with two kinds of {options.by} are needed; here are {len(groups)}"
            )
        comparisons = [compare(one, groups[0], options.by) for one in groups[1:]]
    elif len(set(options.batches)) == 2 and not options.by:
        groups = _pair(config, options.batches)
        comparisons = [compare(groups[0], groups[1])]
    else:
        raise ValueError("the names of two batches are accepted, or --by")
    if options.json:
        _print_json({**report_batch_compare.compare_json(groups, comparisons), "left_out": left_out})
        return DONE
    _print_lines(report_batch_compare.compare_lines(groups, comparisons))
    _print_lines(f"Left out: {count}, {why}." for why, count in left_out.items() if count)
    return DONE


def _pair(config: Config, names: Iterable[str]) -> list[Group]:
    known = visiting.records(config)
    pair = [batch_records.batch_named(known, name) for name in names]
    for one in pair:
        if not one.closed:
            raise ValueError(f"batch {one.name} is not closed: what becomes of it is not known yet")
    return [group_of(one.name, [one]) for one in pair]


def _chosen(config: Config, known: Mapping[str, Batch], options: argparse.Namespace) -> list[Batch]:
    found = _of_crop(config, known.values(), options.crop)
    if not options.since:
        return found
    since_ms = batch_records.read_as(moment_ms, "--since", options.since, _bench(config))
    return [one for one in found if one.stuck_ms >= since_ms]


def _left_out(found: Iterable[Batch], by: str) -> dict[str, int]:
    """Return how many batches are in no group, by why not."""
    every = list(found)
    return {
        "not closed": sum(one.closed is None for one in every),
        f"closed, but nobody recorded the {by}": sum(BY[by](one) is None for one in every if one.closed),
    }


# --------------------------------------------------------------------------------------- files of batches


def _export(config: Config, options: argparse.Namespace) -> int:
    found = batches(visiting.records(config))
    recorded.write_table(Path(options.out), batch_table.table(found.values()))
    return _counted(options, "written to", options.out, len(found))


def _import(config: Config, options: argparse.Namespace) -> int:
    rows = recorded.read_table(Path(options.file))
    who = one_line(options.who or "") or whoever()
    put_down = visiting.put_on_record(config, batch_table.taken_in(config, options.file, rows, who))
    return _counted(options, "taken in from", options.file, len(batches(put_down.records)))


def _counted(options: argparse.Namespace, what: str, file: str, count: int) -> int:
    if options.json:
        _print_json({"file": file, "batches": count})
    else:
        print(f"{count} {'batch' if count == 1 else 'batches'} {what} {file}")
    return DONE


def _explain(config: Config, options: argparse.Namespace) -> int:
    from wardian.daemon.cli_batch_explain import explain

    return explain(config, options)


_ACTS: Final[Mapping[str, Callable[[Config, argparse.Namespace], int]]] = {
    "explain": _explain,
    "list": _listed,
    "show": _show,
    "compare": _compare,
    "export": _export,
    "import": _import,
}
