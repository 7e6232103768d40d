"""The one executable: what can be asked, and how every failure is told.

The rule of this file: nothing is imported before a command needs it, and no user meets a traceback.
"""

import argparse
import os
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

from wardian.daemon.cli_batch_options import add_acts
from wardian.daemon.cli_care_options import add_care
from wardian.daemon.cli_picture_options import add_plot, add_report
from wardian.daemon.cli_record_options import add_note, add_records, add_stage, add_water
from wardian.daemon.cli_service_options import add_service
from wardian.daemon.cli_store_options import add_store
from wardian.daemon.cli_time_options import add_times
from wardian.daemon.exit_status import CANNOT_BE_USED, DOES_NOT_HOLD, DONE, STORE_FAILED


class _Parser(argparse.ArgumentParser):
    """Says what was wrong in one line, and where to read on."""

    def error(self, message: str) -> NoReturn:
        self.exit(CANNOT_BE_USED, f"{self.prog}: {message} (see {self.prog} --help)\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit status."""
    # Nothing here needs more than one thread for linear algebra; each would cost a small board memory.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    options = _parser().parse_args(arguments)
    if options.version:
        return _say_version()
    if options.command is None:
        _parser().print_help()
        return CANNOT_BE_USED
    try:
        return _run(options)
    except BrokenPipeError:
        # Whoever read us has had enough; nothing more can be said to them.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return DOES_NOT_HOLD


def _say_version() -> int:
    from importlib.metadata import PackageNotFoundError, version

    try:
        print(f"wardian {version('wardian')}")
    except PackageNotFoundError:
        print("wardian, run from where it was not installed")
    return DONE


def _run(options: argparse.Namespace) -> int:
    from wardian.daemon import cli_commands
    from wardian.rules.errors import BadConfig, StoreFailed, WardianError

    try:
        status: int = getattr(cli_commands, options.command)(options)
        sys.stdout.flush()
    except BadConfig as error:
        return _tell(error, CANNOT_BE_USED)
    except StoreFailed as error:
        return _tell(error, STORE_FAILED)
    except WardianError as error:
        return _tell(error, CANNOT_BE_USED)
    except BrokenPipeError:
        raise
    except OSError as error:
        return _tell(f"{error.filename or 'file'}: {error.strerror or error}", CANNOT_BE_USED)
    return status


def _tell(error: object, status: int) -> int:
    print(f"wardian: {error}" if "\n" not in str(error) else error, file=sys.stderr)
    return status


def _parser() -> argparse.ArgumentParser:
    parser = _Parser(
        prog="wardian",
        description="Watches rooting cuttings under covered trays and says early and clearly what drifts.",
        epilog="Exit status: 0 done, 1 what was checked does not hold, 2 wrong usage or configuration, "
        "3 the store cannot keep its promise.",
        allow_abbrev=False,
    )
    parser.add_argument("--version", action="store_true", help="say which version this is")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=_Parser)
    _add_looking(commands)
    _add_working(commands)
    return parser


