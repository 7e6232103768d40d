"""An alarm raised in doubt stays so until it returns: through a restart, a new stage and an old state."""

import json
from typing import Any

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.readings import Reading, chunk_of

MINUTE_MS = 60_000
DEFICIT = "vapour_pressure_deficit"
BANDS = {DEFICIT: Band(DEFICIT, (Limit("high", 0.4, 0.4, 0, 0),))}
ACCURACIES = {"air_temperature": 0.3, "relative_humidity": 3.0}
PLAN = TrayPlan("tray-a", (StageSpan(-1, Stage("callusing", 0, BANDS)),), 300_000, accuracies=ACCURACIES)


def fed(engine: Engine, minute: int, humidity_pct: float) -> Engine:
    engine.feed(
        chunk_of(
            [
                Reading(minute * MINUTE_MS, "tray-a", "air_temperature", 24.0),
                Reading(minute * MINUTE_MS, "tray-a", "relative_humidity", humidity_pct),
            ]
        )
    )
    return engine


def state_in_doubt() -> dict[str, Any]:
    # 85 % leave 0.446 kPa, 0.046 beyond, where 0.104 are uncertain.
    engine = fed(Engine([PLAN]), 0, 85.0)
    (raised,) = engine.advance(1)
    assert (raised.event, raised.in_doubt) == ("raised", True)
    state: dict[str, Any] = json.loads(json.dumps(engine.state()))
    return state


def test_a_restart_remembers_that_the_alarm_was_raised_in_doubt() -> None:
    (returned,) = fed(Engine([PLAN], state_in_doubt()), 1, 95.0).advance(MINUTE_MS + 1)
    assert (returned.event, returned.in_doubt) == ("returned", True)


def test_a_new_stage_with_the_same_limit_remembers_it_too() -> None:
    spans = (*PLAN.spans, StageSpan(30_000, Stage("rooting", 1, BANDS)))
    plan = TrayPlan("tray-a", spans, 300_000, accuracies=ACCURACIES)
    (returned,) = fed(Engine([plan], state_in_doubt()), 1, 95.0).advance(MINUTE_MS + 1)
    assert (returned.stage, returned.event, returned.in_doubt) == ("rooting", "returned", True)


def test_a_state_from_before_doubt_was_remembered_goes_on_without_it() -> None:
    state = state_in_doubt()
    for limit in state["tray-a"]["limits"]:
        assert limit[2].pop() is True
    (returned,) = fed(Engine([PLAN], state), 1, 95.0).advance(MINUTE_MS + 1)
    assert (returned.event, returned.in_doubt) == ("returned", False)


def test_the_next_alarm_of_the_limit_is_judged_by_its_own_value() -> None:
    engine = fed(fed(Engine([PLAN], state_in_doubt()), 1, 95.0), 2, 70.0)
    told = engine.advance(2 * MINUTE_MS + 1)
    assert [(one.event, one.in_doubt) for one in told] == [("returned", True), ("raised", False)]


def test_without_an_accuracy_nothing_is_in_doubt() -> None:
    plan = TrayPlan("tray-a", PLAN.spans, 300_000)
    (raised,) = fed(Engine([plan]), 0, 85.0).advance(1)
    assert (raised.uncertainty, raised.in_doubt) == (None, False)
