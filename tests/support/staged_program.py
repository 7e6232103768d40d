"""A program that leads a bench through stages by hand: ``staged_program.py DATABASE CUT``.

It goes on where the database ends. In the round of the minute CUT, before its commit, or after the last minute where
there is none, it says ``there`` and waits for input that never comes.
"""

import sys
from pathlib import Path

from loop_rig import BEGIN_MS, MINUTE_MS
from staged_bench import StagedRig, put_down

from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Kept, Round
from wardian.rules.staging import ADVANCED, HELD, SET_BACK

LAST = 60
#: What is put on record just before which minute.
ACTS = {5: ADVANCED, 12: SET_BACK, 27: HELD}


class Waiting(SqlStore):
    """A store in which a program can be stopped just before a commit."""

    cut_ms = -1

    def keep(self, round_: Round) -> Kept:
        if round_.now_ms == self.cut_ms:
            wait()
        return super().keep(round_)


def wait() -> None:
    """Wait to be killed."""
    print("there", flush=True)
    sys.stdin.read()


def main(database: str, cut: str) -> None:
    """Lead it, minute by minute."""
    store = Waiting.open(Path(database))
    assert isinstance(store, Waiting)
    if cut:
        store.cut_ms = BEGIN_MS + int(cut) * MINUTE_MS
    kept = store.latest().values()
    begun = max(((one.time_ms - BEGIN_MS) // MINUTE_MS + 1 for one in kept), default=0)
    rig = StagedRig(store, begun)
    for minute in range(begun, LAST + 1):
        if minute in ACTS and len(store.records()) == list(ACTS).index(minute):
            put_down(store, minute - 0.5, ACTS[minute])
        rig.arrive(24.5 if minute // 10 % 2 else 23.0, minutes=minute)
        rig.round_at(minute)
    wait()


if __name__ == "__main__":
    main(*sys.argv[1:])
