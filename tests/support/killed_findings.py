"""What must be true once a daemon was killed, starved or cut off, however often: held against all that was published."""

import sqlite3
from collections import Counter
from dataclasses import dataclass
from typing import Any

from killed_bench import KilledBench, Told, entry_key

from wardian.rules.readings import Reading


@dataclass
class Findings:
    """What must be nothing after whatever happened, and what may be little."""

    readings: int
    lost: int
    doubled: int
    strange: int
    alarms: int
    alarms_lost: list[str]
    alarms_doubled: int
    not_sent: list[str]
    repeats: list[Told]
    damage: str
    waiting: int

    def assert_nothing_is_wrong(self) -> None:
        assert (self.lost, self.doubled, self.strange) == (0, 0, 0)
        assert (self.alarms_lost, self.alarms_doubled) == ([], 0)
        assert (self.not_sent, self.waiting) == ([], 0)
        assert self.damage == ""


def findings(bench: KilledBench, published: list[Reading], expected_keys: list[str]) -> Findings:
    """Look the whole store and everything that was received over, the daemon having ended.

    ``expected_keys`` are those of the messages that a channel of nobody's must have got.
    """
    with bench.store() as store:
        kept = Counter(store.readings(-(2**62), 2**62))
        wanted = Counter(published)
        in_journal = Counter(entry_key(one.fields) for one in store.journal())
        damage, waiting = store.damage(), len(store.waiting())
    told = bench.told()
    received = Counter((one.channel, one.key) for one in told)
    with sqlite3.connect(f"{bench.database.as_uri()}?mode=ro", uri=True) as connection:
        due = {(channel, key) for channel, key in connection.execute("SELECT channel, key FROM outbox")}
    connection.close()
    due |= {("hook", key) for key in expected_keys}
    return Findings(
        readings=kept.total(),
        lost=(wanted - kept).total(),
        doubled=kept.total() - len(kept),
        strange=(kept - wanted).total(),
        alarms=len(expected_keys),
        alarms_lost=[key for key in expected_keys if key not in in_journal],
        alarms_doubled=sum(in_journal[key] - 1 for key in in_journal),
        not_sent=[f"{channel} {key}" for channel, key in sorted(due - received.keys())],
        repeats=_repeats(told),
        damage=damage,
        waiting=waiting,
    )


def _repeats(told: list[Told]) -> list[Told]:
    seen: set[tuple[str, str]] = set()
    repeats = []
    for one in told:
        if (one.channel, one.key) in seen:
            repeats.append(one)
        seen.add((one.channel, one.key))
    return repeats


def key_of(line: dict[str, Any]) -> str:
    """Return the key of the message that tells of one line of a replay."""
    condition = line["limit"] or line["alarm"]
    return f"{line['tray']}/{line['quantity']}/{condition}/{line['event']}/{line['time']}"
