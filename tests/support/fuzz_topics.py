"""Topics by the hundred thousand, from senders who know us and from senders who do not.

As a program: ``python fuzz_topics.py SEED TOPICS`` with this folder on the path prints lines of the table of figures.
"""

import gc
import sys
from collections import Counter
from collections.abc import Iterator
from random import Random

from fake_clock import NOON_MS, FakeClock
from fuzz_bench import QUANTITIES, TELLINGS, TRAYS, arrival, sensor, told_by
from fuzz_figures import Figure, print_figures, resident_mb
from reference_payloads import Bench, readings

from wardian.daemon.guarded import Slips
from wardian.daemon.intake import Intake

SLIPS = Slips(lambda *_: None)
_LEVELS = (
    *TELLINGS, *TRAYS, *QUANTITIES, "", "$SYS", "$share", "+", "#", "..", ".", "~", "{tray}", "{quantity}", "{x}",
    "tray-a/", "TRAY-A", "tray-a ", "<script>alert(1)</script>", "=cmd()", "\r\nSet: x", "\x1b[31m", "\u202etray-a",
    "tray-a\u0000", "Ü_9", "Ü_9", "🌱", "x" * 300, "%2e%2e", "a+b", "a#",
)  # fmt: skip


def topic(chance: Random) -> str:
    """Return a topic as any sender may use: some are ours, most nearly so, some as long as can be."""
    if chance.random() < 0.3:
        place = chance.choice(tuple(TELLINGS))
        return f"{place}/{chance.choice(TRAYS)}" + (
            f"/{chance.choice(QUANTITIES)}" if place == "number" else ""
        )
    levels = [chance.choice(_LEVELS) for _ in range(chance.choice([1, 2, 2, 3, 3, 4, 9]))]
    if chance.random() < 0.2:
        levels[chance.randrange(len(levels))] = f"made up {chance.randrange(10**9)}"
    whole = "/".join(levels)
    return whole * (65_535 // max(1, len(whole.encode()))) if chance.random() < 0.001 else whole


def tried(seed: int, topics: int) -> tuple[Counter[str], list[str], float]:
    """Return what came of so many topics, what should not have, and by how much memory grew after a fifth."""
    chance, clock, count, wrong = Random(seed), FakeClock(NOON_MS), Counter[str](), list[str]()
    bench, intake, reference = sensor(clock), Intake(TRAYS, SLIPS), Bench(frozenset(TRAYS), NOON_MS)
    begun_mb = 0.0
    for number in range(topics):
        if number == topics // 5:
            gc.collect()
            begun_mb = resident_mb()
        name = topic(chance)
        payload = b'[{"n":"ppfd","v":21}]' if "senml" in name else b"21"
        message = arrival(bench, name, payload, NOON_MS, is_retained=False)
        count["topics"] += 1
        try:
            taken, refused = intake.take([message], NOON_MS)
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            count["crash"] += 1
            wrong.append(f"{error!r} <- {name!r:.300}")
            continue
        if SLIPS.ever:  # the daemon goes on after an error inside it; here it counts
            count["crash"] += SLIPS.ever.total()
            wrong.append(f"{SLIPS.ever} <- {name!r:.300}")
            SLIPS.ever.clear()
        meant = [
            one
            for telling, said in told_by(name)
            for one in readings(telling, payload, NOON_MS, said, reference)
        ]
        count["readings"] += len(taken)
        if [tuple(one) for one in taken] != [tuple(one) for one in meant]:
            count["wrong tray or quantity"] += 1
            wrong.append(f"{taken} {meant} <- {name!r:.300}")
        if not all(one.why and f"{one.source}{one.why}".isprintable() for one in refused):
            count["refused without printable words"] += 1
            wrong.append(f"{refused} <- {name!r:.300}")
    gc.collect()
    return count, wrong, resident_mb() - begun_mb


def figures(seed: int, topics: int) -> Iterator[Figure]:
    """Yield the figures of a run."""
    count, wrong, grown_mb = tried(seed, topics)
    yield Figure("topics", f"{count['topics']:,}", "at least 100,000", count["topics"] >= 100_000)
    yield Figure("readings from them, each of the tray it was meant for", f"{count['readings']:,}", "", None)
    for what in ("crash", "wrong tray or quantity", "refused without printable words"):
        yield Figure(what, f"{count[what]:,}", "0", count[what] == 0)
    yield Figure("memory grown by made-up topics", f"{grown_mb:.1f} MB", "under 5 MB", grown_mb < 5)
    for line in wrong[:20]:
        print(line, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(print_figures(figures(int(sys.argv[1]), int(sys.argv[2]))))
