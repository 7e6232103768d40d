"""What ``wardian crops`` does: say what crops want, how sure that is, and what a configuration has otherwise."""

import argparse
import json
import sys
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.config_crops import Grown
from wardian.daemon.crop_library import LibraryCrop, crop_library, crop_named
from wardian.daemon.crops_in_force import CropValue, changes, crop_values
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.report_crops import change_lines, crop_lines, listed, listed_lines, margin_lines
from wardian.rules.documents import Parse, dotted, nearest, shown

#: The configuration that is looked for where none is named; it may be missing.
_UNNAMED: Final = "config.yaml"


def crops(options: argparse.Namespace) -> int:
    """Print the crops in a line each, one in full, or what a configuration changes."""
    path = Path(options.config)
    config = None if options.config == _UNNAMED and not path.exists() else wiring.load_config(path)
    try:
        lines = _told(options, config)
    except ValueError as error:
        print(f"wardian crops: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    for line in lines:
        print(line)
    return DONE


def _told(options: argparse.Namespace, config: Config | None) -> Iterable[str]:
    known = crop_library(wiring.crop_library().parse)
    here: Mapping[str, Grown] = config.crops if config else {}
    names = {**known.all, **here}
    if options.crop is not None and options.crop not in names:
        raise ValueError(f"{shown(options.crop)} is no crop; {nearest(options.crop, names, listed=99)}")
    if options.changed:
        if config is None:
            raise ValueError("--changed compares a configuration with the library, and none is here")
        return _changed(options, config, known.all)
    if options.crop is None:
        return _list(options, here, known.all)
    return _one(options, config)


def _list(
    options: argparse.Namespace, here: Mapping[str, Grown], known: Mapping[str, LibraryCrop]
) -> Iterator[str]:
    parse = wiring.crop_library().parse
    rows = [_row(name, here.get(name), known.get(name), parse) for name in dict.fromkeys((*known, *here))]
    if options.json:
        yield json.dumps(rows, ensure_ascii=False)
    else:
        yield from listed_lines(rows)


def _row(name: str, grown: Grown | None, about: LibraryCrop | None, parse: Parse) -> dict[str, Any]:
    if grown is None:
        return listed(name, crop_named(parse, name), about, "")
    is_other = grown.like not in ("", name)
    return listed(name, grown.crop, None if is_other else about, grown.like if is_other else "")


def _one(options: argparse.Namespace, config: Config | None) -> Iterator[str]:
    library = wiring.crop_library()
    known = crop_library(library.parse)
    grown = config.crops.get(options.crop) if config else None
    shown_values = grown.values if grown else known.all[options.crop].values
    values = list(crop_values(shown_values, library.defaults))
    row = _row(options.crop, grown, known.all.get(options.crop), library.parse)
    if options.json:
        yield json.dumps({**row, "values": [_as_json(one) for one in values]}, ensure_ascii=False)
        return
    is_us = config is not None and config.site.units == "US"
    file = config.document.file if config else ""
    yield from crop_lines(next(listed_lines([row])), values, file, fahrenheit=is_us)
    if any(one.mark.startswith("computed: ") for one in values):
        yield ""
        yield from margin_lines(known)


def _as_json(one: CropValue) -> dict[str, Any]:
    return {
        "path": dotted(one.path),
        "value": one.text,
        "number": one.number,
        "unit": one.unit,
        "mark": one.mark or None,
        "line": one.line,
    }


def _changed(options: argparse.Namespace, config: Config, known: Mapping[str, LibraryCrop]) -> Iterator[str]:
    crops = {
        name: grown
        for name, grown in config.crops.items()
        if options.crop in (None, name) and grown.own and (grown.like or name in known)
    }
    told = {
        name: list(changes(grown, known.get(name), config.library.defaults)) for name, grown in crops.items()
    }
    if options.json:
        rows = [
            {"crop": name, "like": crops[name].like or name, **one._asdict(), "path": dotted(one.path)}
            for name, changed in told.items()
            for one in changed
        ]
        yield json.dumps(
            [{**row, "there": row["there"] or None, "here": row["here"] or None} for row in rows],
            ensure_ascii=False,
        )
        return
    for name, changed in told.items():
        yield from change_lines(name, crops[name], changed, config.document.file)
    if not told:
        yield "the configuration changes no crop of the library"