def _command(
    commands: Any, name: str, words: str, *, config: bool = True, json: bool = True
) -> argparse.ArgumentParser:
    command: argparse.ArgumentParser = commands.add_parser(
        name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    if config:
        command.add_argument(
            "--config",
            metavar="FILE",
            default=_default_config(),
            help="the configuration (default: $WARDIAN_CONFIG, then ./config.yaml)",
        )
    if json:
        command.add_argument("--json", action="store_true", help="print for programs, and nothing else")
    return command


def _default_config() -> str:
    return os.environ.get("WARDIAN_CONFIG") or "config.yaml"


def _add_looking(commands: Any) -> None:
    check = _command(commands, "check", "look a configuration over and name every mistake")
    check.add_argument("file", metavar="FILE", nargs="?", help="the configuration, instead of --config")
    check.add_argument(
        "--effective", action="store_true", help="print every value in force and where it is from"
    )
    crops = _command(commands, "crops", "list the crops of the library, or say what one of them wants")
    crops.add_argument(
        "crop", metavar="NAME", nargs="?", help="one crop in full: every value with its source"
    )
    crops.add_argument(
        "--changed", action="store_true", help="what the configuration has otherwise than the library"
    )
    _command(commands, "status", "show every tray: present values, their bands, and silent sensors")
    _command(commands, "summary", "sum the last 24 hours up: alarms, each tray's time, what went wrong")
    alarms = _command(commands, "alarms", "list the present alarms")
    shown = alarms.add_mutually_exclusive_group()
    shown.add_argument("--all", action="store_true", help="the whole journal instead")
    shown.add_argument(
        "--figures", action="store_true", help="what they ask of people, beside what is bearable"
    )
    shown.add_argument("--test", action="store_true", help="send one real test message through every channel")
    shown.add_argument(
        "--explain",
        metavar="NAME",
        nargs="?",
        const="",
        help="what raises an alarm here, its priority, likely causes, consequence and what to do; "
        "without NAME every alarm in a line",
    )
    add_times(alarms)
    _add_acts(alarms)
    _command(commands, "lamps", "list how many lux of each lamp make one µmol m⁻² s⁻¹", config=False)
    air = _command(commands, "air", "say what one pair of temperature and humidity means", config=False)
    air.add_argument(
        "--temperature", required=True, metavar="TEXT", help='of the air, such as "24 °C" or "75 °F"'
    )
    air.add_argument("--humidity", required=True, metavar="TEXT", help='such as "95 %%" or "0.95 /"')
    air.add_argument("--leaf-temperature", metavar="TEXT", help='such as "23 °C"')


def _add_acts(alarms: argparse.ArgumentParser) -> None:
    acts = alarms.add_subparsers(dest="act", metavar="ACT", parser_class=_Parser)
    for name, words in (
        ("acknowledge", "say that somebody has seen an alarm"),
        ("shelve", "hear nothing of an alarm for a time"),
        ("unshelve", "hear of it again"),
        ("remove", "take an alarm, or a whole tray, out of service while people work on it"),
        ("restore", "put it back in service"),
        ("reset", "end an alarm that latched, once it was acknowledged"),
    ):
        act = acts.add_parser(
            name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
        )
        act.add_argument("tray", metavar="TRAY")
        act.add_argument(
            "alarm", metavar="ALARM", nargs="?" if name in ("acknowledge", "remove", "restore") else None
        )
        if name == "shelve":
            act.add_argument("--for", dest="lasts", metavar="TIME", required=True, help="at most 7 d")
        act.add_argument("--who", metavar="NAME", help="who does it (default: who is logged in)")
        act.add_argument("--why", metavar="TEXT", default="", help="told in the journal")
        # Said before or after the act, it is the same.
        act.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the configuration")
        act.add_argument(
            "--json",
            action="store_true",
            default=argparse.SUPPRESS,
            help="print for programs, and nothing else",
        )


def _add_working(commands: Any) -> None:
    add_care(
        _command(commands, "care", "show what is due at each tray, or put on record what was done"), _Parser
    )
    add_water(
        _command(commands, "water", "show how much water every tray has lost, or put down what one weighs")
    )
    add_acts(_command(commands, "batch", "keep the record of batches, from sticking to potting"), _Parser)
    add_stage(_command(commands, "stage", "show the stages of a tray, or advance, hold or set one back"))
    add_records(
        _command(commands, "records", "list what people put on record, or withdraw a record"), _Parser
    )
    add_note(_command(commands, "note", "put something to remember of a tray on record"))
    add_store(_command(commands, "store", "look at all that is kept, copy it, or put a copy back"), _Parser)
    _command(commands, "run", "watch, in the foreground, until SIGTERM or SIGINT", json=False)
    add_service(
        _command(commands, "service", "make it a service of this machine, or take that back", config=False),
        _Parser,
    )
    replay = _command(
        commands, "replay", "push a file of readings through the rules and print the alarm journal"
    )
    replay.add_argument("readings", metavar="READINGS.csv", help="a .csv or .csv.gz file of readings")
    replay.add_argument(
        "--truth", metavar="TRUTH.json", help="what is true about them: score the alarms against it"
    )
    replay.add_argument(
        "--conditions",
        action="store_true",
        help="judge also what shows in the traces beyond the limits, and say what is held back",
    )
    export = _command(commands, "export", "write stored readings to a file")
    export.add_argument("--out", required=True, metavar="READINGS.csv", help="a .csv or .csv.gz file")
    add_times(export)
    add_plot(_command(commands, "plot", "draw a tray over some time into a file"))
    pages = _command(commands, "report", "write pictures and tables of trays into one page", config=False)
    add_report(pages, _default_config())
    _add_simulate(commands)
    _add_tune(commands)


def _add_simulate(commands: Any) -> None:
    simulate = _command(commands, "simulate", "write readings of pretended trays to a file", config=False)
    simulate.add_argument("--out", metavar="WEEK.csv", help="a .csv or .csv.gz file (needed unless --list)")
    simulate.add_argument("--days", metavar="N", type=float, default=7.0, help="how long (default: 7)")
    simulate.add_argument(
        "--seed", metavar="N", type=int, default=1, help="the same seed gives the same bytes (default: 1)"
    )
    simulate.add_argument(
        "--start",
        metavar="TIME",
        help="when it begins, RFC 3339 with an offset (default: the day on which the last tray was stuck)",
    )
    simulate.add_argument(
        "--scenario",
        metavar="NAME",
        action="append",
        default=[],
        help="what happens, each time it is given (default: steady)",
    )
    simulate.add_argument("--truth", metavar="TRUTH.json", help="write the truth about them there")
    simulate.add_argument("--list", action="store_true", help="list the scenarios instead")
    simulate.add_argument(
        "--config",
        metavar="FILE",
        help="whose trays (default: those of $WARDIAN_CONFIG or ./config.yaml if there is one, else the six "
        "trays of an evening class)",
    )


def _add_tune(commands: Any) -> None:
    tune = _command(
        commands, "tune", "judge the same readings under several settings, side by side", config=False
    )
    tune.set_defaults(default_config=_default_config())
    tune.epilog = (
        "A setting is not beaten when no other is at least as early and at least as quiet, and better in one "
        "of the two. With truths, early is the median lateness after the beginnings of the faults, one not "
        "found counting as never, and quiet is few unneeded alarms; without, early is little time beyond "
        "bands while no alarm says so, and quiet is few alarms."
    )
    tune.add_argument(
        "readings", metavar="READINGS.csv", nargs="*", help="files of readings; none: those of the store"
    )
    tune.add_argument(
        "--config",
        metavar="FILE",
        action="append",
        help="a configuration, each time it is given (default: $WARDIAN_CONFIG, then ./config.yaml)",
    )
    add_times(tune)
    tune.add_argument(
        "--truth", metavar="TRUTH.json", action="append", default=[], help="of each file, in the same order"
    )
    tune.add_argument(
        "--vary",
        metavar="PATH=VALUES",
        action="append",
        default=[],
        help="a key of the one configuration, as messages print it, and its values, such as "
        "readings.hold=2min,5min; once or twice",
    )
    tune.add_argument("--write", metavar="FILE.yaml", help="write a setting of --vary as YAML to paste")
    tune.add_argument(
        "--setting", metavar="N", type=int, help="which one to write (default: the only one not beaten)"
    )


if __name__ == "__main__":
    sys.exit(main())
