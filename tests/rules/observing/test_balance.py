"""What else a balance shows: cuttings pulled, bumps, and the minutes in which a tray only dries."""

from collections.abc import Iterable

import numpy as np
import pytest
from case_terms import plan, stage
from minute_by_minute import NOON_MS, TRAY, chunk_by, course, ramp, read_by, with_noise
from pretended_weeks import example, pretended

from wardian.rules.observing.balance import BUMPED, PULLED, quiet, seen_on_balance
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED, Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.readings import Series
from wardian.rules.water import evaporation_g_per_h

MASS = "tray_mass"
NAN = float("nan")


def look_at(mass: list[float], *moments: tuple[int, float]) -> Look:
    """Return a tray at the end of a trace, with further readings 20 s after the minute's own."""
    observer = Observer([plan((0, stage("callusing")), tray=TRAY)], ())
    observer.feed(chunk_by({MASS: mass}))
    for minute, grams in moments:
        observer.feed({Series(TRAY, MASS): read_by([grams], from_ms=NOON_MS + minute * MINUTE_MS + 20_000)})
    observer.advance(NOON_MS + len(mass) * MINUTE_MS)
    return observer.trays[TRAY].look()


def seen(look: Look) -> list[tuple[str, int, float]]:
    """Return what was seen: kind, minute, grams."""
    return [
        (one.event, (one.from_ms - NOON_MS) // MINUTE_MS, round(one.grams, 1))
        for one in seen_on_balance(look)
    ]


def care(look: Look) -> list[str]:
    return [one.event for one in look.care]


def test_a_small_step_that_stays_is_a_cutting_pulled() -> None:
    look = look_at(course((40, 3000), (40, 2997)))
    assert seen(look) == [(PULLED, 40, -3.0)]
    assert care(look) == []


@pytest.mark.parametrize(("grams", "count"), [(1.0, 0), (1.5, 1), (6.0, 1), (6.5, 0)])
def test_a_cutting_weighs_a_gram_and_a_half_to_six(grams: float, count: int) -> None:
    assert len(seen(look_at(course((40, 3000), (40, 3000 - grams))))) == count


def test_two_cuttings_pulled_one_after_the_other_are_two() -> None:
    look = look_at(course((40, 3000), (30, 2997), (40, 2995)))
    assert [event for event, *_ in seen(look)] == [PULLED, PULLED]


@pytest.mark.parametrize("g_per_h", [1.5, 10.0, 25.0, 60.0])
def test_a_tray_that_dries_however_fast_pulls_no_cutting(g_per_h: float) -> None:
    mass = ramp(300, 3000, 3000 - 5 * g_per_h)
    assert seen(look_at(mass)) == []
    assert seen(look_at([float(round(one)) for one in mass])) == []


def test_a_flickering_balance_pulls_no_cutting() -> None:
    assert seen(look_at(with_noise(course((100, 3000)), 1.5))) == []


def test_what_is_back_within_minutes_was_a_bump_and_no_care() -> None:
    look = look_at(course((40, 3000), (2, 3400), (40, 3000)))
    assert seen(look) == [(BUMPED, 40, 400.0)]
    assert care(look) == []


@pytest.mark.parametrize("grams", [-2000, -400, -100, 100, 400, 2000])
def test_a_hand_of_a_few_seconds_is_a_bump_and_no_care(grams: float) -> None:
    look = look_at(course((80, 3000)), (40, 3000 + grams))
    assert seen(look) == [(BUMPED, 40, float(grams))]
    assert care(look) == []


@pytest.mark.parametrize("minutes", [1, 2, 4])
@pytest.mark.parametrize("grams", [-300, 60, 300])
def test_a_hand_that_leans_and_shakes_for_minutes_is_a_bump_and_no_care(minutes: int, grams: int) -> None:
    shaking = [(40 + place, 3000 + 0.3 * grams) for place in range(minutes)]
    look = look_at(course((40, 3000), (minutes, 3000 + grams), (40, 3000)), *shaking)
    assert [event for event, *_ in seen(look)] == [BUMPED]
    assert care(look) == []


@pytest.mark.parametrize(
    ("mass", "event"),
    [
        (course((40, 3000), (4, 2700), (60, 3000)), LIFTED),
        (course((40, 3000), (60, 3020)), MISTED),
        (course((40, 3000), (60, 3200)), WATERED),
    ],
)
def test_care_is_care_and_nothing_else(mass: list[float], event: str) -> None:
    look = look_at(mass)
    assert (care(look), seen(look)) == ([event], [])


def test_a_watering_that_drains_away_within_half_an_hour_is_one() -> None:
    drained = [3000 + 400 * float(np.exp(-minute / 10)) for minute in range(60)]
    look = look_at([*course((40, 3000)), *drained])
    assert WATERED in care(look)
    assert seen(look) == []


def test_what_an_airing_takes_is_no_cutting_pulled() -> None:
    assert seen(look_at(course((40, 3000), (4, 2697), (60, 2997)))) == []


def test_nothing_is_seen_where_nothing_was_weighed() -> None:
    assert seen(look_at(course((40, NAN), (2, 3000), (30, NAN)))) == []
    assert seen(look_at([3000.0])) == []
    holes = [*course((40, 3000)), *course((3, NAN)), *course((40, 2997))]
    assert all(event == PULLED for event, *_ in seen(look_at(holes)))


# Quiet minutes


def test_the_hour_after_care_is_not_quiet() -> None:
    look = look_at(course((100, 3000), (100, 3020)))
    (misted,) = look.care
    still = quiet(look, MASS)
    begins = (misted.from_ms - NOON_MS) // MINUTE_MS
    assert still[: begins - 2].all()
    assert not still[begins - 2 : begins + 60].any()
    assert still[begins + 70 :].all()


def test_a_tray_without_its_cover_is_not_quiet_however_long() -> None:
    look = look_at(course((100, 3000), (400, 2700)))
    assert not quiet(look, MASS)[100:].any()


def test_a_bump_and_a_cutting_pulled_change_no_rate() -> None:
    dry = ramp(24 * 60, 3000, 2976)
    pulled = [grams - 5 * (minute >= 630) for minute, grams in enumerate(dry)]
    look = look_at(pulled, (900, 4000))
    rate = evaporation_g_per_h(look.minutes.trace(MASS, 10_000).mean, quiet(look, MASS))
    assert rate is not None
    assert rate.per_h == pytest.approx(1.0, abs=0.02)


# A pretended bench


@pytest.mark.parametrize("scenario", ["steady", "over-misted", "medium-left-dry"])
def test_on_a_pretended_bench_every_care_is_seen_and_nothing_is_pulled_or_bumped(scenario: str) -> None:
    week = pretended(3, [scenario], days=3.0)
    observer = Observer((tray.plan for tray in example().trays), ())
    observer.feed(week.chunk)
    observer.advance(week.until_ms)
    found = {name: tray.look() for name, tray in observer.trays.items()}
    assert {name: seen(look) for name, look in found.items()} == {name: [] for name in found}
    lifts = {name: sum(one.tray == name and one.event == LIFTED for one in week.truth.care) for name in found}
    assert {name: _count(care(look), LIFTED) for name, look in found.items()} == lifts
    mistings = sum(one.event in (MISTED, WATERED) for one in week.truth.care)
    brought = sum(event in (MISTED, WATERED) for look in found.values() for event in care(look))
    # A watering two minutes after a misting, under the same lift, is one with it.
    waterings = sum(one.event == WATERED for one in week.truth.care)
    assert mistings - waterings <= brought <= mistings


def _count(events: Iterable[str], event: str) -> int:
    return sum(one == event for one in events)
