"""Covers that are off, and covers that leak."""

import numpy as np
import pytest
from tray_by_minutes import AIR, HUMIDITY, MASS, Traces, events, healthy, minute, set_to, told_of

LIFTED = minute(1, 14)
END = 2 * 24 * 60


def fallen(to_pct: float, *, lowest: float | None = None, lighter_g: float = 0, lasts: int = 300) -> Traces:
    """Let humidity fall within three minutes, and come back to a level within ten where it fell further."""
    traces = healthy(2)
    first = np.linspace(95, to_pct if lowest is None else lowest, 4)
    back = np.linspace(first[-1], to_pct, 10)
    course = np.concatenate((first, back, np.full(lasts - 14, to_pct)))
    traces = set_to(traces, HUMIDITY, LIFTED, LIFTED + lasts, course)
    traces = set_to(traces, AIR, LIFTED, LIFTED + lasts, traces[AIR][LIFTED : LIFTED + lasts] - 1.5)
    return set_to(traces, MASS, LIFTED, LIFTED + lasts, 3200.0 - lighter_g)


def told(traces: Traces) -> list[tuple[str, str, int]]:
    return [one for one in events(told_of(traces)) if one[0].startswith("cover")]


def test_a_cover_that_is_off_by_the_scale_is_told_after_three_quarters_of_an_hour() -> None:
    found = told(fallen(60, lighter_g=300))
    assert [one[:2] for one in found] == [("cover-off", "raised"), ("cover-off", "returned")]
    assert 45 <= found[0][2] - LIFTED <= 60
    assert 0 < found[1][2] - LIFTED - 300 <= 15


def test_a_cover_whose_weight_is_on_the_scale_leaks_however_far_humidity_fell() -> None:
    assert [one[0] for one in told(fallen(60))] == ["cover-leaking", "cover-leaking"]


@pytest.mark.parametrize(
    ("to_pct", "lowest", "name"),
    [(55, None, "cover-off"), (80, None, "cover-leaking"), (78, 60, "cover-leaking")],
)
def test_without_a_scale_the_fall_decides(to_pct: float, lowest: float | None, name: str) -> None:
    traces = fallen(to_pct, lowest=lowest)
    del traces[MASS]
    assert [one[0] for one in told(traces)] == [name, name]


def test_an_airing_is_not_told() -> None:
    assert told(fallen(94, lowest=55, lighter_g=0)) == []


def test_a_fall_that_stays_within_the_band_of_its_stage_is_not_told() -> None:
    assert told(fallen(86)) == []


def test_humidity_that_sags_for_hours_is_no_cover() -> None:
    traces = healthy(2)
    sags = np.linspace(95, 70, END - LIFTED)
    assert told(set_to(traces, HUMIDITY, LIFTED, END, sags)) == []


def test_unknown_humidity_returns_nothing() -> None:
    traces = set_to(fallen(60, lighter_g=300), HUMIDITY, LIFTED + 90, END, np.nan)
    assert [one[:2] for one in told(traces)] == [("cover-off", "raised")]
