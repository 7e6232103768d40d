"""Our alarms in the terms of ANSI/ISA-18.2-2016 and IEC 62682: what a raise, a return and a delay are.

Terms: the state diagram and the definitions of chattering, fleeting, stale and of a rationalised alarm as
two or more public texts reproduce them; deadband, on-delay, off-delay and the variant that needs no
acknowledgement from memory. The standards' own pages were not seen.

What is claimed: two states, normal and raised (the standard's "unacknowledged", an abnormal condition that is
annunciated), of alarms that return by themselves when the condition does. Acknowledging, latching,
shelving, suppression by design, taking out of service, re-alarming and limits on floods are not claimed
here.

Tolerances: none; time is in milliseconds.
"""

from collections import Counter
from collections.abc import Sequence
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from case_terms import HOUR_MS, MINUTE_MS, high, low, minutes, series, stage, warm
from case_terms import plan as plan_of
from replays import replayed

from wardian.adapters.reading_file import write_rows
from wardian.adapters.yaml_file import parse
from wardian.daemon import wiring
from wardian.daemon.library import PRIORITIES, library
from wardian.rules.crops import LIMITS, Limit
from wardian.rules.engine import Engine
from wardian.rules.plans import TrayPlan
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Reading, chunk_of
from wardian.rules.transitions import Transition

SECOND_MS = 1000
DAY_MS = 24 * HOUR_MS
#: State, what happens to the condition, next state.
STATES = [
    ("normal", "becomes abnormal", "raised"),  # read in two texts
    ("raised", "returns to normal", "normal"),  # the variant without acknowledgement, from memory
    ("raised", "is abnormal still", "raised"),  # by reasoning: nothing is annunciated twice
    ("normal", "is normal still", "normal"),  # by reasoning
]
#: A rule of thumb of both standards' practice; other texts use other windows.
CHATTERING_PER_MINUTE = 3
#: Annunciated without a break for longer than this.
STALE_MS = DAY_MS
NOISY_SECONDS = 3600


def journal(plan: TrayPlan, readings: Sequence[Reading], until_ms: int | None = None) -> list[Transition]:
    engine = Engine([plan])
    engine.feed(chunk_of(readings))
    return engine.advance(readings[-1].time_ms + 1 if until_ms is None else until_ms)


def events(told: Sequence[Transition]) -> list[tuple[int, str]]:
    return [(one.time_ms, one.event) for one in told]


def air(*points: tuple[int, float]) -> list[Reading]:
    return series("air_temperature", points)


def most_raises_in_a_minute(told: Sequence[Transition]) -> int:
    raises = [one.time_ms for one in told if one.event == "raised"]
    return max((sum(0 <= later - one < MINUTE_MS for later in raises) for one in raises), default=0)


# ---------------------------------------------------------------------------------- the two states


@pytest.mark.parametrize(("state", "happening", "after"), STATES)
def test_an_alarm_goes_from_state_to_state_as_the_diagram_says(
    state: str, happening: str, after: str
) -> None:
    engine = Engine([warm(high(25.0))])
    begin, end = (30.0 if name == "raised" else 20.0 for name in (state, after))
    engine.feed(chunk_of(air((0, begin))))
    told = engine.advance(1)
    assert bool(engine.raised()) == (state == "raised") == bool(told)
    engine.feed(chunk_of(air((MINUTE_MS, end))))
    told = engine.advance(MINUTE_MS + 1)
    assert bool(engine.raised()) == (after == "raised")
    assert len(told) == (0 if happening.endswith("still") else 1)


def test_whatever_is_read_raises_and_returns_take_turns() -> None:
    """Nothing is raised that stands, nothing returns that does not: for each of four limits by itself."""
    seconds = np.arange(20_000)
    noise = np.random.default_rng(5).normal(0, 5, len(seconds))
    values = 20 + 25 * np.sin(2 * np.pi * seconds / 600) + noise
    urgent = Limit("high_high", 45.0, 44.0, 3 * SECOND_MS, 2 * SECOND_MS)
    limits = (low(0.0), high(40.0), Limit("low_low", -5.0, -4.0, 0, 0), urgent)
    readings = air(*((int(at) * SECOND_MS, float(value)) for at, value in zip(seconds, values, strict=True)))
    seen: Counter[str] = Counter()
    for one in journal(warm(*limits), readings):
        assert one.limit is not None
        assert one.event == ("returned" if seen[one.limit] % 2 else "raised")
        seen[one.limit] += 1
    assert len(seen) == 4
    assert min(seen.values()) > 20


# --------------------------------------------------------------------- deadband, on-delay, off-delay


