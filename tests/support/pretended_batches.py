"""Pretended batches of two weeks with one cause planted in them, and how each is to be called."""

from dataclasses import dataclass, replace
from typing import Final, NamedTuple

import numpy as np
from base_config import EXAMPLE
from pretended_weeks import gathered

from wardian.daemon.wiring import load_config
from wardian.rules.batches import Batch, Removal, Scores
from wardian.rules.crops import day_start_ms, due_ms, stage_spans
from wardian.rules.postmortem.became import became
from wardian.rules.postmortem.blindness import blindness, unsafe_findings
from wardian.rules.postmortem.findings import Finding, findings
from wardian.rules.postmortem.gathering import Gathering
from wardian.rules.postmortem.ground import Case, Ground
from wardian.rules.postmortem.harm import (
    CHILLED,
    LITTLE_LIGHT,
    MEDIUM_DRY,
    MUCH_LIGHT,
    TOO_COLD,
    TOO_DRY_AIR,
    TOO_HOT,
    TOO_WET,
)
from wardian.rules.postmortem.light import days_of
from wardian.rules.readings import Chunk
from wardian.rules.truth import TrueFault
from wardian.simulator.growing import bench_setup
from wardian.simulator.setup import BenchSetup
from wardian.simulator.week import week

HOUR_MS: Final = 3_600_000
DAY_MS: Final = 24 * HOUR_MS
DAYS: Final = 14
TRAY: Final = "tray-a"
#: Monday noon: cuttings are stuck by day.
STUCK_HOUR: Final = 12


class Planted(NamedTuple):
    """A cause as it is planted: its faults (name, first day, days at least and at most), and the right finding.

    ``set_point_k`` sets the thermostat higher by as much [K], ``set_point_c`` to as much [°C] in a room of ``room_c``.
    """

    finding: str | None
    faults: tuple[tuple[str, float, tuple[float, float]], ...] = ()
    set_point_k: tuple[float, float] | None = None
    set_point_c: tuple[float, float] | None = None
    room_c: tuple[float, float] | None = None


#: By the words of the cause.
PLANTED: Final = {
    "healthy": Planted(None),
    "heater dead for days": Planted(TOO_COLD, (("heater dead", 1.0, (3, 6)),)),
    "heater stuck on": Planted(TOO_HOT, (("heater stuck on", 1.0, (0.5, 2)),)),
    "heater set too high": Planted(TOO_HOT, set_point_k=(5.0, 9.0)),
    "cover left off early": Planted(TOO_DRY_AIR, (("cover left off", 0.1, (0.5, 1.5)),)),
    "never aired and over-misted": Planted(
        TOO_WET, (("never aired", 1.0, (6, 9)), ("over-misted", 1.0, (6, 9)))
    ),
    "never aired": Planted(TOO_WET, (("never aired", 1.0, (6, 9)),)),
    "lamp dead for days": Planted(LITTLE_LIGHT, (("lamp dead", 2.0, (3, 7)),)),
    "half the lamp for days": Planted(LITTLE_LIGHT, (("half the lamp", 2.0, (5, 9)),)),
    "lamp never off": Planted(MUCH_LIGHT, (("lamp never off", 1.0, (4, 9)),)),
    "medium left dry": Planted(MEDIUM_DRY, (("medium left dry", 2.0, (5, 9)),)),
    "held cold": Planted(CHILLED, set_point_c=(5.0, 9.0), room_c=(7.0, 10.5)),
}


@dataclass(frozen=True, slots=True)
class PretendedBatch:
    """Readings of one batch, and its case."""

    chunk: Chunk
    case: Case
    span: tuple[int, int]


def pretended_batch(cause: str, seed: int, every_s: int = 60) -> PretendedBatch:
    """Return two weeks of one tray from sticking on; crop, season and the hours of the fault go by the seed."""
    draw = np.random.default_rng([seed, sum(cause.encode())])
    config = load_config(EXAMPLE)
    trays = {tray.crop.name: tray for tray in config.trays}
    tray = trays[sorted(trays)[int(draw.integers(len(trays)))]]
    zone = config.site.zone
    stuck = tray.stuck.replace(month=int(draw.integers(1, 13)))
    spans = stage_spans(tray.crop, stuck, zone)
    plan = replace(tray.plan, tray=TRAY, spans=spans, due_ms=due_ms(tray.crop, stuck, zone))
    start_ms = day_start_ms(stuck, zone) + STUCK_HOUR * HOUR_MS
    setup = replace(bench_setup([(TRAY, spans)], start_ms), seed=seed, zone=zone, every_ms=every_s * 1000)
    setup = _planted(setup, PLANTED[cause], start_ms, draw)
    end_ms = start_ms + DAYS * DAY_MS
    chunk, _ = gathered(week(setup, start_ms, end_ms))
    return PretendedBatch(chunk, Case(plan, tray.crop, zone), (start_ms, end_ms))


