"""What is named as the cause of an alarm, by its tray and its neighbours; and where nothing is."""

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from minute_by_minute import NOON_MS, TRAY
from tray_by_minutes import (
    AIR,
    CONDITIONS,
    HUMIDITY,
    LAMP_LX,
    LIGHT,
    MASS,
    MEDIUM,
    Traces,
    bench,
    cools,
    healthy,
    minute,
    plan_of,
    set_to,
)

from wardian.rules.engine import Engine
from wardian.rules.observing.causes import (
    COLD,
    DRY_MEDIUM,
    EXPLAINS,
    GROUPS,
    OF_CONDITIONS,
    WET_MEDIUM,
    Cause,
    cause_of,
    group_of,
)
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.told import told_in_order
from wardian.rules.readings import Chunk, Points
from wardian.rules.transitions import RAISED, Transition

AT = minute(1, 14)
NIGHT = minute(2, 1)
END = 2 * 24 * 60


def alarm(quantity: str, what: str, at: int) -> Transition:
    limit = None if "-" in what else what
    time_ms = NOON_MS + at * MINUTE_MS
    return Transition(time_ms, TRAY, quantity, limit, RAISED, what, None, None, None, time_ms)


def named(trays: Mapping[str, Traces], quantity: str, what: str, at: int) -> Cause:
    """Return the cause of an alarm of the first tray at a minute."""
    observer, _ = bench(trays)
    observer.advance(NOON_MS + at * MINUTE_MS)
    cause = cause_of(alarm(quantity, what, at), observer)
    for one in cause.evidence:
        assert one.words.count("{}") == len(one.figures)
    return cause


def beside(first: Traces, *others: Traces) -> dict[str, Traces]:
    return {TRAY: first} | {f"beside-{place}": one for place, one in enumerate(others)}


def warmer(traces: Traces, begin: int, air_k: float, medium_k: float) -> Traces:
    """Let the room take the air, and less the medium, up or down."""
    for name, k in ((AIR, air_k), (MEDIUM, medium_k)):
        traces = set_to(traces, name, begin, END, traces[name][begin:] + k)
    return traces


HEALTHY = healthy(2)
OTHERS = healthy(2, 13), healthy(2, 27)


def test_a_mat_that_gives_no_heat_beside_mats_that_do() -> None:
    cause = named(beside(cools(HEALTHY, AT, 19.0), *OTHERS), MEDIUM, "low", AT + 120)
    assert cause.name == "heater dead"
    assert len(cause.evidence) == 3


@pytest.mark.parametrize("begin", [AT, NIGHT])
def test_lamp_and_mat_together_or_all_mats_together_are_the_mains(begin: int) -> None:
    trays = [cools(healthy(2, pause), begin, 19.0) for pause in (0, 13, 27)]
    trays = [set_to(one, LIGHT, begin, END, 0.0) for one in trays]
    assert named(beside(*trays), AIR, "low", begin + 120).name == "mains lost"


def test_a_mat_that_does_not_stop() -> None:
    climbs = set_to(HEALTHY, MEDIUM, AT, AT + 90, HEALTHY[MEDIUM][AT] + 4 / 60 * np.arange(90))
    assert named(beside(climbs, *OTHERS), MEDIUM, "high", AT + 85).name == "heater stuck on"


@pytest.mark.parametrize(
    ("air_k", "medium_k", "quantity", "limit", "name"),
    [(-3, 0, AIR, "low", "room too cold"), (4, 0.5, AIR, "high", "room too hot")],
)
def test_a_room_is_named_where_the_neighbours_are_in_step(
    air_k: float, medium_k: float, quantity: str, limit: str, name: str
) -> None:
    first, *others = (warmer(one, AT, air_k, medium_k) for one in (HEALTHY, *OTHERS))
    assert named(beside(first, *others), quantity, limit, AT + 60).name == name
    # One tray alone in it, or without neighbours, may have a probe that is off.
    assert named(beside(first, *OTHERS), quantity, limit, AT + 60).name is None
    assert named(beside(first), quantity, limit, AT + 60).name is None


