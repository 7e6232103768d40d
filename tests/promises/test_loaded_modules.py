"""What is not used is not loaded: every module costs a small board memory and time at each start.

Each command runs in a process of its own and tells afterwards which modules it has loaded.
"""

import json
import subprocess
import sys
from pathlib import Path
from typing import Final

import pytest

#: Loaded by nobody: for people with a big machine, or by a command that is not here.
NEVER: Final = [
    "fastapi",
    "jinja2",
    "matplotlib",
    "metpy",
    "pandas",
    "pytest",
    "requests",
    "starlette",
    "uvicorn",
]
#: For a store, a wire or a message.
OUTSIDE: Final = ["alembic", "apprise", "apscheduler", "paho", "sqlalchemy", "sqlite3", "ssl"]
INSIDE: Final = ["numpy", "pydantic", "yaml"]

#: Where a section asks for it.
OUTWARD: Final = ("beat", "daily_summary", "outward", "summary", "summary_words", "watched_time", "wishes")
#: Where people are reminded of care, and for the command that shows what is due.
FOR_CARE: Final = ("care_reminders", "care_today", "care_words", "config_people", "people", "quiet")
#: What there is for people who are told, and nobody else.
FOR_PEOPLE: Final = (
    "belonging",
    "composing",
    "config_people",
    "news",
    "people",
    "played",
    "quiet",
    "telling",
    "troubles",
)

COMMAND: Final = """
import contextlib, io, json, sys
from wardian.daemon.cli import main
told = io.StringIO()
with contextlib.redirect_stdout(told), contextlib.suppress(SystemExit):
    status = main(sys.argv[1:])
    assert status == 0, status
print(json.dumps(sorted(sys.modules)))
"""
#: What `wardian run` does, for one round and no longer.
ONE_ROUND: Final = """
import contextlib, json, sys
from pathlib import Path
from wardian.daemon import wiring
with contextlib.ExitStack() as opened:
    watch = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened)
    for sensor in watch.sensors:
        sensor.start(watch.loop.queue.hand_over)
        if sensor.poll_every_s is not None:
            sensor.poll()
    watch.polling.start()
    watch.loop.round(watch.sensors)
    watch.polling.stop()
    watch.loop.close()
    for sensor in watch.sensors:
        sensor.stop()
print(json.dumps(sorted(sys.modules)))
"""
CONFIG: Final = """\
store: {url: "sqlite:///bench.db"}
site: {name: Bench, timezone: Europe/Lisbon}
trays: [{name: tray-a, crop: coleus, stuck: 2026-03-02}]
crops: {coleus: {stages: [{name: callusing, from_day: 0, bands: {air_temperature: {high: 27 °C}}}]}}
sensors: [{name: logger, kind: csv, file: week.csv}]
notifiers: [{name: terminal, kind: console}]
"""
READINGS: Final = """\
time,tray,quantity,value,unit
2026-03-02T08:00:00Z,tray-a,air_temperature,25,Cel
"""


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    (tmp_path / "config.yaml").write_text(CONFIG, encoding="utf-8")
    (tmp_path / "week.csv").write_text(READINGS, encoding="utf-8")
    return tmp_path


def loaded(bench: Path, program: str, *arguments: str) -> set[str]:
    """Return the modules that a program has loaded at its end, and the packages they are in."""
    command = [sys.executable, "-c", program, *arguments]
    done = subprocess.run(command, cwd=bench, capture_output=True, text=True, timeout=60, check=False)
    assert done.returncode == 0, done.stderr
    modules = json.loads(done.stdout.splitlines()[-1])
    return {
        ".".join(parts[:length]) for parts in (name.split(".") for name in modules) for length in (1, 2, 3, 4)
    }


