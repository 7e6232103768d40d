"""What a tray weighs full, taken anew an hour after a thorough watering and never otherwise."""

from collections.abc import Iterable
from dataclasses import replace

import pytest
from case_terms import plan, stage
from hypothesis import given, settings
from hypothesis import strategies as st
from lone_tray import live, warm
from minute_by_minute import NOON_MS, TRAY, chunk_by, course, ramp, with_noise
from tray_by_hand import Around

from wardian.rules.observing.drained import Drained, drained_since
from wardian.rules.observing.looks import MISTED, WATERED, Care, Look
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import Masses
from wardian.simulator.flows import BEADS, LEAVES, WATER
from wardian.simulator.parameters import TrayParameters

MASS = "tray_mass"
NAN = float("nan")
#: A tray that is watered after an hour; what is asked is what it weighs another 70 minutes later.
HOUR = 60
FULL_AND_DRY = Masses(NOON_MS - 1, 3000, 1200)


def look_at(
    mass: Iterable[float], cares: Iterable[Care] = (), masses: tuple[Masses, ...] = (FULL_AND_DRY,)
) -> Look:
    trace = list(mass)
    observer = Observer([replace(plan((0, stage("callusing")), tray=TRAY), masses=masses)], ())
    for one in cares:
        observer.record(TRAY, one)
    observer.feed(chunk_by({MASS: trace}))
    observer.advance(NOON_MS + len(trace) * MINUTE_MS)
    return observer.trays[TRAY].look()


def watered(before: float, after: float, minutes: int = 120) -> list[float]:
    return course((HOUR, before), (minutes, after))


def found(look: Look, since_ms: int = 0) -> list[float]:
    return [one.saturated_g for one in drained_since(look, since_ms)]


def at(minute: int) -> int:
    return NOON_MS + minute * MINUTE_MS


def test_a_thorough_watering_tells_what_the_tray_weighs_full() -> None:
    look = look_at(watered(2500, 3050))
    (care,) = look.care
    assert list(drained_since(look, 0)) == [Drained(care.to_ms + 70 * MINUTE_MS, 3050)]


def test_what_drains_is_taken_after_it_drained() -> None:
    drained = [*ramp(30, 3300, 3020), *course((90, 3020))]
    assert found(look_at([*course((HOUR, 2500)), *drained])) == [3020]


def test_nothing_is_known_before_an_hour_and_ten_minutes_have_passed() -> None:
    assert found(look_at(watered(2500, 3000, 65))) == []
    assert found(look_at(watered(2500, 3000, 80))) == [3000]


@pytest.mark.parametrize(
    ("after", "is_taken"),
    # Full is 3000 g and 1800 g of that are water: from 5 % of it below to 15 % above.
    [(2909, False), (2910, True), (3000, True), (3270, True), (3271, False)],
)
def test_it_must_end_near_full(after: float, *, is_taken: bool) -> None:
    assert (found(look_at(watered(2600, after))) == [after]) is is_taken


@pytest.mark.parametrize(("before", "is_taken"), [(2820, True), (2821, False), (2950, False)])
def test_a_small_watering_tells_nothing_even_if_it_ends_full(before: float, *, is_taken: bool) -> None:
    assert (found(look_at(watered(before, 3000))) == [3000]) is is_taken


def test_a_misting_never_does() -> None:
    assert found(look_at(watered(2980, 3010))) == []


def test_a_tray_that_nobody_weighed_is_not_weighed_so() -> None:
    assert found(look_at(watered(2500, 3000), masses=())) == []


def test_a_cover_that_is_off_while_the_tray_is_weighed_tells_nothing() -> None:
    lifted = course((HOUR, 2500), (55, 3000), (30, 2880), (60, 3000))
    assert found(look_at(lifted)) == []
    back_in_time = course((HOUR, 2500), (20, 3000), (10, 2700), (60, 3000))
    assert found(look_at(back_in_time)) == [3000]


def test_an_unsteady_mass_tells_nothing_and_a_flickering_one_does() -> None:
    assert found(look_at([*course((HOUR, 2500)), *ramp(120, 3200, 3000)])) == []
    flickering = with_noise(watered(2500, 3000), 1.0)
    assert found(look_at(flickering)) == [pytest.approx(3000, abs=1)]


def test_a_bump_while_it_is_weighed_tells_nothing() -> None:
    mass = watered(2500, 3000)
    mass[HOUR + 66] = 3100
    assert found(look_at(mass)) == []


def test_unknown_minutes_tell_nothing() -> None:
    mass = watered(2500, 3000)
    mass[HOUR + 61 : HOUR + 72] = [NAN] * 11
    assert found(look_at(mass)) == []


def test_of_two_waterings_within_the_hour_the_later_counts() -> None:
    mass = course((HOUR, 2500), (30, 2750), (100, 3040))
    assert found(look_at(mass)) == [3040]


def test_a_misting_in_the_hour_is_let_be_and_one_while_it_is_weighed_is_not() -> None:
    early, late = (Care(MISTED, at(HOUR + minute), at(HOUR + minute + 1)) for minute in (30, 65))
    assert found(look_at(watered(2500, 3000), [early])) == [3000]
    assert found(look_at(watered(2500, 3000), [late])) == []


def test_a_recorded_watering_counts_from_when_it_was_recorded() -> None:
    recorded = Care(WATERED, at(HOUR + 8), at(HOUR + 8))
    look = look_at(watered(2500, 3000), [recorded])
    assert list(drained_since(look, 0)) == [Drained(at(HOUR + 78), 3000)]


def test_each_watering_is_told_once() -> None:
    look = look_at(watered(2500, 3000))
    ((at_ms, _),) = drained_since(look, 0)
    assert found(look, at_ms - 1) == [3000]
    assert found(look, at_ms) == []


@pytest.mark.parametrize("grams", [700, 1000, 1400])
def test_a_pretended_tray_that_is_watered_through_under_a_lifted_cover_is_weighed_full(grams: float) -> None:
    """Within 2 % of the 1800 g of water that it holds: what hangs on leaves and cover is weighed with it."""
    p = TrayParameters()
    covered = Around(room_c=19.0, room_kpa=1.0, lamp=1.0, mat=0.3)
    balance = warm(p, held=0.62)
    mass: list[float] = []
    for around, minutes in (
        (covered, 120),
        (covered._replace(is_open=True, watering_g_per_s=grams / 180), 3),
        (covered._replace(is_open=True), 2),
        (covered, 120),
    ):
        seen = live(balance, around, minutes * 60)
        mass += [
            p.dry_g
            + float(one.stores[[LEAVES, WATER], 0].sum())
            + (1 - around.is_open) * (p.cover_g + float(one.stores[BEADS, 0]))
            for one in seen
        ]
    masses = (Masses(NOON_MS - 1, 3300, 1500),)
    assert found(look_at(mass, masses=masses)) == [pytest.approx(3300, abs=36)]


@given(cuts=st.lists(st.integers(1, 239), max_size=4, unique=True))
@settings(max_examples=30, deadline=None)
def test_it_is_the_same_however_late_one_looks(cuts: list[int]) -> None:
    mass = [*watered(2500, 3040), *course((60, 3035))]
    told: list[float] = []
    since_ms = 0
    for end in [*sorted(cuts), 240]:
        for one in drained_since(look_at(mass[:end]), since_ms):
            told.append(one.saturated_g)
            since_ms = one.at_ms
    assert told == [3040]
