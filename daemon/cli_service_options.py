"""What ``wardian service`` can be asked."""

import argparse
from typing import Any


def add_service(command: argparse.ArgumentParser, parser_class: Any) -> None:
    """Add its acts and their options."""
    acts = command.add_subparsers(dest="act", metavar="ACT", parser_class=parser_class, required=True)
    put = _act(acts, "install", "put it in place, or bring it up to date, and start it")
    put.add_argument(
        "--config", metavar="FILE", help="its configuration, copied to /etc/wardian (default: the one there)"
    )
    taken = _act(acts, "remove", "stop it and take it away; readings, configuration and user stay")
    taken.add_argument(
        "--with-data", action="store_true", help="delete readings, configuration and user, too"
    )
    shown = _act(acts, "show", "print the files that would be put in place")
    for act in (put, taken):
        act.add_argument("--root", metavar="DIR", default="/", help="of another system (default: /)")
        act.add_argument("--dry-run", action="store_true", help="say what would be done, and do nothing")
    for act in (put, shown):
        act.add_argument("--program", metavar="FILE", help="the wardian that it runs (default: this one)")


def _act(acts: Any, name: str, words: str) -> argparse.ArgumentParser:
    act: argparse.ArgumentParser = acts.add_parser(
        name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    # Said before or after the act, it is the same.
    act.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print for programs, and nothing else"
    )
    return act
