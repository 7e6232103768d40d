"""What ``wardian simulate`` says: what it wrote, what can happen, and how far it is."""

import argparse
import json
import os
import sys
from pathlib import Path
from typing import Any

from wardian.daemon.exit_status import CANNOT_BE_USED, DONE


def simulate(options: argparse.Namespace) -> int:
    """Write a pretended week, or list what can happen in one."""
    from wardian.daemon.simulate import CannotSimulate

    if options.list:
        return _list(options)
    try:
        return _write(options)
    except CannotSimulate as error:
        print(f"wardian simulate: {error}", file=sys.stderr)
        return CANNOT_BE_USED


def _list(options: argparse.Namespace) -> int:
    from wardian.daemon.simulate import scenarios

    known = scenarios()
    if options.json:
        listed = [{"name": name, "words": words} for name, words in known.items()]
        print(json.dumps({"scenarios": listed}, ensure_ascii=False))
        return DONE
    width = max(map(len, known))
    for name, words in known.items():
        print(f"{name:<{width}}  {words}")
    return DONE


def _write(options: argparse.Namespace) -> int:
    from wardian.daemon.simulate import CannotSimulate, Wish, scenario_names, start_of
    from wardian.daemon.simulate import simulate as make

    if options.out is None:
        raise CannotSimulate("--out WEEK.csv says where the readings go; or --list lists the scenarios")
    wish = Wish(
        out=Path(options.out),
        truth=Path(options.truth) if options.truth is not None else None,
        days=options.days,
        seed=options.seed,
        start_ms=start_of(options.start),
        scenarios=scenario_names(options.scenario),
    )
    made = make(wish, _config(options.config), _tell if sys.stderr.isatty() else _tell_nothing)
    if options.json:
        print(json.dumps(_as_json(wish, made), ensure_ascii=False))
        return DONE
    print(f"{made.readings} readings of {len(made.trays)} trays written to {wish.out}")
    if wish.truth:
        print(f"{len(made.truth.faults)} faults and {len(made.truth.care)} acts of care told in {wish.truth}")
    return DONE


def _config(named: str | None) -> Any:
    """Return the configuration that is named or lies at the usual places, or None."""
    from wardian.daemon import wiring

    path = named or os.environ.get("WARDIAN_CONFIG")
    if path is None and Path("config.yaml").exists():
        path = "config.yaml"
    return wiring.load_config(Path(path)) if path else None


def _as_json(wish: Any, made: Any) -> dict[str, Any]:
    from wardian.daemon.recorded import instant_text

    return {
        "out": str(wish.out),
        "readings": made.readings,
        "truth": str(wish.truth) if wish.truth else None,
        "seed": wish.seed,
        "start": instant_text(made.truth.start_ms),
        "end": instant_text(made.truth.end_ms),
        "trays": list(made.trays),
        "scenarios": list(wish.scenarios),
        "faults": len(made.truth.faults),
        "care": len(made.truth.care),
    }


def _tell(share: float) -> None:
    end = "\n" if share >= 1 else ""
    print(f"\rsimulating {share:4.0%}", end=end, file=sys.stderr, flush=True)


def _tell_nothing(_share: float) -> None:
    pass
