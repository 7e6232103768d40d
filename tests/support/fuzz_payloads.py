"""Payloads by the hundred thousand through the real door: decode, intake, and a part of them the loop and a store.

What each must mean is known to whoever drew it, or is read from it by the naive reader. As a program:
``python fuzz_payloads.py SEED PAYLOADS`` with this folder on the path prints lines of the table of figures.
"""

import gc
import sys
import tempfile
from array import array
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from time import process_time

import fuzz_bad_messages
import fuzz_good_messages
from fake_clock import NOON_MS, FakeClock
from fuzz_bench import TRAYS, arrival, sensor, told_by
from fuzz_figures import Figure, print_figures, resident_mb
from fuzz_good_messages import Case
from fuzz_kept import KeptBench
from reference_payloads import Bench, Meaning, readings

from wardian.daemon.guarded import Slips
from wardian.daemon.intake import Intake
from wardian.rules.ports import Arrival, Refused
from wardian.rules.readings import Reading

#: Of the payloads: a sixth is good, and the rest comes half by grammar, then by mutation, then by bytes.
_KINDS: Sequence[tuple[Callable[[Random, int], Case], float]] = (
    (fuzz_good_messages.good, 1 / 6),
    (fuzz_bad_messages.by_grammar, 2 / 6),
    (fuzz_bad_messages.by_mutation, 2 / 6),
    (fuzz_bad_messages.by_bytes, 1 / 6),
)
#: A payload of a kind that is not good goes on into loop and store so often.
_KEPT_SHARE = 0.1
#: Payloads between two looks at what is kept, each so long after the one before.
_ROUND = 500
_STEP_MS = 20


@dataclass
class Outcome:
    """What came of a run; whatever is in ``wrong`` should not be."""

    count: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    seconds: "array[float]" = field(default_factory=lambda: array("d"))
    grown_mb: float = 0.0

    def fault(self, what: str, case: Case, found: object) -> None:
        """Note what went wrong with a case, shortly, so that it can be looked at again."""
        self.count[what] += 1
        if len(self.wrong) < 20:
            self.wrong.append(f"{what}: {case.topic!r} {case.payload[:1500]!r} {case.is_retained} -> {found}")


