"""What says of what time something is asked.

The rule of this file: it loads nothing, because every command line is read with it.
"""

import argparse


def add_times(command: argparse.ArgumentParser) -> None:
    """Add the first and the last instant to a command."""
    for option, words in (("--from", "the first instant"), ("--to", "the instant before which to end")):
        command.add_argument(
            option, metavar="TIME", dest=f"{option.strip('-')}_time", help=f"{words}, RFC 3339 with an offset"
        )
