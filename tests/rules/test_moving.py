"""An era that was dated wrongly is moved: an engine that goes on from it judges as if the clock had been right."""

from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.engine import Engine
from wardian.rules.moving import Moving, moved_json, moved_state
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.transitions import Transition

BEGIN_MS = 1_772_400_000_000
MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
LUX = "illuminance"
AIR = "air_temperature"


def plan() -> TrayPlan:
    warm = Band(AIR, (Limit("high", 25.0, 24.5, 10 * MINUTE_MS, 5 * MINUTE_MS),))
    light = Band("light_hours", (Limit("low", 12.0, 12.0, 0, 0),))
    stage = Stage("callusing", 0, {AIR: warm, "light_hours": light})
    spans = (StageSpan(BEGIN_MS - 500 * 24 * HOUR_MS, stage),)
    lamp = LampRule(LUX, 1000.0, 900.0)
    return TrayPlan(
        "tray-a", spans, 5 * MINUTE_MS, lamp=lamp, silent_after_ms={AIR: 10 * MINUTE_MS, LUX: HOUR_MS}
    )


def readings(minutes: range, values: list[float]) -> list[Reading]:
    return [
        Reading(BEGIN_MS + minute * MINUTE_MS, "tray-a", quantity, value if quantity == AIR else value * 50)
        for minute, value in zip(minutes, values, strict=False)
        for quantity in (AIR, LUX)
    ]


def later(transitions: list[Transition], by_ms: int) -> list[Transition]:
    return [one._replace(time_ms=one.time_ms + by_ms, since_ms=one.since_ms + by_ms) for one in transitions]


values = st.lists(st.sampled_from([18.0, 22.0, 24.7, 26.0, 30.0]), min_size=120, max_size=120)


@settings(max_examples=40)
@given(values, st.integers(1, 119), st.integers(-400 * 24 * HOUR_MS, 400 * 24 * HOUR_MS))
def test_an_engine_that_is_moved_goes_on_as_it_would_have(course: list[float], at: int, by_ms: int) -> None:
    plain, moved = Engine([plan()]), Engine([plan()])
    first, rest = readings(range(at), course), readings(range(at, 120), course[at:])
    for engine in (plain, moved):
        engine.feed(chunk_of(first))
        engine.advance(BEGIN_MS + at * MINUTE_MS)
    moved.move(by_ms)
    plain.feed(chunk_of(rest))
    moved.feed(chunk_of(one._replace(time_ms=one.time_ms + by_ms) for one in rest))
    end_ms = BEGIN_MS + 300 * MINUTE_MS
    assert moved.advance(end_ms + by_ms) == later(plain.advance(end_ms), by_ms)


@settings(max_examples=40)
@given(values, st.integers(1, 119), st.integers(0, 20 * HOUR_MS))
def test_a_moved_era_is_judged_on_as_if_nothing_had_been_known_before_it(
    course: list[float], at: int, by_ms: int
) -> None:
    """What came before the era stays, and what lies between is unknown: as where the readings had that gap."""
    moving = Moving(BEGIN_MS + at * MINUTE_MS, by_ms)
    wrong, right = Engine([plan()]), Engine([plan()])
    old, new = readings(range(at), course), readings(range(at, 120), course[at:])
    wrong.feed(chunk_of([*old, *new]))
    wrong.advance(BEGIN_MS + 120 * MINUTE_MS)
    right.feed(chunk_of([*old, *(one._replace(time_ms=moving.of(one.time_ms)) for one in new)]))
    right.advance(BEGIN_MS + 120 * MINUTE_MS + by_ms)
    again = Engine([plan()], {"tray-a": moved_state(wrong.state()["tray-a"], moving)})
    lit, expected = again.state()["tray-a"]["lit"], right.state()["tray-a"]["lit"]
    if by_ms > 5 * MINUTE_MS:
        known = sum(to_ms - from_ms for from_ms, to_ms, *_ in lit)
        assert abs(known - sum(to_ms - from_ms for from_ms, to_ms, *_ in expected)) <= 5 * MINUTE_MS
    present, wanted = (
        engine.trays["tray-a"].present(moving.of(BEGIN_MS + 120 * MINUTE_MS)) for engine in (again, right)
    )
    assert present[AIR].stand == wanted[AIR].stand
    # A run does not reach across what nobody knows.
    for _, _, (_, run_ms, *_) in again.state()["tray-a"]["limits"]:
        assert run_ms is None or run_ms >= moving.begin_ms


def test_every_instant_in_plain_json_is_moved_and_nothing_else() -> None:
    moving = Moving(BEGIN_MS, HOUR_MS)
    before = {
        "time": "2026-03-02T00:00:00.000Z",
        "since": "2026-03-01T20:00:00.000Z",
        "spans": [[BEGIN_MS - 1, BEGIN_MS]],
        "never": 2**62,
        "value": 26.5,
        "count": 12,
        "stands": True,
        "words": "2026-03-02T00:00:00.000Z or so",
    }
    assert moved_json(before, moving) == {
        **before,
        "time": "2026-03-02T01:00:00.000Z",
        "spans": [[BEGIN_MS - 1, BEGIN_MS + HOUR_MS]],
    }
