"""What ``wardian plot`` and ``wardian report`` do: draw a tray into a file, or write a report of some into one page."""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Sequence
from contextlib import ExitStack
from pathlib import Path
from typing import Any, Final

from wardian.daemon import recorded, visiting, wiring
from wardian.daemon.batch_records import batch_named
from wardian.daemon.cli_picture_options import MOST_DAYS
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.picture_page import page
from wardian.daemon.picture_report import Setting, reported, seen_under
from wardian.daemon.picture_sources import Source, of_store, of_week, tray_then
from wardian.daemon.pictures import FORMS, WIDTHS, draw
from wardian.daemon.putting import tray_named
from wardian.daemon.report_tune import week_lines
from wardian.daemon.tongue import Tongue
from wardian.rules.batches import Batch

_DAY_MS: Final = 86_400_000


def plot(options: argparse.Namespace) -> int:
    """Draw one tray into a file."""
    try:
        return _plot(options)
    except ValueError as error:
        return _wrong("plot", error)


def report(options: argparse.Namespace) -> int:
    """Write a report of trays into one page."""
    try:
        return _report(options)
    except ValueError as error:
        return _wrong("report", error)


def _wrong(command: str, why: ValueError) -> int:
    print(f"wardian {command}: {why}", file=sys.stderr)
    return CANNOT_BE_USED


def _plot(options: argparse.Namespace) -> int:
    out = Path(options.out)
    form = out.suffix.removeprefix(".")
    if form not in FORMS:
        raise ValueError(f"--out {out}: a name that ends in .svg or .png is accepted")
    if not WIDTHS[0] <= options.width <= WIDTHS[1]:
        raise ValueError(f"--width {options.width}: {WIDTHS[0]} to {WIDTHS[1]} pixels are accepted")
    config = wiring.load_config(Path(options.config))
    tray_named(config, options.tray)
    source = _source(config, options)
    tray = tray_named(source.config, options.tray)
    seen = seen_under(Setting("", source), tray, Tongue.of(config.site))
    out.write_bytes(draw(seen.picture, form, options.width, own_style=True))
    return _written(options, out, {"tray": options.tray, "alarms": len(seen.picture.alarms)})


def _report(options: argparse.Namespace) -> int:
    out = Path(options.out)
    if out.suffix != ".html":
        raise ValueError(f"--out {out}: a name that ends in .html is accepted")
    paths = [Path(name) for name in options.config or [options.default_config]]
    if len(paths) > 2:
        raise ValueError(
            f"{len(paths)} configurations are named; one, or two to lay side by side, are accepted"
        )
    if options.batch and (options.readings or options.from_time or options.to_time):
        raise ValueError("--batch says of what time: --from, --to and --readings do not go with it")
    configs = [wiring.load_config(path) for path in paths]
    batch = batch_named(visiting.records(configs[0]), options.batch) if options.batch else None
    first = _source(configs[0], options, batch)
    trays = _trays(first.config, options, batch)
    settings = _settings(paths, configs, first)
    tongue, (from_ms, to_ms) = Tongue.of(configs[0].site), first.span
    about = f"{tongue.moment(from_ms)} to {tongue.moment(to_ms)}, as the clocks there show"
    name = f"{configs[0].site.name}: batch {batch.name}" if batch else configs[0].site.name
    out.write_text(page(name, about, reported(settings, trays)), encoding="utf-8")
    return _written(options, out, {"trays": [tray.name for tray in trays]})


def _trays(config: Config, options: argparse.Namespace, batch: Batch | None) -> list[TraySettings]:
    if batch is not None:
        return [tray_then(config, tray_named(config, batch.tray), batch)]
    if options.tray:
        return [tray_named(config, name) for name in dict.fromkeys(options.tray)]
    return list(config.trays)


def _settings(paths: Sequence[Path], configs: Sequence[Config], first: Source) -> list[Setting]:
    """Return each configuration over the same readings; two are judged alike, whatever the journal says."""
    if len(configs) == 1:
        return [Setting("", first)]
    count = Counter(path.name for path in paths)
    names = [str(path) if count[path.name] > 1 else path.name for path in paths]
    return [
        Setting(name, Source(config, first.week, None, first.marks))
        for name, config in zip(names, configs, strict=True)
    ]


# ----------------------------------------------------------------------------------------- of what time


def _source(config: Config, options: argparse.Namespace, batch: Batch | None = None) -> Source:
    """Return the readings that are meant: of a file, or of the store.

    Raises:
        ValueError: A time cannot be read, or none is left between two.
        BadReading: The file cannot be read, or holds no reading.
        StoreFailed: The store cannot be read.
    """
    from_ms = recorded.instant_ms(options.from_time) if options.from_time else None
    to_ms = recorded.instant_ms(options.to_time) if options.to_time else None
    if options.readings:
        (week,) = recorded.weeks([Path(options.readings)], [])
        for line in week_lines(Tongue.of(config.site), week, {tray.name for tray in config.trays}):
            print(line, file=sys.stderr)
        return _with_time(of_week(config, week, from_ms, to_ms))
    with ExitStack() as opened:
        store, now_ms = visiting.look(config, opened)
        if batch is not None:
            from_ms, to_ms = batch.stuck_ms, batch.closed.time_ms if batch.closed else now_ms
        to_ms = now_ms if to_ms is None else to_ms
        from_ms = to_ms - round(options.days * _DAY_MS) if from_ms is None else from_ms
        _refuse_time(from_ms, to_ms)
        return of_store(config, store, (from_ms, to_ms))


def _with_time(source: Source) -> Source:
    _refuse_time(*source.span)
    return source


def _refuse_time(from_ms: int, to_ms: int) -> None:
    if 0 < to_ms - from_ms <= MOST_DAYS * _DAY_MS:
        return
    said = f"from {recorded.instant_text(from_ms)} to {recorded.instant_text(to_ms)}"
    if from_ms >= to_ms:
        raise ValueError(f"{said} is no time: the end must come after the beginning")
    raise ValueError(f"{said} is too long: at most {MOST_DAYS} days are accepted; name --from and --to")


def _written(options: argparse.Namespace, out: Path, about: dict[str, Any]) -> int:
    if options.json:
        print(json.dumps({"out": str(out), **about}, ensure_ascii=False))
    else:
        print(f"written to {out}")
    return DONE
