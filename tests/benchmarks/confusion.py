"""Which causes are named, and which are the right ones: a row for each true fault, a column for each named cause."""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from rows import Row

from wardian.rules.faults import FAULTS
from wardian.rules.observing.causes import EXPLAINS, Cause
from wardian.rules.scoring import belongs
from wardian.rules.transitions import HEADING_OUT, Transition
from wardian.rules.truth import TrueFault

NONE: Final = "cannot tell"
#: The cause that is right where it has another name than the fault; none where no trace can show it.
RIGHT: Final[Mapping[str, str | None]] = {
    "thermostat probe fallen out": "heater stuck on",
    "cold night": "room too cold",
    "heat wave": "room too hot",
    "power-on value": "sensor implausible",
    "repeated and late readings": "sensor silent",
    "sensor drifting": None,
    "clock set back": None,
}
Named = Counter[tuple[str, str]]


def first_causes(raises: Sequence[tuple[Transition, Cause]], faults: Iterable[TrueFault]) -> Named:
    """Return how often each cause was named of the first alarm that belongs to each fault.

    A notice that a value is heading out is none: it comes before there is much to see.
    """
    named = Named()
    alarms = [(alarm, cause) for alarm, cause in raises if alarm.condition != HEADING_OUT]
    for fault in faults:
        first = next((cause for alarm, cause in alarms if belongs(alarm, fault)), None)
        if first is not None:
            named[fault.fault, first.name or NONE] += 1
    return named


def right_name(fault: str) -> str | None:
    return RIGHT.get(fault, fault)


def shares(named: Named, faults: Iterable[str]) -> tuple[int, int, int]:
    """Return how often the cause of some faults was named rightly, wrongly, and not at all."""
    counts = [0, 0, 0]
    for (fault, cause), count in named.items():
        if fault in faults:
            counts[2 if cause == NONE else 0 if cause == right_name(fault) else 1] += count
    return counts[0], counts[1], counts[2]


def print_confusion(named: Named) -> None:
    columns = [cause for cause in (*EXPLAINS, NONE) if any(name == cause for _, name in named)]
    print(f"| true fault | {' | '.join(columns)} | right | wrong | cannot tell |")
    print("|" + "---|" * (len(columns) + 4))
    for fault in FAULTS:
        cells = [str(named[fault, cause] or "") for cause in columns]
        if any(cells):
            right, wrong, none = shares(named, [fault])
            total = right + wrong + none
            ends = [f"{count / total:.0%}" for count in (right, wrong, none)]
            print(f"| {' | '.join([fault, *cells, *ends])} |", flush=True)
    print()


def figures(named: Named) -> list[Row]:
    shown = [fault for fault in FAULTS if right_name(fault) is not None]
    of_trays = [fault for fault in shown if not FAULTS[fault].of_sensor]
    right, _, _ = all_of = shares(named, of_trays)
    every = shares(named, FAULTS)
    total = sum(all_of)
    return [
        Row(
            "faults of trays whose first alarm names the right cause",
            f"{right} of {total}",
            "",
            right / total,
            "at least 0.7",
            right >= 0.7 * total,
        ),
        Row(
            "faults of any kind whose first alarm names a wrong cause",
            f"{every[1]} of {sum(every)}",
            "",
            every[1] / sum(every),
            "below 0.05",
            every[1] < 0.05 * sum(every),
        ),
    ]