def _planted(setup: BenchSetup, planted: Planted, start_ms: int, draw: np.random.Generator) -> BenchSetup:
    faults = []
    begins_ms = None
    for name, first_day, lasts in planted.faults:
        # What belongs together begins and ends together.
        if begins_ms is None:
            begins_ms = start_ms + round(draw.uniform(first_day, first_day + 1.0) * DAY_MS)
            ends_ms = begins_ms + round(draw.uniform(*lasts) * DAY_MS)
        faults.append(TrueFault(TRAY, name, begins_ms - begins_ms % 60_000, ends_ms - ends_ms % 60_000))
    setup = replace(setup, faults=tuple(faults))
    if planted.room_c:
        setup = replace(setup, room_c=float(draw.uniform(*planted.room_c)))
    if planted.set_point_c:
        setup = setup.with_set_point(float(draw.uniform(*planted.set_point_c)))
    if planted.set_point_k:
        more_k = float(draw.uniform(*planted.set_point_k))
        trays = (
            tray._replace(
                regimes=tuple(one._replace(set_point_c=one.set_point_c + more_k) for one in tray.regimes)
            )
            for tray in setup.trays
        )
        setup = replace(setup, trays=tuple(trays))
    return setup


#: What came of each finding, in cuttings of 40: removals (reason, day, cuttings), and root scores of the rest.
BECAME: Final[dict[str | None, tuple[tuple[tuple[str, float, int], ...], tuple[int, ...]]]] = {
    None: ((("broken", 2.0, 1),), (0, 0, 2, 6, 17, 14)),
    TOO_COLD: ((("rot", 9.0, 3),), (1, 14, 14, 8, 0, 0)),
    TOO_HOT: ((("rot", 4.0, 10), ("wilt", 5.0, 6)), (4, 6, 8, 6, 0, 0)),
    TOO_DRY_AIR: ((("wilt", 1.5, 9), ("wilt", 2.5, 7)), (2, 4, 6, 10, 2, 0)),
    TOO_WET: ((("rot", 6.0, 9), ("mould", 9.0, 6)), (5, 4, 6, 8, 2, 0)),
    LITTLE_LIGHT: ((), (0, 10, 18, 10, 2, 0)),
    MUCH_LIGHT: ((("wilt", 8.0, 4),), (0, 10, 14, 10, 2, 0)),
    MEDIUM_DRY: ((("wilt", 11.0, 9),), (2, 8, 13, 8, 0, 0)),
    CHILLED: ((("rot", 6.0, 14), ("wilt", 3.5, 6)), (8, 8, 4, 0, 0, 0)),
}


def with_record(batch: PretendedBatch, finding: str | None) -> Case:
    """Return the case with a record of what comes of a finding."""
    removals, counts = BECAME[finding]
    stuck_ms, end_ms = batch.span
    lost = [Removal(stuck_ms + round(day * DAY_MS), cuttings, reason) for reason, day, cuttings in removals]
    assert sum(one.cuttings for one in lost) + sum(counts) == 40
    record = Batch(
        "b", TRAY, batch.case.crop.name, stuck_ms, 40, removals=tuple(lost), scores=(Scores(end_ms, counts),)
    )
    return replace(batch.case, batch=record)


def named(ground: Ground, case: Case) -> list[Finding]:
    """Return what is named of a pretended batch, as if roots were due by its end."""
    own = Ground(case, ground.seen)
    blind = blindness(own, {})
    return findings(own, days_of(own), became(case, is_past_due=True), unsafe_findings(blind))


def ground_of(batch: PretendedBatch) -> Ground:
    gathering = Gathering(TRAY, batch.case.plan.hold_ms, batch.span)
    gathering.feed(batch.chunk)
    return Ground(batch.case, gathering.seen())
