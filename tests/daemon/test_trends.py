"""Lines of the last day in a terminal: a sign an hour, and nothing where nobody looks."""

import sys
from pathlib import Path

import pytest
from base_config import BASE
from pictured import SPAN, TRAY, day, with_value, without_minutes

from wardian.daemon.cli import main
from wardian.daemon.tongue import Tongue
from wardian.daemon.trends import trends
from wardian.rules.readings import Chunk


def line_of(chunk: Chunk, quantity: str = "air_temperature") -> str:
    return trends([TRAY], chunk, SPAN[1], Tongue(TRAY.plan.zone))["tray-a"][quantity]


def test_a_steady_day_is_a_flat_line_in_the_middle() -> None:
    line = line_of(day())
    assert len(line) == 24
    assert set(line) <= {"▄", "▅"}


def test_one_reading_above_or_below_the_band_marks_its_hour() -> None:
    chunk = with_value(with_value(day(), "air_temperature", 150, 27.0), "air_temperature", 1430, 20.0)
    line = line_of(chunk)
    assert [place for place, sign in enumerate(line) if sign == "▲"] == [2]
    assert [place for place, sign in enumerate(line) if sign == "▼"] == [23]


def test_an_hour_beyond_both_sides_has_a_sign_of_its_own() -> None:
    chunk = with_value(with_value(day(), "air_temperature", 150, 27.0), "air_temperature", 160, 20.0)
    assert line_of(chunk)[2] == "◆"


def test_an_hour_of_which_nothing_is_known_is_a_dot() -> None:
    line = line_of(without_minutes(day(), "air_temperature", 290, 480))
    assert [place for place, sign in enumerate(line) if sign == "·"] == [5, 6, 7]


def test_a_quantity_without_a_band_rises_from_its_least_to_its_most() -> None:
    chunk = day()
    for minute in range(720, 1440):
        chunk = with_value(chunk, "medium_temperature", minute, 30.0)
    line = line_of(chunk, "medium_temperature")
    assert line == "▁" * 12 + "█" * 12


@pytest.mark.parametrize(("is_terminal", "encoding"), [(False, "utf-8"), (True, "ascii"), (True, "utf-8")])
def test_status_has_them_where_a_terminal_can_show_them_and_there_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, is_terminal: bool, encoding: str
) -> None:
    import io

    (tmp_path / "config.yaml").write_text(BASE.replace("°F", "degF"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    told = io.TextIOWrapper(io.BytesIO(), encoding=encoding, errors="replace")
    monkeypatch.setattr(told, "isatty", lambda: is_terminal, raising=False)
    monkeypatch.setattr(sys, "stdout", told)
    assert main(["status"]) == 0
    told.flush()
    shown = told.buffer.getvalue().decode(encoding)
    assert ("above the band" in shown) == (is_terminal and encoding == "utf-8")