class Run:
    """One run: what is drawn, sent and looked at."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.clock = FakeClock(NOON_MS)
        self.outcome = Outcome()
        self._chance = Random(seed)
        self._sensor = sensor(self.clock)
        self._slips = Slips(lambda *_: None)
        self._intake = Intake(TRAYS, self._slips)
        self._reference = Bench(frozenset(TRAYS))
        self._kept = KeptBench(self._sensor, self.clock, folder / "fuzz.db")

    def go(self, payloads: int) -> Outcome:
        """Send so many payloads, and hold the store against what they meant."""
        warm = payloads // 2
        warm_mb = 0.0
        for number in range(payloads):
            if number == warm:
                warm_mb = _settled_mb()
            self.send(self.draw())
            if number % _ROUND == _ROUND - 1:
                self._kept.round()
                # Between two rounds, or what is just too far ahead as it comes would not be as it is judged.
                self.clock.step(_STEP_MS * _ROUND)
        self.outcome.grown_mb = _settled_mb() - warm_mb
        self._kept.close_round()
        for what in self._kept.differences():
            self.outcome.count["wrong in the store"] += 1
            self.outcome.wrong.append(what)
        self.outcome.count |= self._kept.count
        self._kept.close()
        return self.outcome

    def draw(self) -> Case:
        """Return the next case."""
        draws, weights = zip(*_KINDS, strict=True)
        (drawn,) = self._chance.choices(draws, weights)
        case: Case = drawn(self._chance, self.clock.now_ms)
        return case

    def send(self, case: Case) -> None:
        """Send one case through the door, and hold what comes of it against what it means."""
        now_ms, outcome = self.clock.now_ms, self.outcome
        outcome.count[case.kind] += 1
        message = arrival(self._sensor, case.topic, case.payload, now_ms, is_retained=case.is_retained)
        meant, left_alone = self._meaning(case, now_ms)
        if case.meant is not None and case.meant != meant:
            outcome.fault("drawer and reference differ", case, (case.meant, meant))
        took = self._taken(case, message, now_ms)
        if took is not None:
            _compare(outcome, case, (meant, left_alone), took)
            if case.meant is not None or self._chance.random() < _KEPT_SHARE:
                self._kept.take(message, meant, len(took[1]))

    def _meaning(self, case: Case, now_ms: int) -> tuple[list[Meaning], bool]:
        self._reference.now_ms = now_ms
        received_ms = None if case.is_retained else now_ms
        meant: list[Meaning] = []
        left_alone = not any(told_by(case.topic))
        for telling, said in told_by(case.topic):
            meant += readings(telling, case.payload, received_ms, said, self._reference)
            left_alone |= self._reference.left_alone
        return meant, left_alone

    def _taken(self, case: Case, message: Arrival, now_ms: int) -> tuple[list[Reading], list[Refused]] | None:
        begun_s = process_time()
        try:
            took = self._intake.take([message], now_ms)
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash", case, repr(error))
            return None
        if self._slips.ever:  # the daemon goes on after an error inside it; here it counts
            self.outcome.fault("crash", case, [one.why for one in took[1]])
            self._slips.ever.clear()
        self.outcome.seconds.append(process_time() - begun_s)
        return took


def _compare(
    outcome: Outcome,
    case: Case,
    wanted_or_alone: tuple[list[Meaning], bool],
    took: tuple[list[Reading], list[Refused]],
) -> None:
    (meant, left_alone), (taken, refused) = wanted_or_alone, took
    outcome.count["readings"] += len(taken)
    outcome.count["refused"] += len(refused)
    got = [tuple(reading) for reading in taken]
    wanted = [tuple(one) for one in meant]
    if got != wanted:
        what = "wrong reading" if set(got) - set(wanted) else "good one refused"
        outcome.fault(what, case, (got, wanted, [one.why for one in refused]))
    if not got and not refused and not left_alone:
        outcome.fault("gone without a trace", case, "")
    for one in refused:
        if not one.why or not one.source or not f"{one.source}{one.why}{one.raw}".isprintable():
            outcome.fault("refused without printable words", case, one)


def _settled_mb() -> float:
    gc.collect()
    return resident_mb()


def slowest_large_ms(seed: int, rounds: int = 40, size: int = 4096) -> tuple[float, bytes]:
    """Return how long the worst input of the largest size took, best of three each, and that input."""
    chance, clock = Random(seed), FakeClock(NOON_MS)
    bench, intake = sensor(clock), Intake(TRAYS, Slips(lambda *_: None))
    topics = [f"{place}/tray-a" for place in ("degrees", "json", "dated", "seconds", "senml", "pack")]
    worst_s, worst = 0.0, b""
    for _ in range(rounds):
        payload = fuzz_bad_messages.large(chance, size)
        for topic in topics:
            message = arrival(bench, topic, payload, clock.now_ms, is_retained=False)
            took_s = min(_timed_s(intake, message, clock.now_ms) for _ in range(3))
            if took_s > worst_s:
                worst_s, worst = took_s, payload
    return worst_s * 1000, worst


def _timed_s(intake: Intake, message: Arrival, now_ms: int) -> float:
    begun_s = process_time()
    intake.take([message], now_ms)
    return process_time() - begun_s


def run(seed: int, payloads: int) -> Outcome:
    """Send so many payloads in a folder of its own."""
    with tempfile.TemporaryDirectory() as folder:
        return Run(seed, Path(folder)).go(payloads)


def figures(seed: int, payloads: int) -> Iterator[Figure]:
    outcome = run(seed, payloads)
    count, sent = outcome.count, sum(outcome.count[kind] for kind in _kinds(outcome))
    goods = sum(n for kind, n in count.items() if kind.startswith("good ") and kind != "good one refused")
    yield Figure("payloads sent", f"{sent:,}", "at least 1,000,000", sent >= 1_000_000)
    yield Figure("of them good ones", f"{goods:,}", "at least 100,000", goods >= 100_000)
    for what in ("crash", "wrong reading", "good one refused", "gone without a trace", "wrong in the store"):
        yield Figure(what, f"{count[what]:,}", "0", count[what] == 0)
    spent = sorted(outcome.seconds)
    p99_ms = spent[len(spent) * 99 // 100] * 1000
    yield Figure(
        "decode and intake, 99th of 100 payloads, processor time",
        f"{p99_ms:.3f} ms",
        "under 1 ms",
        p99_ms < 1,
    )
    yield Figure("slowest payload of all, processor time", f"{spent[-1] * 1000:.2f} ms", "", None)
    worst_ms, _ = slowest_large_ms(seed)
    yield Figure(
        "slowest of 4 KiB, best of three, processor time", f"{worst_ms:.2f} ms", "under 10 ms", worst_ms < 10
    )
    grown = outcome.grown_mb
    yield Figure("memory grown over the second half", f"{grown:.1f} MB", "under 5 MB", grown < 5)
    yield Figure("readings in the store, each as it was meant", f"{count['stored']:,}", "", None)
    yield Figure("refusals counted by the store, all with a reason", f"{count['refusals kept']:,}", "", None)
    for line in outcome.wrong:
        print(line, file=sys.stderr)


def _kinds(outcome: Outcome) -> list[str]:
    kinds = ("good number", "good JSON", "good SenML", "grammar", "mutation", "bytes")
    return [kind for kind in kinds if kind in outcome.count]


if __name__ == "__main__":
    sys.exit(print_figures(figures(int(sys.argv[1]), int(sys.argv[2]))))