@pytest.mark.parametrize(("lighter_g", "name"), [(300, "cover left off"), (0, "cover cracked")])
def test_the_scale_tells_a_cover_that_is_off_from_one_that_leaks(lighter_g: float, name: str) -> None:
    falls = np.concatenate((np.linspace(95, 60, 4), np.full(END - AT - 4, 60.0)))
    traces = set_to(HEALTHY, HUMIDITY, AT, END, falls)
    traces = set_to(traces, MASS, AT, END, 3200.0 - lighter_g)
    assert named(beside(traces), HUMIDITY, "low", AT + 50).name == name
    assert named(beside(traces), AIR, "low", AT + 30).name == name


def test_a_fall_of_humidity_that_nothing_else_shows_names_no_cover() -> None:
    falls = np.concatenate((np.linspace(95, 60, 4), np.full(END - AT - 4, 60.0)))
    traces = set_to(HEALTHY, HUMIDITY, AT, END, falls)
    del traces[MASS]
    assert named(beside(traces), HUMIDITY, "low", AT + 50).name is None


def dark(begin: int, end: int, *, cools_air: bool = True) -> Traces:
    traces = set_to(HEALTHY, LIGHT, begin, end, 0.0)
    return set_to(traces, AIR, begin, end, traces[AIR][begin:end] - 1.6) if cools_air else traces


def test_a_lamp_that_went_out_is_named_where_its_mat_still_heats_and_the_air_cooled() -> None:
    cause = named(beside(dark(AT, END), *OTHERS), "light_hours", "low", AT + 120)
    assert cause.name == "lamp dead"
    assert len(cause.evidence) == 4


def test_a_light_sensor_that_shows_dark_while_the_air_stays_warm_is_no_dead_lamp() -> None:
    traces = dark(AT, END, cools_air=False)
    assert named(beside(traces, *OTHERS), "light_hours", "low", AT + 120).name is None


def test_a_lamp_that_has_not_come_on_may_be_late_or_dead_and_nobody_can_tell() -> None:
    begin = minute(1, 5)
    assert named(beside(dark(begin, END)), "light_hours", "lamp-not-on", begin + 20).name is None


def test_a_lamp_that_came_on_late_is_late() -> None:
    begin = minute(1, 5)
    cause = named(beside(dark(begin, begin + 60)), "light_hours", "low", begin + 300)
    assert cause.name == "lamp on late"


def test_a_lamp_that_burns_on_is_named_with_the_warm_air() -> None:
    begin = minute(1, 23)
    traces = set_to(HEALTHY, LIGHT, begin, END, LAMP_LX)
    traces = set_to(traces, AIR, begin, END, traces[AIR][begin:] + 1.6)
    assert named(beside(traces), "light_hours", "high", begin + 60).name == "lamp never off"


def test_a_part_of_the_lamp_is_named_where_the_air_is_cooler_for_it() -> None:
    traces = set_to(HEALTHY, LIGHT, AT, END, LAMP_LX / 2)
    cooler = set_to(traces, AIR, AT, END, traces[AIR][AT:] - 0.8)
    assert named(beside(cooler, *OTHERS), LIGHT, "low", AT + 60).name == "half the lamp"
    assert named(beside(traces, *OTHERS), LIGHT, "low", AT + 60).name is None


def test_a_probe_that_slipped_out_of_the_medium_is_no_dead_mat() -> None:
    slipped = set_to(HEALTHY, MEDIUM, AT, END, HEALTHY[AIR][AT:] - 0.5)
    assert named(beside(slipped, *OTHERS), MEDIUM, "low", AT + 120).name is None


def test_a_light_sensor_that_is_stuck_lit_while_the_air_cools_is_no_burning_lamp() -> None:
    traces = set_to(HEALTHY, LIGHT, minute(1, 22), END, LAMP_LX)
    assert named(beside(traces, *OTHERS), "light_hours", "high", minute(2, 1)).name is None


def test_a_tray_that_loses_weight_under_sagging_humidity_was_left_dry() -> None:
    traces = set_to(HEALTHY, MASS, 0, END, np.linspace(3200, 3000, END))
    sagging = set_to(traces, HUMIDITY, 0, END, np.linspace(95, 85, END))
    assert named(beside(sagging), HUMIDITY, "low", END - 60).name == "medium left dry"
    assert (
        named(beside(set_to(HEALTHY, HUMIDITY, 0, END, sagging[HUMIDITY])), HUMIDITY, "low", END - 60).name
        is None
    )


def test_a_tray_under_a_cover_that_nobody_lifts_is_never_aired() -> None:
    assert named(beside(HEALTHY), HUMIDITY, "high", AT).name == "never aired"
    dips = set_to(HEALTHY, HUMIDITY, AT - 300, AT - 280, 60.0)
    assert named(beside(dips), HUMIDITY, "high", AT).name is None


