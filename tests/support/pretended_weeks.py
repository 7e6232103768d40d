"""Pretended weeks in memory, judged and scored by the example configuration."""

from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.played import Entry as Played
from wardian.daemon.wiring import load_config
from wardian.rules.engine import Engine
from wardian.rules.excursions import excursions
from wardian.rules.observing.causes import Cause
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Chunk, Points, Rows, Series
from wardian.rules.scores import Score
from wardian.rules.scoring import Watch, score
from wardian.rules.transitions import RAISED, Transition
from wardian.rules.truth import Truth
from wardian.simulator.bench import truth
from wardian.simulator.evening_class import EVENING_CLASS, START_MS
from wardian.simulator.scenarios import with_scenarios
from wardian.simulator.wall import MS_PER_DAY
from wardian.simulator.week import week

#: How often the probes of these weeks are read. [s]
EVERY_S = EVENING_CLASS.every_ms / 1000
EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"


@cache
def example() -> Config:
    return load_config(EXAMPLE)


def gathered(pieces: Iterable[Rows]) -> tuple[Chunk, list[tuple[int, str, str]]]:
    """Return readings as a file of them would be read, and the refused ones: time, tray, quantity."""
    parts: dict[Series, list[Points]] = {}
    refused = []
    for rows in pieces:
        for code, series in enumerate(rows.series):
            mine = rows.codes == code
            times, values = rows.times_ms[mine], rows.values[mine]
            known = QUANTITIES[series.quantity]
            good = (values >= known.possible_low) & (values <= known.possible_high)
            refused += [(int(time), *series) for time in times[~good]]
            parts.setdefault(series, []).append(Points(times[good], values[good]))
    chunk: Chunk = {}
    for series, pieces_of in parts.items():
        columns = zip(*pieces_of, strict=True)
        points = Points(*(np.concatenate(column) for column in columns))
        order = np.argsort(points.times_ms, kind="stable")
        chunk[series] = Points(points.times_ms[order], points.values[order])
    return chunk, refused


class PretendedWeek(NamedTuple):
    """Readings of the evening class, the refused ones (time, tray, quantity), and the truth about them."""

    chunk: Chunk
    refused: list[tuple[int, str, str]]
    truth: Truth

    @property
    def until_ms(self) -> int:
        return max(int(points.times_ms.max()) for points in self.chunk.values()) + 1


def pretended(seed: int, scenarios: Iterable[str], days: float = 7.0) -> PretendedWeek:
    """Return one pretended week."""
    end_ms = START_MS + round(days * MS_PER_DAY)
    setup = with_scenarios(replace(EVENING_CLASS, seed=seed), tuple(scenarios), START_MS, end_ms)
    return PretendedWeek(*gathered(week(setup, START_MS, end_ms)), truth(setup, START_MS, end_ms))


class JudgedWeek(NamedTuple):
    """What the example configuration made of a week: by its limits alone, and with all that shows in the traces.

    ``raises`` are all alarms, each with the cause that was named; ``entries`` what the journal would say.
    """

    by_limits: Score
    by_all: Score
    raises: list[tuple[Transition, Cause]]
    entries: list[Played]


def judged(seed: int, scenarios: Iterable[str], days: float = 7.0) -> JudgedWeek:
    """Return what the example configuration makes of one pretended week."""
    one = pretended(seed, scenarios, days)
    chronicle = wiring.chronicle(example())
    engine = Engine(tray.plan for tray in example().trays)
    engine.feed(one.chunk)
    chronicle.observer.feed(one.chunk)
    for time_ms, tray, quantity in one.refused:
        engine.refuse(time_ms, tray, quantity)
    transitions = engine.advance(one.until_ms)
    entries = list(chronicle.write(transitions, one.until_ms))
    told = [entry.transition for entry in entries if entry.transition]
    raises = [
        (entry.transition, Cause(entry.fields["cause"]["name"]))
        for entry in entries
        if entry.transition and entry.transition.event == RAISED
    ]
    played = [
        Played(entry.time_ms, entry.fields, chronicle.teller.message(entry.fields)) for entry in entries
    ]
    return JudgedWeek(_scored(one, transitions), _scored(one, told), raises, played)


def _scored(one: PretendedWeek, told: list[Transition]) -> Score:
    plans = {tray.name: tray.plan for tray in example().trays}
    beyond = excursions(plans.values(), one.chunk, one.until_ms)
    from_ms = min(int(points.times_ms.min()) for points in one.chunk.values())
    watch = Watch(plans, {series.tray for series in one.chunk}, from_ms, one.until_ms)
    return score(one.truth, told, beyond, watch)


def scored(seed: int, scenarios: Iterable[str], days: float = 7.0) -> Score:
    """Return how well the example configuration tells the truth of one pretended week."""
    one = pretended(seed, scenarios, days)
    engine = Engine(tray.plan for tray in example().trays)
    engine.feed(one.chunk)
    for time_ms, tray, quantity in one.refused:
        engine.refuse(time_ms, tray, quantity)
    return _scored(one, engine.advance(one.until_ms))
