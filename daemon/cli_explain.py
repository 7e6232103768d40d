"""What ``wardian alarms --explain`` does: say what an alarm means and asks for, here."""

import argparse
import json
import sys
from pathlib import Path
from typing import Final

from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.exit_status import CANNOT_BE_USED, DONE
from wardian.daemon.explain import Explanation, explanations
from wardian.daemon.report_explain import explained_lines, listed_lines
from wardian.rules.documents import nearest, shown

#: The configuration that is looked for where none is named; it may be missing.
_UNNAMED: Final = "config.yaml"


def explain(options: argparse.Namespace) -> int:
    """Print one alarm in full, or every alarm in a line."""
    try:
        _refuse(options)
        config = _config(options.config)
        library = wiring.crop_library() if config is None else config.library
        known = list(explanations(library, config))
        meant = _meant(known, options.explain)
    except ValueError as error:
        print(f"wardian alarms: {error}", file=sys.stderr)
        return CANNOT_BE_USED
    if config is None:
        print(f"no {_UNNAMED} is here: this is what the library says", file=sys.stderr)
    if options.json:
        for one in meant:
            print(json.dumps(one.as_json(), ensure_ascii=False, allow_nan=False))
        return DONE
    for line in explained_lines(config, meant[0]) if options.explain else listed_lines(config, meant):
        print(line)
    return DONE


def _refuse(options: argparse.Namespace) -> None:
    if options.from_time or options.to_time:
        raise ValueError("--from and --to say of what time --figures are, and --explain has none")
    if options.act is not None:
        raise ValueError(f"--explain shows and {options.act} changes something; one at a time is accepted")


def _config(named: str) -> Config | None:
    """Return the configuration that is named, or the one that lies here if there is one."""
    path = Path(named)
    return None if named == _UNNAMED and not path.exists() else wiring.load_config(path)


def _meant(known: list[Explanation], name: str) -> list[Explanation]:
    """Return the one alarm of a name; all of them where no name is given.

    Raises:
        ValueError: There is no such alarm.
    """
    meant = [one for one in known if name in ("", one.advice.alarm)]
    if not meant:
        hint = nearest(name, [one.advice.alarm for one in known]) or "--explain without a name lists all"
        raise ValueError(f"there is no alarm {shown(name)}; {hint}")
    return meant
