"""What ``wardian lamps`` does: list what is known of lamps, so that lux can be turned into photons."""

import argparse
import json
from collections.abc import Iterator
from typing import Any

from wardian.daemon import wiring
from wardian.daemon.exit_status import DONE
from wardian.daemon.lamps import PPFD_INSTEAD, Lamps, known_lamps


def lamps(options: argparse.Namespace) -> int:
    """Print every kind of lamp with its factor and source, and those that have none."""
    known = known_lamps(wiring.crop_library().parse)
    if options.json:
        print(json.dumps(_json(known), ensure_ascii=False, allow_nan=False))
        return DONE
    for line in _lines(known):
        print(line)
    return DONE


def _json(known: Lamps) -> dict[str, Any]:
    names = ("name", "lux_per_umol", "least", "most", "mark", "source")
    return {
        "lamps": [{name: getattr(one, name) for name in names} for one in known.factors.values()],
        "refused": [{"name": name, "why": why} for name, why in known.refused.items()],
    }


def _lines(known: Lamps) -> Iterator[str]:
    yield "How many lux one µmol m⁻² s⁻¹ of a lamp's light makes; what is made of it is an estimate."
    widest = max(map(len, known.factors))
    for one in known.factors.values():
        limits = f"{one.least:g} to {one.most:g}"
        yield f"  {one.name:<{widest}}  {one.lux_per_umol:>3g}  ({limits}; {one.mark}: {one.source})"
    for name, why in known.refused.items():
        yield f"{name} {why}: {PPFD_INSTEAD}."
