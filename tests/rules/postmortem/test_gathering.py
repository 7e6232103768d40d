"""Minutes gathered from readings: the same in whatever pieces they come, and no more than the time asked for."""

import itertools
from collections.abc import Sequence

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.rules.observing.looks import LIFTED, MISTED, Care
from wardian.rules.postmortem.gathering import Gathering, Seen
from wardian.rules.readings import Chunk, Points, Series, points

MINUTE_MS = 60_000
HOUR_MS = 60 * MINUTE_MS
DAY_MS = 24 * HOUR_MS
BEGIN_MS = 1_772_400_000_000 // MINUTE_MS * MINUTE_MS
HOLD_MS = 5 * MINUTE_MS
SPAN = BEGIN_MS, BEGIN_MS + 3 * DAY_MS


def readings(
    values: Sequence[float], every_ms: int = MINUTE_MS, quantity: str = "medium_temperature"
) -> Chunk:
    times = BEGIN_MS + np.arange(len(values)) * every_ms
    return {Series("tray-a", quantity): Points(times, np.array(values, dtype=np.float64))}


def gathered(pieces: Sequence[tuple[int, Chunk]], recorded: Sequence[Care] = ()) -> Seen:
    gathering = Gathering("tray-a", HOLD_MS, SPAN, recorded)
    for until_ms, chunk in pieces:
        gathering.feed(chunk)
        gathering.close(until_ms)
    return gathering.seen()


def between(chunk: Chunk, from_ms: int, to_ms: int) -> Chunk:
    found = {}
    for series, one in chunk.items():
        inside = (one.times_ms >= from_ms) & (one.times_ms < to_ms)
        found[series] = Points(one.times_ms[inside], one.values[inside])
    return found


@settings(max_examples=20, deadline=None)
@given(st.lists(st.integers(1, 3 * 24 * 60 - 1), max_size=6, unique=True), st.integers(0, 5))
def test_pieces_of_any_size_give_the_same_minutes(cuts: list[int], seed: int) -> None:
    draw = np.random.default_rng(seed)
    whole = readings(draw.normal(23, 1, 3 * 24 * 60 * 2).tolist(), every_ms=MINUTE_MS // 2)
    edges = [SPAN[0], *(BEGIN_MS + cut * MINUTE_MS for cut in sorted(cuts)), SPAN[1]]
    pieces = [(to_ms, between(whole, from_ms, to_ms)) for from_ms, to_ms in itertools.pairwise(edges)]
    by_pieces, at_once = gathered(pieces), gathered([(SPAN[1], whole)])
    for column in ("mean", "moved"):
        one, other = (getattr(seen.columns["medium_temperature"], column) for seen in (by_pieces, at_once))
        np.testing.assert_array_equal(one, other)
    assert by_pieces.readings == at_once.readings == 3 * 24 * 60 * 2


def test_a_minute_is_the_mean_of_its_readings_and_stands_until_its_hold_has_passed() -> None:
    seen = gathered([(SPAN[1], readings([20.0, 22.0, 24.0, 26.0], every_ms=MINUTE_MS // 2))])
    mean = seen.mean("medium_temperature")
    assert mean[:3].tolist() == [21.0, 25.0, 26.0]
    # The last reading, at a minute and a half, stands for five.
    assert np.count_nonzero(~np.isnan(mean)) == 6
    assert seen.minutes == 3 * 24 * 60


def test_a_probe_that_rests_does_not_move() -> None:
    seen = gathered([(SPAN[1], readings([20.0, 20.0, 20.5, 20.5, 20.5]))])
    assert seen.columns["medium_temperature"].moved[:5].tolist() == [True, False, True, False, False]


def test_other_trays_and_other_times_are_left_out() -> None:
    other = {Series("tray-b", "medium_temperature"): points([BEGIN_MS], [10.0])}
    late = {
        Series("tray-a", "medium_temperature"): points([SPAN[1] + MINUTE_MS, BEGIN_MS - DAY_MS], [10.0, 10.0])
    }
    seen = gathered([(SPAN[1], other), (SPAN[1], late)])
    assert seen.readings == 0
    assert np.isnan(seen.mean("medium_temperature")).all()


def test_what_stood_at_the_beginning_is_known() -> None:
    before = {Series("tray-a", "medium_temperature"): points([BEGIN_MS - 2 * MINUTE_MS], [21.0])}
    assert gathered([(SPAN[1], before)]).mean("medium_temperature")[:3].tolist() == [21.0, 21.0, 21.0]


def test_a_silence_of_days_is_unknown_and_what_comes_after_it_is_in_its_place() -> None:
    chunk = {Series("tray-a", "medium_temperature"): points([BEGIN_MS, SPAN[1] - MINUTE_MS], [21.0, 22.0])}
    mean = gathered([(SPAN[1], chunk)]).mean("medium_temperature")
    assert (mean[0], mean[-1]) == (21.0, 22.0)
    assert np.count_nonzero(np.isnan(mean)) == len(mean) - 6


def test_a_lifted_cover_shows_once_with_the_minutes_that_it_was_off() -> None:
    mass = np.full(3 * 24 * 60, 3000.0)
    mass[2000:2006] -= 300.0
    seen = gathered([(SPAN[1], readings(mass.tolist(), quantity="tray_mass"))])
    assert [(care.event, (care.from_ms - BEGIN_MS) // MINUTE_MS) for care in seen.care] == [(LIFTED, 2000)]
    assert np.flatnonzero(seen.cover_off).tolist() == list(range(2000, 2006))


def test_care_that_people_recorded_is_care_that_was_seen() -> None:
    recorded = [
        Care(MISTED, BEGIN_MS + day * DAY_MS + HOUR_MS, BEGIN_MS + day * DAY_MS + HOUR_MS) for day in range(3)
    ]
    seen = gathered([(SPAN[1], readings([21.0] * (3 * 24 * 60)))], recorded)
    assert [care.from_ms for care in seen.care] == [one.from_ms for one in recorded]
