"""Configurations that can be used and hardly watch: warned of at every start, and where people look every day."""

import logging
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest
from base_config import BASE, changed, warnings_of

from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.configuration_kept import NOTE, log_warnings
from wardian.daemon.tongue import Tongue
from wardian.daemon.watched_facts import changed_sections, less_watched, watched_facts, words_of

pytestmark = pytest.mark.fault(35)

ROOTING = "crops.coleus.stages[1].bands.air_temperature"
#: What is written in place of what, and what is warned of.
DANGEROUS = {
    "a limit no probe can pass": ("high_high: 30", "high_high: 80", f"{ROOTING}.high_high: can never alarm"),
    "a limit beyond what cuttings stand": (
        "            high: 24\n            high_high: 30\n",
        "            high: 45\n",
        f"{ROOTING}.high: alarms when it is too late; most cuttings are lost above 40 °C",
    ),
    "dry air that nobody is told of": (
        "{low: 90 %}",
        "{low: 25 %}",
        "relative_humidity.low: alarms when it is too late; most cuttings are lost below 30 %",
    ),
    "a limit that waits for days": ("on_delay: 10 min", "on_delay: 3 d", "on_delay: waits longer than a day"),
    "a tray without bands": (", bands: {relative_humidity: {low: 85 %}}", "", "has no band in any stage"),
    "a stage without bands": (
        BASE[BASE.index("        bands:\n          air_temperature:\n") : BASE.index("  mint:")],
        "",
        "trays[0].crop: has no band while rooting: then nothing of this tray is watched",
    ),
    "a value that is believed for a day": (
        "hold: 5 min",
        "hold: 24 h",
        "readings.hold: is 1 d: a value is believed",
    ),
    "a silence that nobody is told of": (
        "settle: 5 s",
        "settle: 5 s, silent_after: 3 d",
        "readings.silent_after: is 3 d: a value may be unknown that long",
    ),
    "nobody to tell": (
        "notifiers:\n  - {name: terminal, kind: console}\n",
        "",
        "notifiers: name nobody to tell",
    ),
}


@pytest.mark.parametrize("what", DANGEROUS)
def test_what_hardly_watches_is_warned_of(what: str) -> None:
    old, new, told = DANGEROUS[what]
    warnings = warnings_of((old, new))
    assert any(told in warning for warning in warnings), warnings


def test_a_limit_that_comes_in_time_lets_the_further_one_be() -> None:
    assert warnings_of(("high_high: 30", "high_high: 45")) == []


def test_warnings_are_logged_at_every_start(caplog: pytest.LogCaptureFixture) -> None:
    with caplog.at_level(logging.WARNING):
        log_warnings(changed(("hold: 5 min", "hold: 24 h")))
    (record,) = caplog.records
    assert record.getMessage() == "configuration warns"
    assert "c.yaml:4: readings.hold: is 1 d" in record.of  # type: ignore[attr-defined]  # a field of the log


# ------------------------------------------------------------------------- from one start to the next

SENSOR = "sensors:\n  - {name: file, kind: csv, file: r.csv, expect: [{tray: tray-a, quantity: air_temperature}]}\n"
BENCH = BASE[: BASE.index("sensors:")] + SENSOR + "notifiers:\n  - {name: terminal, kind: console}\n"
Say = Callable[..., str]


def start(folder: Path, text: str) -> None:
    """Let a daemon begin on a configuration, watch for one round, and end."""
    (folder / "config.yaml").write_text(text, encoding="utf-8")
    with ExitStack() as opened:
        watch = wiring.open_watch(wiring.load_config(folder / "config.yaml"), opened)
        watch.loop.round(watch.sensors)
        watch.loop.close()


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Say:
    monkeypatch.chdir(tmp_path)

    def said(*words: str) -> str:
        assert main([*words, "--config", "config.yaml"]) == 0
        return capsys.readouterr().out

    return said


def test_the_same_configuration_is_no_news(tmp_path: Path, say: Say) -> None:
    start(tmp_path, BENCH)
    start(tmp_path, BENCH + "# a remark\n")
    assert "configuration changed" not in say("status")
    assert "watches-less" not in say("alarms", "--all")


def test_a_file_that_was_cut_off_is_told_of_as_less_watched(tmp_path: Path, say: Say) -> None:
    start(tmp_path, BENCH)
    cut = BENCH.replace("  - name: tray-b\n    crop: mint\n    stuck: 2026-03-01\n", "").replace(
        "high: 24\n", "high: 34\n"
    )
    start(tmp_path, cut.replace("            high_high: 30\n", ""))
    told = say("alarms", "--all")
    assert "Watches less: since the last start tray tray-b is gone" in told
    assert "coleus, rooting: high limit of air under the cover went from 75.2 °F to 93.2 °F" in told
    assert "coleus, rooting: high high limit of air under the cover is gone" in told
    assert "configuration changed in trays, crops (start of" in say("status")
    assert "Configuration changed in trays, crops (start of" in say("summary")


def test_it_is_told_once(tmp_path: Path, say: Say) -> None:
    start(tmp_path, BENCH)
    start(tmp_path, BENCH.replace("high_high: 30", "high_high: 32"))
    start(tmp_path, BENCH.replace("high_high: 30", "high_high: 32"))
    assert say("alarms", "--all").count("Watches less") == 1
    assert "configuration changed in crops" in say("status")


def test_what_is_left_unwatched_and_warned_of_stands_where_people_look(tmp_path: Path, say: Say) -> None:
    start(tmp_path, BENCH.replace("hold: 5 min", "hold: 24 h") + "alarms: {sensor-stuck: {watch: false}}\n")
    for told in (say("status"), say("summary")):
        assert "eft unwatched by the configuration: sensor-stuck" in told
        assert "onfiguration, line 4: readings.hold is 1 d" in told


def test_a_store_of_an_earlier_version_has_no_note_and_nothing_is_told(tmp_path: Path, say: Say) -> None:
    start(tmp_path, BENCH)
    with ExitStack() as opened:
        store = wiring.open_store(wiring.load_config(tmp_path / "config.yaml"), opened, read_only=True)
        assert set(store.notes()[NOTE]["sections"]) == {"site", "store", "light", "readings", "trays", "crops", "sensors", "notifiers"}  # fmt: skip
    assert "Watches less" not in say("alarms", "--all")


@pytest.mark.parametrize(
    ("old", "new", "less"),
    [
        ("high: 24\n", "high: 23\n", []),
        ("low: 18\n", "low: 16\n", ["coleus, rooting: low limit of air under the cover went from 64.4 °F to 60.8 °F"]),
        ("on_delay: 10 min", "on_delay: 20 min", ["coleus, callusing: low limit of air under the cover waits 20 min instead of 10 min",
            "coleus, callusing: high limit of air under the cover waits 20 min instead of 10 min"]),
        ("name: chips", "name: other chips", ["sensor chips is gone"]),
        ("name: terminal", "name: bell", ["notifier terminal is gone"]),
        ("hold: 5 min", "hold: 6 min", []),
    ],
)  # fmt: skip
def test_less_is_what_nobody_would_hear_of_any_more(old: str, new: str, less: list[str]) -> None:
    before, now = watched_facts(changed()), watched_facts(changed((old, new)))
    assert sorted(less_watched(before, now, Tongue.of(changed().site))) == sorted(less)
    assert changed_sections(before, now)


def test_many_changes_are_told_shortly() -> None:
    assert words_of([f"tray {number} is gone" for number in range(40)]).endswith("; and 34 more.")