@pytest.mark.parametrize(
    ("limit", "beyond", "towards"), [(high(25.0, 0.5), 25.1, -1), (low(25.0, 0.5), 24.9, 1)]
)
def test_the_deadband_is_how_far_a_value_must_come_back(limit: Limit, beyond: float, towards: int) -> None:
    almost, enough = 25.0 + towards * 0.499, 25.0 + towards * 0.5
    told = journal(warm(limit), air((0, beyond), (1000, 25.0), (2000, almost), (3000, enough)))
    assert events(told) == [(0, "raised"), (3000, "returned")]


@pytest.mark.parametrize(("lasts_ms", "raised"), [(59_999, []), (60_000, [(60_000, "raised")])])
def test_the_on_delay_is_how_long_a_condition_must_hold(lasts_ms: int, raised: list[tuple[int, str]]) -> None:
    told = journal(warm(high(25.0, on_ms=MINUTE_MS)), air((0, 30.0), (lasts_ms, 20.0)))
    assert events(told)[:1] == raised


@pytest.mark.parametrize(("lasts_ms", "returned_ms"), [(59_999, []), (60_000, [61_000])])
def test_the_off_delay_is_how_long_normal_must_hold(lasts_ms: int, returned_ms: list[int]) -> None:
    told = journal(warm(high(25.0, off_ms=MINUTE_MS)), air((0, 30.0), (1000, 20.0), (1000 + lasts_ms, 30.0)))
    assert [one.time_ms for one in told if one.event == "returned"] == returned_ms


def test_a_sensor_that_falls_silent_returns_nothing_to_normal() -> None:
    told = journal(warm(high(25.0)), air((0, 30.0)), until_ms=DAY_MS)
    assert events(told) == [(0, "raised")]


# -------------------------------------------------------------------- chattering, fleeting and stale


def noisy(quantity: str, limit: float, amplitude: float) -> list[Reading]:
    """Return an hour of noise about a limit, a reading each second."""
    noise = np.random.default_rng(11).uniform(-1, 1, NOISY_SECONDS)
    return series(
        quantity, ((place * SECOND_MS, limit + amplitude * float(one)) for place, one in enumerate(noise))
    )


def amid(quantity: str) -> float:
    """Return a limit of a measured quantity, well inside what is possible."""
    return {"water_ph": 6.0, "water_ec": 1.0, "tray_mass": 2500.0, "illuminance": 5000.0}.get(quantity, 25.0)


MEASURED = [name for name, one in QUANTITIES.items() if not one.derived]


@pytest.mark.parametrize("quantity", MEASURED)
def test_noise_of_half_a_deadband_about_a_limit_never_chatters(quantity: str) -> None:
    """By the library's deadband alone, without any delay; with no deadband the same noise chatters."""
    limit = amid(quantity)
    default = library(parse).defaults[quantity]
    deadband = float(default.deadband_of(Fraction(limit)))
    readings = noisy(quantity, limit, deadband / 2)
    bare = plan_of((0, stage("rooting", **{quantity: high(limit, 0.0)})))
    assert most_raises_in_a_minute(journal(bare, readings)) >= CHATTERING_PER_MINUTE
    banded = plan_of((0, stage("rooting", **{quantity: high(limit, deadband)})))
    assert len(journal(banded, readings)) == 1


@pytest.mark.parametrize("quantity", [name for name in QUANTITIES if name not in ("water_ph", "water_ec")])
def test_by_the_default_delays_nothing_that_can_be_read_chatters(quantity: str) -> None:
    """A value that turns as soon as it is told is the worst there is; water is measured by hand, without delays."""
    default = library(parse).defaults[quantity]
    limit = high(25.0, on_ms=default.on_delay_ms, off_ms=default.off_delay_ms)
    cycle_ms = limit.on_delay_ms + limit.off_delay_ms
    readings = []
    for cycle in range(50):
        readings += air((cycle * cycle_ms, 30.0), (cycle * cycle_ms + limit.on_delay_ms, 20.0))
    told = journal(warm(limit, hold_ms=DAY_MS), readings)
    assert len(told) == 2 * 50 - 1
    assert most_raises_in_a_minute(told) == 1


AIRED = """\
site: {name: Evening class, timezone: UTC, units: SI}
store: {url: "memory:"}
trays: [{name: tray-a, crop: coleus, stuck: 2026-03-02}]
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {low: 20 °C, high: 26 °C}
          relative_humidity: {low_low: 70 %, low: 88 %}
          vapour_pressure_deficit: {high: 0.3 kPa, high_high: 0.8 kPa}
"""
#: 2026-03-02T00:00Z.
STUCK_MS = 1_772_409_600_000


