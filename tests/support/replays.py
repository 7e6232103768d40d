"""A replay as a person runs it, and the journal that it prints."""

import contextlib
import io
import json
from pathlib import Path
from typing import Any

from wardian.daemon.cli import main


def replayed(config: Path, readings: Path, *options: str) -> tuple[list[dict[str, Any]], str]:
    """Return the journal that ``wardian replay --json`` prints, and its summary."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(["replay", str(readings), "--config", str(config), "--json", *options])
    assert status == 0, err.getvalue()
    return [json.loads(line) for line in out.getvalue().splitlines()], err.getvalue()
