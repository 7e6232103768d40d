"""What people and programs are shown of a deficit near saturation, and how a breach in doubt is called."""

import json
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from base_config import built

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.yaml_file import parse
from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.library import PRIORITIES, library
from wardian.daemon.look import BenchNow, bench_now
from wardian.daemon.report import status_lines
from wardian.daemon.tongue import Tongue
from wardian.rules.crops import LIMITS
from wardian.rules.ports import Round
from wardian.rules.quantities import QUANTITIES
from wardian.rules.readings import Reading
from wardian.rules.transitions import Transition

DEFICIT = QUANTITIES["vapour_pressure_deficit"]
DEW_POINT = QUANTITIES["dew_point"]
SITE = Tongue(ZoneInfo("Europe/Lisbon"))
CONFIG = """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: SI}
store: {url: "memory:"}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-03-02}
  - {name: tray-b, crop: coleus, stuck: 2026-03-02, readings: {accuracy: {relative_humidity: 0.5 %}}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {high: 26 °C}
          vapour_pressure_deficit: {low: 0.1 kPa, high: 0.4 kPa, deadband: 0, on_delay: 0, off_delay: 0}
          dew_point: {low: 15 °C}
"""
#: 2026-03-02T08:00:00Z.
EIGHT_MS = 1_772_438_400_000
MINUTE_MS = 60_000


def readings_at(minute: int, humidity_pct: float) -> list[Reading]:
    time_ms = EIGHT_MS + minute * MINUTE_MS
    return [
        Reading(time_ms, tray, quantity, value)
        for tray in ("tray-a", "tray-b")
        for quantity, value in (("air_temperature", 24.0), ("relative_humidity", humidity_pct))
    ]


def bench(humidity_pct: float, after_minutes: int = 1) -> BenchNow:
    store = MemoryStore()
    store.keep(Round(now_ms=EIGHT_MS, readings=readings_at(0, humidity_pct)))
    return bench_now(built(CONFIG), store, EIGHT_MS + after_minutes * MINUTE_MS, {})


def deficits(now: BenchNow) -> list[dict[str, Any]]:
    return [tray["quantities"]["vapour_pressure_deficit"] for tray in now.as_json()["trays"]]


# ------------------------------------------------------------------------------------------ words


@pytest.mark.parametrize(
    ("value", "uncertainty", "words"),
    [
        (0.2613, 0.0904, "0.26 ± 0.09 kPa"),
        (0.0904, 0.0904, "0.09 ± 0.09 kPa"),
        (0.0903, 0.0904, "saturated (below 0.19 kPa)"),
        (0.0, 0.1, "saturated (below 0.10 kPa)"),
        (-0.3, 0.1, "-0.30 ± 0.10 kPa"),
        # An uncertainty that the digits do not show is never shown as none.
        (0.2613, 0.001, "0.26 ± 0.01 kPa"),
        (0.2613, 0.0, "0.26 kPa"),
        (0.2613, None, "0.26 kPa"),
    ],
)
def test_a_deficit_is_said_with_sensible_digits(value: float, uncertainty: float | None, words: str) -> None:
    assert SITE.uncertain(DEFICIT, value, uncertainty) == words


def test_the_bound_of_saturated_air_is_never_rounded_inwards() -> None:
    assert SITE.uncertain(DEFICIT, 0.0301, 0.1) == "saturated (below 0.14 kPa)"
    assert SITE.uncertain(DEFICIT, 0.03, 0.1) == "saturated (below 0.13 kPa)"


def test_a_dew_point_has_its_uncertainty_in_the_unit_of_the_site() -> None:
    assert SITE.uncertain(DEW_POINT, 20.04, 0.52) == "20.0 ± 0.5 °C"
    assert SITE.uncertain(DEW_POINT, 0.1, 0.52) == "0.1 ± 0.5 °C"
    american = Tongue(ZoneInfo("America/New_York"), fahrenheit=True)
    assert american.uncertain(DEW_POINT, 20.0, 0.5) == "68.0 ± 0.9 °F"


# ----------------------------------------------------------------------------------------- status


def test_the_status_says_how_sure_a_deficit_is_and_by_whose_accuracy() -> None:
    lines = [line for line in status_lines(built(CONFIG), bench(91.0)) if "deficit" in line]
    assert "0.27 ± 0.10 kPa" in lines[0]
    assert "0.27 ± 0.02 kPa" in lines[1]


def test_the_status_calls_air_saturated_only_where_the_sensor_cannot_tell() -> None:
    lines = [line for line in status_lines(built(CONFIG), bench(97.5)) if "deficit" in line]
    assert "saturated (below 0.18 kPa)" in lines[0]
    assert "0.07 ± 0.02 kPa" in lines[1]


def test_programs_get_the_value_as_ever_and_its_uncertainty_beside_it() -> None:
    first, second = deficits(bench(97.5))
    assert first["value"] == second["value"] == pytest.approx(0.0744, abs=1e-4)
    assert first["uncertainty"] == pytest.approx(0.1032, abs=1e-4)
    assert second["uncertainty"] < first["uncertainty"] / 5


