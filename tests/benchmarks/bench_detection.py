"""What the alarms of the example configuration find in pretended weeks: every scenario, seven seeds each.

Prints a table by fault, for the limits alone and with all that shows in the traces; which causes were named; then the
figures that have a goal, those of the messages that a person gets among them. Nothing here is tuned: the seeds are
counted up from the first, and ``PYTHONPATH=tests/support python tests/benchmarks/bench_detection.py [FIRST_SEED [SEEDS]]``
takes others.
"""

import sys
from collections import Counter, defaultdict
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor
from datetime import datetime
from statistics import median
from typing import NamedTuple

from confusion import Named, first_causes, print_confusion
from confusion import figures as causes_told
from pretended_weeks import EVERY_S, JudgedWeek, example, judged
from rows import Row, print_rows

from wardian.daemon.people import people_of
from wardian.daemon.played import messages_of
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import Tongue
from wardian.rules.faults import FAULTS
from wardian.rules.ports import Message
from wardian.rules.scores import FOUND, MISSED, STANDING, WITHIN, Finding, Score, together
from wardian.simulator.scenarios import SCENARIOS, STEADY

#: No smaller seed: those were looked at while rules were made.
FIRST_SEED, SEEDS = 201, 7


#: How long the person takes to acknowledge what they were told. Chosen: by day and, woken, by night.
ACKNOWLEDGED_MS = 30 * 60_000


class Outcome(NamedTuple):
    """What came of one week: scores, causes, and how many messages the person of the example got."""

    scenario: str
    by_limits: Score
    by_all: Score
    causes: Named
    messages: int


def one(job: tuple[str, int]) -> Outcome:
    name, seed = job
    week = judged(seed, [name])
    faults = [finding.fault for finding in week.by_all.findings]
    causes = first_causes(week.raises, faults)
    return Outcome(name, week.by_limits, week.by_all, causes, messages_of_person(week))


def messages_of_person(week: JudgedWeek) -> int:
    """Return how many messages the person of the example gets, daily summaries not counted."""
    config = example()
    person = people_of(config.people, [keys.name for keys in config.notifiers], config.site.zone)[:1]
    telling = Telling(person, Tongue.of(config.site).moment)
    until_ms = max((entry.time_ms for entry in week.entries), default=0) + 12 * 3_600_000

    def acknowledge(message: Message) -> int:
        told_ms = round(datetime.fromisoformat(message.key.split("/")[1]).timestamp() * 1000)
        return told_ms + ACKNOWLEDGED_MS

    return len({sent.due.message.key for sent in messages_of(week.entries, telling, until_ms, acknowledge)})


def minutes(ms: float) -> str:
    return f"{ms / 60_000:,.0f}"


def beyond_delay_ms(findings: Iterable[Finding]) -> list[int]:
    """Return how much later than its on-delay each fault was found after its limit was crossed."""
    return [
        finding.late_after_limit_ms - finding.on_delay_ms
        for finding in findings
        if finding.late_after_limit_ms is not None and finding.on_delay_ms is not None
    ]


def print_by_fault(findings: Iterable[Finding]) -> None:
    by_fault: dict[str, list[Finding]] = defaultdict(list)
    for finding in findings:
        by_fault[finding.fault.fault].append(finding)
    print("| fault | out of band or to be told | found | missed | told already | within its band ", end="")
    print(
        "| found after its beginning, median (worst) | later than the on-delay after the limit, median (worst) |"
    )
    print("|" + "---|" * 8)
    for fault in FAULTS:
        mine = by_fault[fault]
        counts = {
            result: sum(one.result == result for one in mine) for result in (FOUND, MISSED, STANDING, WITHIN)
        }
        late = [one.late_ms for one in mine if one.late_ms is not None]
        beyond = beyond_delay_ms(mine)
        cells = [
            fault,
            str(counts[FOUND] + counts[MISSED] + counts[STANDING]),
            str(counts[FOUND]),
            str(counts[MISSED]),
            str(counts[STANDING]),
            str(counts[WITHIN]),
            f"{minutes(median(late))} ({minutes(max(late))}) min" if late else "",
            f"{minutes(median(beyond))} ({minutes(max(beyond))}) min" if beyond else "",
        ]
        print(f"| {' | '.join(cells)} |", flush=True)
    print()


