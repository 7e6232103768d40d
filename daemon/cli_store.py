"""What ``wardian store`` does: look at all that is kept, copy it, and put a copy back."""

import argparse
import json
import sys
from pathlib import Path
from typing import Any

from wardian.daemon import opening_store, wiring
from wardian.daemon.exit_status import CANNOT_BE_USED, DOES_NOT_HOLD, DONE
from wardian.daemon.opening_store import Copies
from wardian.daemon.store_words import shortened


def store(options: argparse.Namespace) -> int:
    """Do one thing to all that is kept."""
    config = wiring.load_config(Path(options.config))
    copies = opening_store.copies_of(config)
    if copies is None:
        print(
            f"wardian store {options.act}: nothing is kept in memory:; name a file in store.url",
            file=sys.stderr,
        )
        return CANNOT_BE_USED
    if options.act == "check":
        return _check(options, copies)
    return _back_up(options, copies) if options.act == "backup" else _restore(options, copies)


def _check(options: argparse.Namespace, copies: Copies) -> int:
    flaws, readings = opening_store.flaws(copies.database)
    _print(
        options,
        {"database": str(copies.database), "whole": not flaws, "flaws": flaws, "readings": readings},
        [f"{copies.database} is damaged:", *(f"  {shortened(flaw)}" for flaw in flaws)]
        if flaws
        else [f"{copies.database} is whole: every page, and each of {readings:,} readings can be read"],
    )
    return DOES_NOT_HOLD if flaws else DONE


def _back_up(options: argparse.Namespace, copies: Copies) -> int:
    now_ms = wiring.machine_clock().wall_ms()
    out = Path(options.out).absolute() if options.out is not None else copies.next(now_ms)
    if out.exists():
        print(f"wardian store backup: {out} is there already", file=sys.stderr)
        return CANNOT_BE_USED
    size_bytes = copies.write(out)
    gone = [] if options.out is not None else copies.let_oldest_go()
    words = [
        f"{size_bytes / 1e6:.1f} MB written to {out}, and checked",
        *(f"deleted: {path}" for path in gone),
    ]
    _print(options, {"out": str(out), "bytes": size_bytes, "deleted": [str(path) for path in gone]}, words)
    return DONE


def _restore(options: argparse.Namespace, copies: Copies) -> int:
    file = Path(options.file).absolute()
    if not file.is_file():
        print(f"wardian store restore: {file} is no file", file=sys.stderr)
        return CANNOT_BE_USED
    aside = opening_store.restore(copies.database, file, wiring.machine_clock().wall_ms())
    words = [f"{file} is in place of {copies.database} now, which watching goes on from"]
    if aside is not None:
        words.append(f"what was there before was put aside as {aside}; nothing was deleted")
    _print(
        options, {"database": str(copies.database), "from": str(file), "aside": aside and str(aside)}, words
    )
    return DONE


def _print(options: argparse.Namespace, value: dict[str, Any], lines: list[str]) -> None:
    if options.json:
        print(json.dumps(value, ensure_ascii=False, allow_nan=False))
        return
    for line in lines:
        print(line)
