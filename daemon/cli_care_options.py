"""What can be said to ``wardian care``.

The rule of this file: it is read before anything else is known, so it imports nothing of ours.
"""

import argparse
from typing import Final

_EVENTS: Final = ("lifted", "misted", "watered", "fed", "wiped", "looked", "cleaned", "alcohol")
#: Each amount, how it is named, and what it means.
_AMOUNTS: Final = (
    ("grams", "MASS", "of water, such as 20 or 0.2kg"),
    ("minutes", "N", "for how long the cover was off"),
    ("ph", "N", "of the water; it becomes a reading, too"),
    ("ec", "N", "of the water, in mS/cm unless a unit is said; it becomes a reading, too"),
    ("temperature", "TEXT", 'of the water, such as "20 °C"'),
    ("look", "FOUND", "what a look found: turgid, limp, mould, rot, pest, roots, no-roots"),
)


def add_care(care: argparse.ArgumentParser, parser_class: type[argparse.ArgumentParser]) -> None:
    """Let a command show what is due, or put on record what was done."""
    care.add_argument("--date", metavar="DAY", help="the plan of a whole day, such as 2026-03-05")
    acts = care.add_subparsers(dest="act", metavar="done", parser_class=parser_class)
    words = "put on record what was done at a tray"
    done = acts.add_parser("done", help=words, description=f"{words.capitalize()}.", allow_abbrev=False)
    done.add_argument("tray", metavar="TRAY", help="its name, several with commas, or all")
    done.add_argument("event", metavar="EVENT", help=f"one of {', '.join(_EVENTS)}")
    for name, accepts, meaning in _AMOUNTS:
        done.add_argument(f"--{name}", metavar=accepts, help=meaning)
    done.add_argument("--at", metavar="TIME", help="when, RFC 3339 with an offset (default: now)")
    done.add_argument("--who", metavar="NAME", help="who did it (default: who is logged in)")
    done.add_argument("--why", metavar="TEXT", default="", help="told in the journal")
    done.add_argument("--corrects", metavar="N", type=int, help="the record whose place this one takes")
    # Said before or after the act, it is the same.
    done.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the configuration")
    done.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print for programs, and nothing else"
    )
