"""What each command does: gather, print, and say with the exit status whether it holds."""

import argparse
import json
import sys
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.rules.errors import BadConfig


def _print_json(value: Any) -> None:
    print(json.dumps(value, ensure_ascii=False, allow_nan=False))


def air(options: argparse.Namespace) -> int:
    """Print psychrometrics of one pair of temperature and humidity."""
    from wardian.daemon.psychrometrics import air_of, air_words

    try:
        result = air_of(options.temperature, options.humidity, options.leaf_temperature)
    except ValueError as error:
        print(f"wardian air: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if options.json:
        _print_json(result)
    else:
        _print_lines(air_words(result))
    return DONE


def check(options: argparse.Namespace) -> int:
    """Print every mistake of a configuration, or that it holds."""
    from wardian.daemon import wiring

    path = Path(options.file or options.config)
    try:
        config = wiring.load_config(path)
    except BadConfig as error:
        if options.json:
            _print_json(
                {"file": str(path), "usable": False, "mistakes": [_mistake(one) for one in error.mistakes]}
            )
        else:
            _print_lines(one.in_file(str(path)) for one in error.mistakes)
        return CANNOT_BE_USED
    if options.effective:
        return _effective(config, options)
    if options.json:
        warnings = [_mistake(one) for one in config.warnings]
        _print_json({"file": str(path), "usable": True, "mistakes": [], "warnings": warnings})
        return DONE
    for warning in config.warnings:
        print(f"{warning.in_file(str(path))} (warning)", file=sys.stderr)
    print(
        f"{path}: {len(config.trays)} trays, {len(config.sensors)} sensors, {len(config.notifiers)} notifiers: usable"
    )
    return DONE


def _effective(config: Any, options: argparse.Namespace) -> int:
    from wardian.daemon.effective import effective_json, effective_lines

    if options.json:
        _print_json(effective_json(config))
    else:
        _print_lines(effective_lines(config))
    return DONE


def _mistake(mistake: Any) -> dict[str, Any]:
    return {name: getattr(mistake, name) for name in ("line", "path", "problem", "hint")}


def _print_lines(lines: Iterable[str]) -> None:
    for line in lines:
        print(line)


def crops(options: argparse.Namespace) -> int:
    """Print what crops want, and what a configuration has otherwise."""
    from wardian.daemon.cli_crops import crops as say

    return say(options)


def status(options: argparse.Namespace) -> int:
    """Print every tray as it is now."""
    from wardian.daemon import report, visiting, wiring

    config = wiring.load_config(Path(options.config))
    bench = visiting.bench_now(config)
    if options.json:
        _print_json(bench.as_json())
    else:
        _print_lines(report.status_lines(config, bench, _trends(config)))
    return DONE


def _trends(config: Any) -> Any:
    """Return the trend lines of the last day; none where nobody looks or their signs cannot be shown."""
    if not sys.stdout.isatty():
        return {}
    from wardian.daemon import trends, visiting

    try:
        trends.KEY.encode(sys.stdout.encoding)
    except UnicodeEncodeError:
        return {}
    return visiting.trends(config)


def summary(options: argparse.Namespace) -> int:
    """Print what happened in the last 24 hours."""
    from wardian.daemon.cli_summary import summary as sum_up

    return sum_up(options)


def lamps(options: argparse.Namespace) -> int:
    """Print what is known of lamps."""
    from wardian.daemon.cli_lamps import lamps as list_them

    return list_them(options)


def alarms(options: argparse.Namespace) -> int:
    """Print the present alarms, the whole journal, or what alarms mean; or do something to them."""
    if options.explain is not None:
        from wardian.daemon.cli_explain import explain

        return explain(options)
    if options.test:
        from wardian.daemon.cli_trial import trial

        return trial(options)
    if options.figures or options.from_time or options.to_time:
        from wardian.daemon.cli_alarm_figures import alarm_figures

        return alarm_figures(options)
    if options.act is not None:
        from wardian.daemon.cli_alarms import act

        return act(options)
    from wardian.daemon import report, visiting, wiring

    config = wiring.load_config(Path(options.config))
    entries = visiting.alarm_entries(config, everything=options.all)
    lives = [] if options.all else visiting.alarm_lives(config)
    told = [dict(entry.fields) for entry in entries] if options.all else report.present_alarms(entries, lives)
    if options.json:
        for fields in told:
            _print_json(fields)
    elif options.all:
        _print_lines(report.journal_lines(config, told) if told else ["the journal is empty"])
    else:
        _print_lines(report.alarm_lines(config, told, lives))
    return DONE


def care(options: argparse.Namespace) -> int:
    """Show what is due at each tray, or put on record what somebody did."""
    from wardian.daemon.cli_care import care as show_or_put_down

    return show_or_put_down(options)


def water(options: argparse.Namespace) -> int:
    """Show the water in the trays, or put down what one weighs."""
    from wardian.daemon.cli_water import water as show_or_weigh

    return show_or_weigh(options)


def batch(options: argparse.Namespace) -> int:
    """Keep, show or compare the record of batches."""
    from wardian.daemon.cli_batch import batch as keep

    return keep(options)


def stage(options: argparse.Namespace) -> int:
    """Show the stages of a tray, or change which one holds."""
    from wardian.daemon.cli_stage import stage as show_or_change

    return show_or_change(options)


def records(options: argparse.Namespace) -> int:
    """List what people put on record, or withdraw one."""
    from wardian.daemon.cli_records import records as list_or_withdraw

    return list_or_withdraw(options)


def note(options: argparse.Namespace) -> int:
    """Put a note on record."""
    from wardian.daemon.cli_records import note as put_down

    return put_down(options)


def store(options: argparse.Namespace) -> int:
    """Look at all that is kept, copy it, or put a copy back."""
    from wardian.daemon.cli_store import store as look_or_copy

    return look_or_copy(options)


def replay(options: argparse.Namespace) -> int:
    """Print the alarm journal of a file of readings, and how well it tells the truth about them."""
    from wardian.daemon import recorded, report, wiring

    config = wiring.load_config(Path(options.config))
    truth = Path(options.truth) if options.truth is not None else None
    chronicle = wiring.chronicle(config) if options.conditions else None
    replayed = recorded.replay(config, Path(options.readings), truth, chronicle)
    teller = wiring.teller(config)
    told = (
        [teller.fields(one) for one in replayed.transitions]
        if replayed.entries is None
        else [entry.fields for entry in replayed.entries]
    )
    if options.json:
        for fields in told:
            _print_json(fields)
    else:
        _print_lines(report.journal_lines(config, told))
    if replayed.score:
        from wardian.daemon.report_score import score_json, score_lines

        if options.json:
            _print_json({"score": score_json(teller, replayed.score)})
        else:
            _print_lines(score_lines(config, teller, replayed.score))
    for line in report.replay_summary(config, replayed):
        print(line, file=sys.stderr)
    return DONE


def export(options: argparse.Namespace) -> int:
    """Write stored readings to a file."""
    from wardian.daemon import recorded, wiring

    config = wiring.load_config(Path(options.config))
    out = Path(options.out)
    try:
        count = recorded.export(config, out, options.from_time, options.to_time)
    except ValueError as error:
        print(f"wardian export: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if options.json:
        _print_json({"out": str(out), "readings": count})
    else:
        print(f"{count} readings written to {out}")
    return DONE


def plot(options: argparse.Namespace) -> int:
    """Draw a tray into a file."""
    from wardian.daemon.cli_pictures import plot as draw

    return draw(options)


def report(options: argparse.Namespace) -> int:
    """Write a report of trays into one page."""
    from wardian.daemon.cli_pictures import report as write

    return write(options)


def simulate(options: argparse.Namespace) -> int:
    """Write a pretended week, or list what can happen in one."""
    from wardian.daemon.cli_simulate import simulate as write

    return write(options)


def tune(options: argparse.Namespace) -> int:
    """Print what settings make of the same readings."""
    from wardian.daemon.cli_tune import tune as side_by_side

    return side_by_side(options)


def service(options: argparse.Namespace) -> int:
    """Put the daemon in place as a service, take it away, or show what that would be."""
    from wardian.daemon.cli_service import service as do_it

    return do_it(options)


def run(options: argparse.Namespace) -> int:
    """Watch until told to stop."""
    from wardian.daemon.signals import hold_standard_streams, prepare

    # Before anything starts a thread or opens a file, libraries included.
    hold_standard_streams()
    prepare()
    from wardian.daemon.run import leave, watch

    leave(watch(Path(options.config)))
