"""Conditions of the traces as a configuration has them: their figures, and whether they are looked for."""

import json
from pathlib import Path

import pytest
from base_config import BASE, built

from wardian.daemon.cli import main
from wardian.daemon.effective import effective
from wardian.rules.errors import BadConfig
from wardian.rules.observing.observer import TrayObserver

OWN = "alarms:\n  sensor-stuck:\n    figures: {temperature_after: 3 h}\n"


def test_a_figure_that_is_written_takes_the_place_of_the_library_and_the_others_stay() -> None:
    library, own = built(BASE).trays[0].plan.figures, built(BASE + OWN).trays[0].plan.figures
    assert own["sensor-stuck"]["temperature_after"] == 3 * 3_600_000
    assert own["sensor-stuck"]["humidity_after"] == library["sensor-stuck"]["humidity_after"]
    assert {**own, "sensor-stuck": None} == {**library, "sensor-stuck": None}


def test_what_is_not_looked_for_is_not_judged_and_hides_nothing() -> None:
    config = built(BASE + "alarms: {sensor-saturated: {watch: false}}\n")
    names = {one.name for one in TrayObserver(config.trays[0].plan).conditions}
    assert names == {name for name, advice in config.library.conditions.items() if advice.watch}
    assert "sensor-saturated" not in names
    assert all("sensor-saturated" not in hiding for hiding in config.library.hiding().values())
    assert any("sensor-saturated" in hiding for hiding in built(BASE).library.hiding().values())


def test_every_condition_of_the_library_is_judged_or_says_that_it_is_not() -> None:
    config = built(BASE)
    judged = {one.name for one in TrayObserver(config.trays[0].plan).conditions}
    assert judged == {name for name, advice in config.library.conditions.items() if advice.watch}


@pytest.mark.parametrize(
    ("alarms", "mistake"),
    [
        (
            "sensor-stuck: {figures: {temprature_after: 3 h}}",
            "is no figure of sensor-stuck; did you mean temperature_after?",
        ),
        ("sensor-stuck: {figures: {temperature_after: 3 K}}", "has the unit 'K', which measures no duration"),
        ("sensor-stuck: {figures: {temperature_after: [3]}}", "a value such as 2 h is accepted"),
        ("sensor-stuck: {watch: perhaps}", "true or false is accepted"),
        ("too-dry: {watch: false}", "is no known key"),
        ("sensors-stuck: {priority: low}", "is no alarm; did you mean sensor-stuck?"),
    ],
)
def test_a_mistake_is_told_with_its_line_and_what_is_accepted(alarms: str, mistake: str) -> None:
    with pytest.raises(BadConfig) as told:
        built(f"{BASE}alarms:\n  {alarms}\n")
    (line,) = str(told.value).splitlines()
    assert line.startswith(f"c.yaml:{BASE.count(chr(10)) + 2}: alarms.")
    assert mistake in line


def test_every_figure_in_force_says_where_it_is_from() -> None:
    by_path = {one.path: one for one in effective(built(BASE + OWN))}
    written = by_path["alarms.sensor-stuck.figures.temperature_after"]
    assert (written.value, written.why) == ("3 h", None)
    default = by_path["alarms.sensor-stuck.figures.humidity_after"]
    assert (default.line, "from memory" in str(default.why)) == (None, True)


def test_an_explanation_lists_the_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "config.yaml"
    path.write_text(BASE + OWN, encoding="utf-8")
    assert main(["alarms", "--explain", "sensor-stuck", "--config", str(path)]) == 0
    out = capsys.readouterr().out
    assert "temperature-after" in out
    assert f"# {path}:" in out
    assert main(["alarms", "--explain", "sensor-stuck", "--config", str(path), "--json"]) == 0
    figures = {one["figure"]: one for one in json.loads(capsys.readouterr().out)["figures"]}
    assert figures["temperature_after"]["value"] == "3 h"
    assert figures["humidity_after"]["from"] == "library"