def test_nothing_is_sure_or_unsure_of_what_is_unknown_or_measured() -> None:
    now = bench(97.5, after_minutes=6)
    assert [(one["state"], one["value"], one["uncertainty"]) for one in deficits(now)] == [
        ("unknown", None, None)
    ] * 2
    assert bench(97.5).as_json()["trays"][0]["quantities"]["air_temperature"]["uncertainty"] is None


# ----------------------------------------------------------------------------------------- alarms


def journal(tmp_path: Path, capsys: pytest.CaptureFixture[str], *humidities: float) -> list[dict[str, Any]]:
    (tmp_path / "config.yaml").write_text(CONFIG, encoding="utf-8")
    rows = [
        f"2026-03-02T08:{one.time_ms // MINUTE_MS % 60:02}:00Z,{one.tray},{one.quantity},{one.value},"
        for minute, humidity in enumerate(humidities)
        for one in readings_at(minute, humidity)
    ]
    week = tmp_path / "week.csv"
    week.write_text("\n".join(["time,tray,quantity,value,unit", *rows, ""]), encoding="utf-8")
    assert main(["replay", str(week), "--config", str(tmp_path / "config.yaml"), "--json"]) == 0
    told = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    return [one for one in told if one["quantity"] == "vapour_pressure_deficit"]


def test_a_breach_smaller_than_its_uncertainty_is_not_urgent_and_neither_is_its_return(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    # At 24 °C 85 % leave 0.446 kPa: 0.046 beyond, which one sensor knows to 0.10 and the other to 0.02.
    told = journal(tmp_path, capsys, 90.0, 85.0, 90.0)
    assert [(one["tray"], one["event"], one["priority"]) for one in told] == [
        ("tray-a", "raised", "medium"),
        ("tray-b", "raised", "high"),
        ("tray-a", "returned", "medium"),
        ("tray-b", "returned", "high"),
    ]
    unsure, sure, back, _ = (one["message"] for one in told)
    assert "is at 0.45 ± 0.10 kPa, 0.05 kPa above 0.40 kPa, less than its uncertainty, since" in unsure
    assert "is at 0.45 ± 0.02 kPa, 0.05 kPa above 0.40 kPa, since" in sure
    assert "is back at 0.30 ± 0.10 kPa since" in back
    assert told[0]["uncertainty"] == pytest.approx(0.10353, abs=1e-5)


def test_a_breach_larger_than_its_uncertainty_stays_as_urgent_as_the_library_says(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    raised = journal(tmp_path, capsys, 90.0, 80.0)
    assert [one["priority"] for one in raised] == ["high", "high"]
    assert not any("less than its uncertainty" in one["message"] for one in raised)


def test_a_breach_that_grows_does_not_change_what_was_told_but_the_next_one_is_judged_anew(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    told = journal(tmp_path, capsys, 90.0, 85.0, 70.0, 90.0, 70.0)
    first = [(one["event"], one["priority"]) for one in told if one["tray"] == "tray-a"]
    assert first == [("raised", "medium"), ("returned", "medium"), ("raised", "high")]


def test_an_alarm_about_wet_air_says_that_it_is_saturated(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (raised, _) = journal(tmp_path, capsys, 99.0)
    assert raised["alarm"] == "still-air"
    assert raised["priority"] == "low"
    assert "is at saturation (below 0.14 kPa), 0.07 kPa below 0.10 kPa" in raised["message"]
    assert raised["value"] == pytest.approx(0.0298, abs=1e-4)


def test_a_message_in_doubt_asks_for_a_look_and_leaves_time_for_it() -> None:
    told = wiring.teller(built(CONFIG), ["bench"])
    sure = Transition(
        EIGHT_MS, "tray-a", DEFICIT.name, "high", "raised", "high", 0.45, 0.4, "callusing", EIGHT_MS, 0.02
    )
    unsure = sure._replace(uncertainty=0.1, in_doubt=True)
    urgent, calm = (told.message(told.fields(one)).body for one in (sure, unsure))
    assert "Priority high." in urgent
    assert "To do within 30 min" in urgent
    assert "Priority medium." in calm
    assert "To do within 4 h: look at the cuttings and the probe" in calm
    assert "30 min" not in calm


# ----------------------------------------------------------------------------------------- advice


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("quantity", QUANTITIES)
def test_advice_in_doubt_is_never_urgent_and_else_the_same(quantity: str, limit: str) -> None:
    advice = library(parse).advice(quantity, limit)
    doubted = advice.in_doubt()
    assert PRIORITIES.index(doubted.priority) == min(PRIORITIES.index(advice.priority), 1)
    assert doubted.alarm == advice.alarm
    assert advice.action in doubted.action
    if advice.priority == "high":
        assert doubted.within == "within 4 h"
        assert "look at the cuttings and the probe" in doubted.action
    else:
        assert doubted == advice