def figures(weeks: dict[str, list[Score]]) -> list[Row]:
    every = together(score for scores in weeks.values() for score in scores)
    of_trays = [
        one for one in every.findings if not FAULTS[one.fault.fault].of_sensor and one.result != WITHIN
    ]
    told = [one for one in of_trays if one.result != MISSED]
    late = beyond_delay_ms(of_trays)
    steady = together(weeks[STEADY]).unneeded_per_tray_week
    faulty = together(score for name, scores in weeks.items() if name != STEADY for score in scores)
    count = sum(map(len, weeks.values()))
    goal_ms = 2 * EVERY_S * 1000
    return [
        Row(
            f"faults that took a tray out of its band, {count} weeks of six trays: told",
            f"{len(told)} of {len(of_trays)}",
            "",
            len(told) / len(of_trays),
            "all",
            len(told) == len(of_trays),
        ),
        Row(
            "found after the limit was crossed, beyond its on-delay: median",
            f"{median(late) / 1000:.0f} s",
            "",
            None,
            f"at most {goal_ms / 1000:.0f} s",
            median(late) <= goal_ms,
        ),
        Row(
            "the same: worst",
            f"{max(late) / 60_000:.0f} min",
            "",
            None,
            f"at most {goal_ms / 1000:.0f} s",
            max(late) <= goal_ms,
        ),
        Row(
            "the same: share within two reading intervals",
            f"{sum(one <= goal_ms for one in late)} of {len(late)}",
            "",
            sum(one <= goal_ms for one in late) / len(late),
            "",
            None,
        ),
        Row(
            "alarms nobody needed, steady weeks",
            f"{steady:.2f} a tray-week",
            "",
            None,
            "at most 0.2",
            steady <= 0.2,
        ),
        Row(
            "alarms nobody needed, weeks with faults",
            f"{faulty.unneeded_per_tray_week:.2f} a tray-week",
            "",
            None,
            "at most 0.5",
            faulty.unneeded_per_tray_week <= 0.5,
        ),
    ]


def figures_of_people(outcomes: list[Outcome]) -> list[Row]:
    quiet = [outcome for outcome in outcomes if outcome.scenario == STEADY]
    faulty = [outcome for outcome in outcomes if outcome.scenario != STEADY]
    rows = []
    for words, some, days, goal in (
        ("steady weeks", quiet, 7, "below 1 a tray and week"),
        ("weeks with faults", faulty, 1, "below 1 a tray and day"),
    ):
        tray_weeks = sum(sum(outcome.by_all.tray_weeks.values()) for outcome in some)
        count = sum(outcome.messages for outcome in some)
        each = count / (tray_weeks * 7 / days)
        rows.append(Row(f"messages a person gets, {words}", f"{count}: {each:.2f}", "", None, goal, each < 1))
    for words, some, most in (("steady weeks", quiet, 0.2), ("weeks with faults", faulty, 0.5)):
        unneeded = together(outcome.by_all for outcome in some).unneeded_per_tray_week
        name = f"alarms nobody needed with all that shows in the traces, {words}"
        rows.append(Row(name, f"{unneeded:.2f} a tray-week", "", None, f"at most {most}", unneeded <= most))
    return rows


def print_unneeded(outcomes: list[Outcome]) -> None:
    """Print which alarms nobody needed, and in which scenarios."""
    counts = Counter(
        (alarm.condition if alarm.limit is None else f"{alarm.quantity} {alarm.limit}", outcome.scenario)
        for outcome in outcomes
        for alarm in outcome.by_all.unneeded
    )
    for (alarm, scenario), count in counts.most_common():
        print(f"unneeded: {alarm} in {scenario}: {count}")
    print()


def measure(first_seed: int = FIRST_SEED, seeds: int = SEEDS) -> list[Row]:
    jobs = [(name, first_seed + seed) for name in SCENARIOS for seed in range(seeds)]
    with ProcessPoolExecutor() as pool:
        outcomes = list(pool.map(one, jobs))
    weeks: dict[str, list[Score]] = defaultdict(list)
    named = Named()
    for outcome in outcomes:
        weeks[outcome.scenario].append(outcome.by_limits)
        named.update(outcome.causes)
    print("By the limits alone:\n")
    print_by_fault(finding for outcome in outcomes for finding in outcome.by_limits.findings)
    print("With all that shows in the traces:\n")
    print_by_fault(finding for outcome in outcomes for finding in outcome.by_all.findings)
    print_unneeded(outcomes)
    print_confusion(named)
    return [*figures(weeks), *figures_of_people(outcomes), *causes_told(named)]


if __name__ == "__main__":
    print_rows(measure(*map(int, sys.argv[1:3])))
