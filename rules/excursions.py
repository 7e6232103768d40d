"""When a tray was beyond its limits, alarm or not: what an alarm is compared with.

The rule of this file: there is one judge. Excursions are what the engine tells when no limit waits,
so that derived series, stages, deadbands and unknown time mean here what they mean everywhere.
"""

import dataclasses
from collections.abc import Iterable
from itertools import groupby
from operator import itemgetter
from typing import NamedTuple

from wardian.rules.crops import Stage
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Chunk
from wardian.rules.transitions import Transition


class Excursion(NamedTuple):
    """A stretch beyond one limit, from its first reading beyond to the first within (not included).

    Unknown time in it belongs to it. ``to_ms`` is the end of judgement where it still lasted then.
    """

    tray: str
    quantity: str
    limit: str
    from_ms: int
    to_ms: int


def without_delays(plan: TrayPlan) -> TrayPlan:
    """Return the same plan with limits that tell at once."""
    return dataclasses.replace(
        plan, spans=tuple(span._replace(stage=_at_once(span.stage)) for span in plan.spans)
    )


def _at_once(stage: Stage) -> Stage:
    bands = {
        quantity: dataclasses.replace(
            band, limits=tuple(limit._replace(on_delay_ms=0, off_delay_ms=0) for limit in band.limits)
        )
        for quantity, band in stage.bands.items()
    }
    return dataclasses.replace(stage, bands=bands)


def excursions(plans: Iterable[TrayPlan], chunk: Chunk, until_ms: int) -> list[Excursion]:
    """Return what readings were beyond before an instant, in order of time, tray, quantity and limit."""
    engine = Engine(map(without_delays, plans))
    engine.feed(chunk)
    return paired(engine.advance(until_ms), until_ms)


def paired(told: Iterable[Transition], until_ms: int) -> list[Excursion]:
    """Return the excursions between what an engine without delays told; sensor alarms are left out.

    What is raised and returned at one instant, as at a stage's start, is none; what returns and is
    raised again at one instant is one without a break.
    """
    crossings = sorted((one.alarm, one.time_ms) for one in told if one.limit is not None)
    found = []
    for (tray, quantity, limit), of_alarm in groupby(crossings, key=itemgetter(0)):
        from_ms = None
        for time_ms, at_once in groupby(time_ms for _, time_ms in of_alarm):
            if len(list(at_once)) % 2 == 0:
                continue
            if from_ms is None:
                from_ms = time_ms
            else:
                found.append(Excursion(tray, quantity, limit, from_ms, time_ms))
                from_ms = None
        if from_ms is not None:
            found.append(Excursion(tray, quantity, limit, from_ms, until_ms))
    return sorted(found, key=lambda one: (one.from_ms, one))
