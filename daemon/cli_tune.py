"""The command that lays settings side by side: what was asked for, what came out, and a fragment to keep."""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from wardian.daemon import recorded, report_tune, wiring
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.tongue import Tongue
from wardian.daemon.tune import Figures, Setting, judged_under
from wardian.daemon.vary import flow, fragment
from wardian.daemon.weeks import Week


class _WrongUse(Exception):
    """Options that do not go together; told at once, never seen outside this file."""


def tune(options: argparse.Namespace) -> int:
    """Print what settings make of the same readings, and write one of them if asked to."""
    try:
        _refuse(options)
        settings = _settings(options)
        weeks = _weeks(options, settings)
        told: list[dict[str, Any]] = []
        every = judged_under(settings, _noted(weeks, settings, told))
        _print(every, told, as_json=options.json)
        if options.write:
            _write(Path(options.write), every, _chosen(every, options.setting), told)
    except _WrongUse as error:
        print(f"wardian tune: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    return DONE


def _refuse(options: argparse.Namespace) -> None:
    """Refuse what cannot be done before anything long is begun."""
    if options.vary and len(options.config or ()) > 1:
        raise _WrongUse(f"--vary changes one configuration; {len(options.config)} are named")
    if options.truth and len(options.truth) != len(options.readings):
        counts = f"{len(options.truth)} truths for {len(options.readings)} files of readings"
        raise _WrongUse(f"{counts}; --truth is given once for each file, in the same order, or not at all")
    if options.readings and (options.from_time or options.to_time):
        raise _WrongUse("--from and --to choose from the store, and files of readings are named")
    if (options.write or options.setting is not None) and not options.vary:
        raise _WrongUse("--write and --setting are about the settings of --vary, which is not given")
    if options.setting is not None and not options.write:
        raise _WrongUse("--setting says which one --write writes, and that is not given")
    if options.write and Path(options.write).exists():
        raise _WrongUse(f"--write {options.write}: is there already and is not written over")


def _settings(options: argparse.Namespace) -> list[Setting]:
    paths = [Path(name) for name in options.config or [options.default_config]]
    if options.vary:
        settings = [
            Setting(", ".join(flow(one.value) for one in chosen), config, chosen)
            for chosen, config in recorded.varied(paths[0], options.vary)
        ]
        if options.setting is not None and not 1 <= options.setting <= len(settings):
            raise _WrongUse(f"--setting {options.setting}: there are 1 to {len(settings)}")
        return settings
    names = _names(paths)
    return [Setting(name, wiring.load_config(path)) for name, path in zip(names, paths, strict=True)]


def _names(paths: Sequence[Path]) -> list[str]:
    """Return names of files, numbered where several have the same."""
    count = Counter(path.name for path in paths)
    seen: Counter[str] = Counter()
    names = []
    for path in paths:
        seen[path.name] += 1
        names.append(f"{path.name} ({seen[path.name]})" if count[path.name] > 1 else path.name)
    return names


def _weeks(options: argparse.Namespace, settings: Sequence[Setting]) -> Iterable[Week]:
    if options.readings:
        return recorded.weeks(
            [Path(name) for name in options.readings], [Path(name) for name in options.truth]
        )
    try:
        return [recorded.stored_week(settings[0].config, options.from_time, options.to_time)]
    except ValueError as error:
        raise _WrongUse(str(error)) from error


def _noted(weeks: Iterable[Week], settings: Sequence[Setting], told: list[dict[str, Any]]) -> Iterator[Week]:
    """Yield weeks as they are read, and say so on standard error."""
    site = Tongue.of(settings[0].config.site)
    watched = {tray.name for setting in settings for tray in setting.config.trays}
    for week in weeks:
        told.append(report_tune.week_json(week))
        for line in report_tune.week_lines(site, week, watched):
            print(line, file=sys.stderr)
        yield week


def _print(every: Sequence[Figures], told: Sequence[Mapping[str, Any]], *, as_json: bool) -> None:
    if as_json:
        print(json.dumps(report_tune.tune_json(every, told), ensure_ascii=False, allow_nan=False))
        return
    for line in report_tune.summary_lines(every):
        print(line)
    if not every[0].setting.choices:
        for line in report_tune.tray_lines(every):
            print(line)


def _chosen(every: Sequence[Figures], number: int | None) -> int:
    if number is not None:
        return number
    stay = [place for place, stays in enumerate(report_tune.unbeaten(every), start=1) if stays]
    if len(stay) > 1:
        raise _WrongUse(f"{len(stay)} settings are not beaten; say which to write with --setting N")
    return stay[0]


def _write(path: Path, every: Sequence[Figures], number: int, told: Sequence[Mapping[str, Any]]) -> None:
    """Write one setting as YAML to paste; the file appears only when it is whole."""
    setting = every[number - 1].setting
    lines = [
        *report_tune.finding_lines(every, number, told),
        *fragment(setting.config.document, setting.choices),
    ]
    part = path.with_name(f".{path.name}.part")
    try:
        part.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    print(f"setting {number} written to {path}", file=sys.stderr)