@pytest.mark.parametrize(("mistings", "name"), [(6, "over-misted"), (3, None)])
def test_a_tray_that_is_misted_too_often_and_grows_heavier_is_over_misted(
    mistings: int, name: str | None
) -> None:
    mass = HEALTHY[MASS].copy()
    for place in range(mistings):
        mass[AT - 100 * (place + 2) :] += 25.0
    wet = set_to(set_to(HEALTHY, MASS, 0, END, mass), HUMIDITY, AT - 300, AT - 280, 60.0)
    assert named(beside(wet), HUMIDITY, "high", AT).name == name


def test_a_probe_that_drifts_names_nothing() -> None:
    drifts = set_to(HEALTHY, AIR, 0, END, HEALTHY[AIR] + np.linspace(0, 4, END))
    assert named(beside(drifts, *OTHERS), AIR, "high", END - 10).name is None


def test_an_alarm_about_a_sensor_says_itself_what_it_is() -> None:
    assert named(beside(HEALTHY), AIR, "sensor-silent", AT).name == "sensor silent"


def test_a_tray_without_readings_has_no_cause() -> None:
    observer = Observer([plan_of()])
    assert cause_of(alarm(AIR, "low", 5), observer) == Cause(None)


def test_every_group_is_known_and_explained_by_some_cause() -> None:
    assert set(OF_CONDITIONS.values()) <= set(GROUPS)
    assert {group for groups in EXPLAINS.values() for group in groups} == set(GROUPS)
    assert group_of(alarm(MEDIUM, "low_low", 0)) == COLD
    assert group_of(alarm("water_lost", "high", 0)) == DRY_MEDIUM
    assert group_of(alarm("water_lost", "low_low", 0)) == WET_MEDIUM
    assert group_of(alarm("water_ph", "low", 0)) is None


# ------------------------------------------------------------------------------------- told in order

DEAD = cools(HEALTHY, AT, 16.0)


def told(chunk: Chunk, cuts: list[int]) -> list[tuple[Transition, Cause | None]]:
    """Tell a bench whose readings come in pieces."""
    trays = sorted({series.tray for series in chunk})
    plans = [plan_of(tray) for tray in trays]
    engine, observer = Engine(plans), Observer(plans, CONDITIONS)
    found: list[tuple[Transition, Cause | None]] = []
    for begin, end in zip([0, *cuts], [*cuts, END + 60], strict=True):
        from_ms, to_ms = (NOON_MS + one * MINUTE_MS for one in (begin, end))
        piece = {
            series: Points(points.times_ms[mine], points.values[mine])
            for series, points in chunk.items()
            if (mine := (points.times_ms >= from_ms) & (points.times_ms < to_ms)).any()
        }
        engine.feed(piece)
        observer.feed(piece)
        found += told_in_order(engine.advance(to_ms), observer, to_ms)
    return found


def test_both_are_told_in_one_order_of_time_and_only_raises_have_a_cause() -> None:
    _, chunk = bench(beside(DEAD, *OTHERS))
    found = told(chunk, [])
    times = [one.time_ms for one, _ in found]
    assert times == sorted(times)
    assert {one.condition for one, _ in found} >= {"heater-idle", "low"}
    assert all((cause is not None) is (one.event == RAISED) for one, cause in found)
    assert {cause.name for _, cause in found if cause} == {"heater dead"}


def test_what_is_observed_at_the_end_of_a_minute_comes_before_what_is_told_at_that_instant() -> None:
    observer, _ = bench({TRAY: DEAD})
    (idle, _), *_ = told_in_order([], bench({TRAY: DEAD})[0], NOON_MS + END * MINUTE_MS)
    same = idle._replace(condition="low", limit="low")
    order = [one for one, _ in told_in_order([same], observer, NOON_MS + END * MINUTE_MS)]
    assert order[:2] == [idle, same]


@given(st.lists(st.integers(1, END - 1), max_size=3, unique=True))
@settings(max_examples=5, deadline=None)
def test_the_same_is_told_however_readings_are_cut(cuts: list[int]) -> None:
    _, chunk = bench(beside(DEAD, *OTHERS))
    assert told(chunk, sorted(cuts)) == told(chunk, [])
