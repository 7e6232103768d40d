"""What can be asked about batches of cuttings.

The rule of this file: it loads words alone, because every command line is read with it.
"""

import argparse
from typing import Any, Final

from wardian.daemon.batch_words import WORDS

#: As the rules have them; a test holds both equal.
LOSSES: Final = ("rot", "wilt", "mould", "no-roots", "pulled-as-sample", "pest", "broken", "other")
GROUPED_BY: Final = ("crop", "hormone", "medium", "source", "tray", "who")
_REASONS: Final = ", ".join(LOSSES)


def add_acts(batch: argparse.ArgumentParser, kind_of_parser: Any) -> None:
    """Add what can be done about batches to the command."""
    acts = batch.add_subparsers(dest="act", metavar="ACT", parser_class=kind_of_parser, required=True)
    _add_record(acts)
    _add_happenings(acts)
    _add_looking(acts)
    _add_explain(acts)
    _add_table(acts)


def _act(acts: Any, name: str, words: str) -> argparse.ArgumentParser:
    act: argparse.ArgumentParser = acts.add_parser(
        name, help=words, description=f"{words[0].upper()}{words[1:]}.", allow_abbrev=False
    )
    # Said before or after the act, it is the same.
    act.add_argument("--config", metavar="FILE", default=argparse.SUPPRESS, help="the configuration")
    act.add_argument(
        "--json", action="store_true", default=argparse.SUPPRESS, help="print for programs, and nothing else"
    )
    return act


def _said(act: argparse.ArgumentParser, *, corrects: bool = True) -> None:
    act.add_argument("--who", metavar="NAME", help="who says so (default: who is logged in)")
    act.add_argument("--why", metavar="TEXT", default="", help="kept with it")
    if corrects:
        act.add_argument(
            "--at", metavar="TIME", default="", help="when, RFC 3339 with an offset, or a day (default: now)"
        )
        act.add_argument("--corrects", metavar="N", type=int, help="the record whose place it takes")


def _add_record(acts: Any) -> None:
    new = _act(acts, "new", "begin the record of a batch: what was stuck, when, how and in which tray")
    new.add_argument("batch", metavar="NAME")
    new.add_argument("--tray", metavar="TRAY", required=True, help="the tray it is in")
    new.add_argument(
        "--stuck-count", dest="count_stuck", metavar="N", required=True, help="how many cuttings were stuck"
    )
    correct = _act(acts, "correct", "put something else on record of a batch, in place of what was there")
    correct.epilog = 'Written empty, as in --source "", a detail is taken away.'
    correct.add_argument("batch", metavar="NAME")
    correct.add_argument("--tray", metavar="TRAY", help="the tray it is in")
    correct.add_argument(
        "--stuck-count", dest="count_stuck", metavar="N", help="how many cuttings were stuck"
    )
    for act, default in ((new, " (default: that of the tray)"), (correct, "")):
        act.add_argument("--crop", metavar="CROP", help=f"the crop{default}")
        act.add_argument("--stuck", metavar="TIME", help=f"when, RFC 3339 with an offset, or a day{default}")
        for word in WORDS:
            act.add_argument(
                f"--{word.word}", dest=word.name, metavar=word.kind, help=word.words.replace("%", "%%")
            )
        _said(act, corrects=False)


def _add_happenings(acts: Any) -> None:
    remove = _act(acts, "remove", "put on record that cuttings were taken out")
    remove.add_argument("batch", metavar="NAME")
    remove.add_argument("count", metavar="COUNT")
    remove.add_argument("reason", metavar="REASON", help=f"one of {_REASONS}")
    score = _act(acts, "score", "put a look at roots on record")
    score.epilog = (
        "0 dead or rotten, 1 alive without callus, 2 callus or swelling, 3 first roots, 1-3 short, 4 roots on several "
        "sides, 5 the plug holds together. From 3 on a cutting has rooted."
    )
    score.add_argument("batch", metavar="NAME")
    score.add_argument("counts", metavar="SCORES", help="how many had each score, such as 1=3,2=5,3=6")
    close = _act(acts, "close", "end a batch: how many were potted, and how many of these rooted and fit")
    close.add_argument("batch", metavar="NAME")
    close.add_argument("--potted", metavar="N", required=True, help="how many were potted")
    close.add_argument("--fit", metavar="N", required=True, help="how many of these rooted and fit")
    close.add_argument(
        "--discarded", metavar="COUNTS", default="", help=f"how many not, as in rot=3,wilt=1: {_REASONS}"
    )
    note = _act(acts, "note", "put something to remember of a batch on record")
    note.add_argument("batch", metavar="NAME")
    note.add_argument("text", metavar="TEXT")
    for act in (remove, score, close, note):
        _said(act)


def _add_looking(acts: Any) -> None:
    listing = _act(acts, "list", "list the batches, a line each")
    listing.add_argument("--open", action="store_true", help="only those that are not closed")
    listing.add_argument("--crop", metavar="CROP", help="only those of this crop")
    show = _act(acts, "show", "show all that is known of a batch")
    show.add_argument("batch", metavar="NAME")
    compare = _act(
        acts, "compare", "compare two closed batches, or groups of them, and say what the numbers cannot tell"
    )
    compare.add_argument("batches", metavar="NAME", nargs="*", help="two batches, or none with --by")
    compare.add_argument("--by", choices=GROUPED_BY, help="groups of batches that have this in common")
    compare.add_argument("--crop", metavar="CROP", help="only batches of this crop")
    compare.add_argument("--since", metavar="TIME", help="only batches stuck from then on")


def _add_explain(acts: Any) -> None:
    explain = _act(
        acts, "explain", "say on one page what was out of line in a batch's time, and what may be behind it"
    )
    explain.epilog = "A finding is a likelihood and never a proof."
    explain.add_argument("batch", metavar="NAME", nargs="?", help="the batch, or none with --tray")
    explain.add_argument(
        "--tray", metavar="TRAY", help="what is in a tray now, with a record of its batch or without"
    )
    explain.add_argument(
        "--readings",
        metavar="FILE.csv",
        help="a .csv or .csv.gz file of readings, instead of those of the store",
    )


def _add_table(acts: Any) -> None:
    export = _act(acts, "export", "write all batches to a CSV file, one a row")
    export.add_argument("--out", metavar="FILE.csv", required=True, help="the file")
    bring = _act(acts, "import", "take batches in from a CSV file, all of them or none")
    bring.add_argument("file", metavar="FILE.csv")
    bring.add_argument(
        "--who", metavar="NAME", help="who says so where a row does not (default: who is logged in)"
    )
