"""The options of the commands that put things on record or list what was.

The rule of this file: it is read before any command runs, so it imports nothing of the program.
"""

import argparse
from typing import Any


def add_stage(command: argparse.ArgumentParser) -> None:
    """Add what ``wardian stage`` takes."""
    command.add_argument("tray", metavar="TRAY")
    acts = ("advance", "hold", "back", "by-day")
    command.add_argument(
        "act",
        metavar="|".join(acts),
        choices=acts,
        nargs="?",
        help="begin the next stage; let the present one go on until it is advanced; go back to the one before, "
        "and hold it; follow the days after sticking again (default: show the stages)",
    )
    add_said(command)
    command.add_argument(
        "--corrects", metavar="N", type=int, help="the record whose place it takes, and its time without --at"
    )


def add_records(command: argparse.ArgumentParser, parser_class: Any) -> None:
    """Add what ``wardian records`` takes."""
    command.add_argument("--tray", metavar="TRAY", help="those of one tray")
    command.add_argument("--batch", metavar="BATCH", help="those of one batch")
    command.add_argument(
        "--all", action="store_true", help="also what was corrected or withdrawn, and by what"
    )
    acts = command.add_subparsers(dest="act", metavar="ACT", parser_class=parser_class)
    words = "say that a record was made by mistake"
    act = acts.add_parser("withdraw", help=words, description=f"{words.capitalize()}.", allow_abbrev=False)
    act.add_argument("number", metavar="N", type=int)
    _add_who(act)
    # Said before or after the act, it is the same.
    act.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the configuration")
    act.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print for programs, and nothing else"
    )


def add_note(command: argparse.ArgumentParser) -> None:
    """Add what ``wardian note`` takes."""
    command.add_argument("tray", metavar="TRAY")
    command.add_argument("words", metavar="WORDS", help="what is to be remembered")
    command.add_argument(
        "--at", metavar="TIME", help="when it was so, RFC 3339 with an offset (default: now)"
    )
    command.add_argument("--who", metavar="NAME", help="who says so (default: who is logged in)")
    command.add_argument(
        "--corrects", metavar="N", type=int, help="the record whose place it takes, and its time without --at"
    )


def add_water(command: argparse.ArgumentParser) -> None:
    """Add what ``wardian water`` takes."""
    command.add_argument(
        "words",
        metavar="[weigh] TRAY",
        nargs="*",
        help="one tray, with all it was found to weigh; with weigh before it: put down what it weighs",
    )
    command.add_argument(
        "--saturated", metavar="MASS", help="watered through and drained for an hour, as 3000g"
    )
    command.add_argument("--dry", metavar="MASS", help="the same with its medium dry, as 1200g")
    add_said(command)
    command.add_argument(
        "--corrects", metavar="N", type=int, help="the record whose place it takes, and its time without --at"
    )


def add_said(command: argparse.ArgumentParser) -> None:
    """Add what is said with anything that was done: when, who and why."""
    command.add_argument("--at", metavar="TIME", help="when, RFC 3339 with an offset (default: now)")
    _add_who(command)


def _add_who(command: argparse.ArgumentParser) -> None:
    command.add_argument("--who", metavar="NAME", help="who did it (default: who is logged in)")
    command.add_argument("--why", metavar="TEXT", default="", help="told in the journal")
