"""Ready weeks: from one in which nothing goes wrong to some in which much does."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from wardian.rules.faults import FAULTS
from wardian.rules.truth import TrueFault
from wardian.simulator.care import deeds
from wardian.simulator.chance import chance
from wardian.simulator.setup import BenchSetup
from wardian.simulator.wall import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE, at_wall_ms

_WARM: Final = ("air_temperature", "medium_temperature", "relative_humidity")


@dataclass(frozen=True, slots=True)
class _Course:
    """How a fault comes about: how long it lasts [h], when it begins, which probes it can befall.

    ``begins`` is ``any``, ``airing`` (as a cover should be put back), or an hour on the wall. Without
    ``quantities`` it is not a probe's; None among them is every probe of the tray. ``room`` befalls
    every tray.
    """

    lasts_h: tuple[float, float]
    begins: str | float = "any"
    room: bool = False
    quantities: tuple[str | None, ...] = ()


#: How long faults last until somebody puts them right: from memory. The order is that of FAULTS.
_COURSES: Final = {
    "heater dead": _Course((10, 20)),
    "heater stuck on": _Course((4, 8)),
    "thermostat probe fallen out": _Course((4, 8), "airing"),
    "cover left off": _Course((4, 12), "airing"),
    "cover cracked": _Course((24, 48)),
    "lamp dead": _Course((20, 30)),
    "lamp never off": _Course((24, 40)),
    "lamp on late": _Course((48, 72), 0.0),
    "half the lamp": _Course((36, 60)),
    "cold night": _Course((10, 12), 21.0, room=True),
    "heat wave": _Course((54, 60), 8.0, room=True),
    "mains lost": _Course((6, 12), room=True),
    "medium left dry": _Course((48, 72)),
    "over-misted": _Course((48, 72), 0.0),
    "never aired": _Course((40, 72), 0.0),
    "sensor silent": _Course((1, 8), quantities=(None, "illuminance", *_WARM)),
    "sensor stuck": _Course((8, 24), quantities=_WARM),
    "sensor implausible": _Course((1, 6), quantities=_WARM),
    "sensor drifting": _Course((36, 60), quantities=_WARM),
    "sensor saturated": _Course((12, 36), quantities=("relative_humidity",)),
    "sensors disagree": _Course((12, 36), quantities=_WARM),
    "power-on value": _Course((2, 6), quantities=("medium_temperature",)),
    "repeated and late readings": _Course((12, 36), quantities=(None,)),
    "clock set back": _Course((2, 5), quantities=(None,)),
}
#: Names of weeks in which several things go wrong.
_SEVERAL: Final = {
    "winter week": ("cold night", "heater dead", "lamp dead", "cover cracked"),
    "summer week": ("heat wave", "medium left dry", "never aired", "over-misted"),
    "forgetful week": ("cover left off", "thermostat probe fallen out", "lamp on late", "never aired"),
    "week of bad probes": (
        "sensor silent",
        "sensor implausible",
        "sensor drifting",
        "sensor saturated",
        "power-on value",
    ),
    "bad week": (
        "mains lost",
        "heater stuck on",
        "cover left off",
        "lamp never off",
        "sensor silent",
    ),
}
STEADY: Final = "steady"


def scenario_name(words: str) -> str:
    """Return the name by which a scenario is called: its words with hyphens between them."""
    return "-".join(words.replace("-", " ").split())


#: Every scenario: its name, and what happens in it, for people.
SCENARIOS: Final = {
    STEADY: "a healthy week: ordinary airing, misting and weather",
    **{scenario_name(fault): FAULTS[fault].words for fault in _COURSES},
    **{scenario_name(words): ", ".join(faults) for words, faults in _SEVERAL.items()},
}
_FAULTS_OF: Final = {
    STEADY: (),
    **{scenario_name(fault): (fault,) for fault in _COURSES},
    **{scenario_name(words): faults for words, faults in _SEVERAL.items()},
}


def with_scenarios(setup: BenchSetup, names: Sequence[str], start_ms: int, end_ms: int) -> BenchSetup:
    """Return a bench on which scenarios happen between two instants.

    Trays take turns, so that no two faults meet in one tray at a time; what befalls the room befalls
    every tray, in a part of the time of its own.

    Raises:
        KeyError: A name is none of SCENARIOS.
    """
    planned = [(number, fault) for number, name in enumerate(names) for fault in _FAULTS_OF[name]]
    of_room = [one for one in planned if _COURSES[one[1]].room]
    of_trays = [one for one in planned if not _COURSES[one[1]].room]
    every = [tray.name for tray in setup.trays]
    turns = [every[place] for place in chance(setup.seed, "turns", *names).permutation(len(every))]
    rounds = -(-len(of_trays) // len(turns))
    spans = _parts(start_ms, end_ms, len(of_room) + rounds)
    befallen = [(one, every, spans[place]) for place, one in enumerate(of_room)]
    befallen += [
        (one, [turns[place % len(turns)]], spans[len(of_room) + place // len(turns)])
        for place, one in enumerate(of_trays)
    ]
    faults: list[TrueFault] = []
    for (number, fault), trays, span in befallen:
        course, draw = _COURSES[fault], chance(setup.seed, fault, number)
        choice = course.quantities
        quantity = choice[int(draw.integers(len(choice)))] if choice else None
        from_ms, to_ms = _span(setup, course, trays[0], span, draw)
        faults += [TrueFault(tray, fault, from_ms, to_ms, quantity) for tray in trays]
    return replace(setup, faults=setup.faults + tuple(faults))


def _parts(start_ms: int, end_ms: int, count: int) -> list[tuple[int, int]]:
    edges = [start_ms + (end_ms - start_ms) * place // count for place in range(count + 1)] if count else []
    return list(pairwise(edges))


def _span(
    setup: BenchSetup, course: _Course, tray: str, within: tuple[int, int], draw: np.random.Generator
) -> tuple[int, int]:
    """Return when a fault begins and ends within a span."""
    start_ms, end_ms = within
    length_ms = end_ms - start_ms
    lasts_ms = min(draw.uniform(*course.lasts_h) * MS_PER_HOUR, 0.6 * length_ms)
    wish_ms = start_ms + draw.uniform(0.1, 0.9) * max(length_ms - lasts_ms, 0)
    beginnings = sorted(_beginnings(setup, course, tray, within), key=lambda ms: abs(ms - wish_ms))
    from_ms = next((ms for ms in beginnings if ms + lasts_ms <= end_ms), round(wish_ms))
    from_ms -= from_ms % MS_PER_MINUTE
    to_ms = min(from_ms + round(lasts_ms), end_ms)
    return from_ms, to_ms - to_ms % MS_PER_MINUTE


def _beginnings(setup: BenchSetup, course: _Course, tray: str, within: tuple[int, int]) -> Iterator[int]:
    start_ms, end_ms = within
    if course.begins == "airing":
        one = next(one for one in setup.trays if one.name == tray)
        done = deeds(setup, one, start_ms, end_ms)
        yield from (
            deed.care.to_ms for deed in done if deed.care.event == "lifted" and deed.care.to_ms > start_ms
        )
    elif course.begins != "any":
        for day in range(start_ms // MS_PER_DAY - 1, end_ms // MS_PER_DAY + 2):
            begin_ms = at_wall_ms(day, 60 * float(course.begins), setup.zone)
            if begin_ms >= start_ms:
                yield begin_ms
