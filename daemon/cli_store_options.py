"""The options of ``wardian store``.

The rule of this file: it is read before any command runs, so it imports nothing of the program.
"""

import argparse
from typing import Any


def add_store(command: argparse.ArgumentParser, parser_class: Any) -> None:
    """Add what ``wardian store`` takes."""
    acts = command.add_subparsers(dest="act", metavar="ACT", parser_class=parser_class, required=True)
    _add(acts, "check", "look at all that is kept and name what is damaged; also beside a running daemon")
    backup = _add(acts, "backup", "make a checked copy of the database; also beside a running daemon")
    backup.add_argument(
        "--out", metavar="FILE", help="where to (default: among the backups, of which the oldest goes)"
    )
    restore = _add(
        acts, "restore", "put a backup in place of the database, which is put aside; stop the daemon first"
    )
    restore.add_argument("file", metavar="FILE", help="the backup")


def _add(acts: Any, name: str, words: str) -> argparse.ArgumentParser:
    act: argparse.ArgumentParser = acts.add_parser(
        name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    # Said before or after the act, it is the same.
    act.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the configuration")
    act.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print for programs, and nothing else"
    )
    return act