@pytest.mark.parametrize(
    ("arguments", "unwanted"),
    [
        (["--help"], [*INSIDE, *OUTSIDE, "wardian.rules"]),
        (["replay", "--help"], [*INSIDE, *OUTSIDE]),
        (["air", "--temperature", "24 °C", "--humidity", "95 %"], ["pydantic", "yaml", *OUTSIDE]),
        (["check"], OUTSIDE),
        (["check", "--effective"], OUTSIDE),
        (["replay", "week.csv"], OUTSIDE),
        (["status"], OUTSIDE),
        (["alarms"], OUTSIDE),
        (["summary"], OUTSIDE),
    ],
)
def test_a_command_loads_only_what_it_needs(bench: Path, arguments: list[str], unwanted: list[str]) -> None:
    modules = loaded(bench, COMMAND, *arguments)
    assert "wardian.daemon.cli" in modules
    assert sorted(modules & {*NEVER, *unwanted, "wardian.simulator"}) == []


def test_a_round_of_the_daemon_loads_only_what_its_configuration_names(bench: Path) -> None:
    modules = loaded(bench, ONE_ROUND)
    assert {"sqlalchemy", "apscheduler", "wardian.adapters.sensors.csv_file"} <= modules
    unwanted = {*NEVER, "apprise", "paho", "wardian.simulator"}
    unwanted |= {f"wardian.adapters.sensors.{name}" for name in ("kernel", "mqtt")}
    unwanted |= {f"wardian.adapters.notifiers.{name}" for name in ("apprise", "mqtt", "webhook")}
    unwanted |= {"wardian.adapters.mqtt_wishes", "wardian.daemon.letting_go"}
    unwanted |= {f"wardian.daemon.{name}" for name in (*OUTWARD, *FOR_PEOPLE, *FOR_CARE)}
    assert sorted(modules & unwanted) == []


def test_of_what_a_bench_does_outwards_only_what_is_configured_is_loaded(bench: Path) -> None:
    with (bench / "config.yaml").open("a", encoding="utf-8") as config:
        config.write("summary: {channels: [terminal]}\n")
    modules = loaded(bench, ONE_ROUND)
    assert "wardian.daemon.daily_summary" in modules
    unwanted = {"paho", "wardian.adapters.mqtt_wishes", "wardian.daemon.wishes", "wardian.daemon.beat"}
    assert sorted(modules & unwanted) == []


def test_what_reminds_of_care_is_loaded_where_that_is_wanted(bench: Path) -> None:
    with (bench / "config.yaml").open("a", encoding="utf-8") as config:
        config.write("people: [{name: teacher, channels: [terminal]}]\n")
    care = {f"wardian.daemon.{name}" for name in ("care_reminders", "care_today", "care_words")}
    assert not care & loaded(bench, ONE_ROUND)
    with (bench / "config.yaml").open("a", encoding="utf-8") as config:
        config.write("care: {remind: true}\n")
    assert {f"wardian.daemon.{name}" for name in FOR_CARE} <= loaded(bench, ONE_ROUND)


def test_where_people_are_told_what_tells_them_is_loaded(bench: Path) -> None:
    with (bench / "config.yaml").open("a", encoding="utf-8") as config:
        config.write("people: [{name: teacher, channels: [terminal]}]\n")
    modules = loaded(bench, ONE_ROUND)
    assert {f"wardian.daemon.{name}" for name in FOR_PEOPLE if name != "played"} <= modules


def test_migrations_are_loaded_only_when_a_step_is_due(bench: Path) -> None:
    """A new database is made without steps, and one that is up to date needs none."""
    for _ in ("new", "up to date"):
        assert sorted(loaded(bench, ONE_ROUND) & {"alembic", "mako"}) == []
    assert "alembic" not in loaded(bench, COMMAND, "status")


def test_what_is_watched_by_one_round_is_kept(bench: Path) -> None:
    """The round of these tests is a real one: what the logger wrote is there to be exported."""
    loaded(bench, ONE_ROUND)
    loaded(bench, COMMAND, "export", "--out", "kept.csv")
    assert "tray-a,air_temperature,25.0" in (bench / "kept.csv").read_text(encoding="utf-8")