def day_with_airing(minutes_open: int) -> list[Reading]:
    """Return a day, a reading each minute, with the cover lifted at 8:00, 14:00 and 20:00."""
    readings = []
    for minute in range(24 * 60):
        is_open = any(0 <= minute - 60 * hour < minutes_open for hour in (8, 14, 20))
        for quantity, closed, opened in (
            ("air_temperature", 23.0, 19.5),
            ("relative_humidity", 95.0, 52.0),
        ):
            value = opened if is_open else closed
            readings.append(Reading(STUCK_MS + minutes(minute), "tray-a", quantity, value))
    return readings


@pytest.mark.parametrize(("minutes_open", "raised_at"), [(20, []), (60, ["08:30", "08:45", "08:45"])])
def test_ordinary_airing_is_no_fleeting_alarm(
    tmp_path: Path, minutes_open: int, raised_at: list[str]
) -> None:
    """A fleeting alarm is over before anybody could act; with the cover off for an hour somebody must."""
    config, readings = tmp_path / "config.yaml", tmp_path / "day.csv"
    config.write_text(AIRED, encoding="utf-8")
    write_rows(readings, day_with_airing(minutes_open))
    told, _ = replayed(config, readings)
    first = [one["time"][11:16] for one in told if one["event"] == "raised" and one["time"][11:13] == "08"]
    assert first[: len(raised_at)] == raised_at
    assert bool(told) == bool(raised_at)


def test_a_stale_alarm_was_told_once_and_still_stands() -> None:
    """Three days of cold medium: annunciated without a break for more than 24 h, and not told anew."""
    engine = Engine([plan_of((0, stage("callusing", medium_temperature=low(20.0))))])
    told: list[Transition] = []
    for minute in range(3 * 24 * 60):
        engine.feed(chunk_of(series("medium_temperature", [(minutes(minute), 15.0)])))
        told += engine.advance(minutes(minute) + 1)
    assert [one.event for one in told] == ["raised"]
    assert engine.raised() == {("tray-a", "medium_temperature", "low")}
    assert engine.trays["tray-a"].judged_ms - told[0].time_ms > STALE_MS


# ---------------------------------------------------------------------------------- rationalisation


ALARMS = [(quantity, limit) for quantity in QUANTITIES for limit in LIMITS]
#: Priority by the time there is to respond.
RESPONSES = {"high": "within 30 min", "medium": "within 4 h", "low": "at the next round"}


def test_every_alarm_has_cause_consequence_action_and_time_to_respond() -> None:
    known = library(parse)
    assert set(known.limits) == set(ALARMS)
    for advice in (*known.limits.values(), *known.sensors.values()):
        for words in (advice.cause, advice.consequence, advice.action, advice.within):
            assert len(words.split()) >= 3, advice.alarm


def test_no_two_alarms_are_one() -> None:
    names = Counter(library(parse).limits[alarm].alarm for alarm in ALARMS)
    assert [name for name, count in names.items() if count > 1] == []


def test_priority_has_three_levels_and_follows_the_time_to_respond() -> None:
    known = library(parse)
    assert PRIORITIES == ("low", "medium", "high")
    for advice in (*known.limits.values(), *known.sensors.values()):
        assert advice.within.startswith(RESPONSES[advice.priority]), advice.alarm


@pytest.mark.parametrize("quantity", QUANTITIES)
@pytest.mark.parametrize(("outer", "inner"), [("low_low", "low"), ("high_high", "high")])
def test_the_outer_limit_is_never_less_urgent(quantity: str, outer: str, inner: str) -> None:
    known = library(parse).limits
    ranks = [PRIORITIES.index(known[quantity, limit].priority) for limit in (outer, inner)]
    assert ranks[0] >= ranks[1]


def test_what_a_person_is_told_asks_for_an_action_in_time(tmp_path: Path) -> None:
    path = tmp_path / "config.yaml"
    path.write_text(AIRED, encoding="utf-8")
    config = wiring.load_config(path)
    teller = wiring.teller(config, ["bench"])
    for quantity, limit in ALARMS:
        advice = config.library.limits[quantity, limit]
        raised = Transition(
            STUCK_MS, "tray-a", quantity, limit, "raised", limit, 1.0, 2.0, "callusing", STUCK_MS
        )
        (due,) = teller.messages(teller.message(teller.fields(raised)))
        for words in (advice.cause, advice.consequence, advice.action, advice.within, advice.priority):
            assert words in due.message.body
