"""Some hours of a bench, again and again, with the n-th call on the database's files failing.

``failing_calls_program.py FOLDER ERROR N…``, with the library preloaded. Prints what came of each as a line of
JSON, until there was no such call any more.
"""

import json
import sys
from pathlib import Path

import pytest
from failing_benches import Benches
from failing_calls import ERRORS, FileCall
from receivers import http_receiver


def main(folder: str, error: str, *numbers: str) -> None:
    """Let call after call fail."""
    out = sys.stdout
    with http_receiver() as receiver, pytest.MonkeyPatch.context() as patch:
        benches = Benches(Path(folder), receiver, patch)
        for nth in map(int, numbers):
            tried = benches.tried(FileCall(nth=nth, number=ERRORS[error]))
            if not tried.place:
                return
            print(json.dumps(tried), file=out, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
