"""What people do to alarms, as they type it: asked by a command, done by the daemon, shown by the next look."""

import getpass
import json
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import pytest

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.loop import Loop
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

MINUTE_MS: Final = 60_000
CONFIG: Final = """\
site: {{name: Teaching bench, timezone: UTC, units: SI}}
store: {{url: "sqlite:///wardian.db"}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
  - {{name: tray-b, crop: coleus, stuck: {stuck}}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature:
            {{low_low: 15, low: 20, high: 26, high_high: 45, deadband: 0.5, on_delay: 10 min, off_delay: 0 s}}
          relative_humidity: {{low: 90 %, on_delay: 10 min}}
"""
ACTS: Final = ("acknowledge", "shelve", "unshelve", "remove", "restore")
#: What the object of a transition always has.
PROMISED: Final = frozenset(
    (
        "time",
        "tray",
        "quantity",
        "limit",
        "event",
        "alarm",
        "priority",
        "value",
        "threshold",
        "stage",
        "message",
    )
)
WARM: Final = ["tray-a", "air-too-warm"]

Capture = pytest.CaptureFixture[str]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a bench whose tray-a has been too warm for half an hour."""
    now_ms = wiring.machine_clock().wall_ms()
    stuck = datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=3)
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=stuck.date()))
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(getpass, "getuser", lambda: "somebody")
    warm_until(now_ms, 27.5)
    return tmp_path


def warm_until(now_ms: int, celsius: float) -> None:
    store = open_store("sqlite:///wardian.db", Path())
    times_ms = range(now_ms - 30 * MINUTE_MS, now_ms, MINUTE_MS)
    store.keep(Round(now_ms, readings=[Reading(at, "tray-a", "air_temperature", celsius) for at in times_ms]))
    store.close()


@contextmanager
def watching() -> Iterator[Loop]:
    """Let the daemon watch: everything that it opens, and a first round."""
    with ExitStack() as opened:
        loop = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened).loop
        loop.quiet_s = 0.0
        loop.round()
        yield loop
        loop.close()


@pytest.fixture
def daemon(bench: Path) -> Iterator[Loop]:
    with watching() as loop:
        yield loop


def says(capsys: Capture, *arguments: str) -> str:
    assert main(["alarms", *arguments]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def refuses(capsys: Capture, *arguments: str, status: int = 2) -> str:
    assert main(["alarms", *arguments]) == status
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.splitlines()) == 1
    return err


def present(capsys: Capture) -> dict[str, dict[str, Any]]:
    lines = says(capsys, "--json").splitlines()
    return {fields["alarm"]: fields for fields in map(json.loads, lines) if fields["tray"] == "tray-a"}


# -------------------------------------------------------------------------------- what people do


def test_an_alarm_is_acknowledged_with_the_next_round(daemon: Loop, capsys: Capture) -> None:
    assert present(capsys)["air-too-warm"]["life"] == "unacknowledged"
    out = says(capsys, "acknowledge", *WARM, "--who", "the teacher", "--why", "cover gapped")
    assert out.splitlines() == [
        "tray-a: air-too-warm (air_temperature): asked to be acknowledged",
        "The daemon does it with its next round.",
    ]
    assert present(capsys)["air-too-warm"]["life"] == "unacknowledged"
    daemon.round()
    fields = present(capsys)["air-too-warm"]
    assert (fields["life"], fields["who"], fields["why"]) == ("acknowledged", "the teacher", "cover gapped")
    assert "[acknowledged by the teacher: cover gapped]" in says(capsys)
    assert "Air too warm: acknowledged by the teacher: cover gapped." in says(capsys, "--all")


def test_all_alarms_of_a_tray_are_acknowledged_at_once(daemon: Loop, capsys: Capture) -> None:
    unseen = {name for name, fields in present(capsys).items() if fields["life"] == "unacknowledged"}
    out = says(capsys, "acknowledge", "tray-a")
    assert {line.split()[1] for line in out.splitlines()[:-1]} == unseen
    daemon.round()
    assert {fields["life"] for fields in present(capsys).values()} == {"acknowledged"}
    assert "tray-a: no alarm can be acknowledged now" in refuses(capsys, "acknowledge", "tray-a")


def test_an_alarm_is_shelved_and_taken_off_the_shelf(daemon: Loop, capsys: Capture) -> None:
    says(capsys, "shelve", *WARM, "--for", "2 h")
    daemon.round()
    fields = present(capsys)["air-too-warm"]
    assert (fields["life"], fields["who"]) == ("shelved", "somebody")
    lasts = datetime.fromisoformat(fields["until"]) - datetime.now(UTC)  # noqa: TID251 - the daemon has the machine's clock
    assert timedelta(minutes=110) < lasts <= timedelta(hours=2)
    assert "[shelved by somebody until " in says(capsys)
    says(capsys, "unshelve", *WARM)
    daemon.round()
    assert present(capsys)["air-too-warm"]["life"] == "unacknowledged"


def test_a_tray_is_taken_out_of_service_and_put_back_whole(daemon: Loop, capsys: Capture) -> None:
    asked = says(capsys, "remove", "tray-b", "--why", "new medium").splitlines()
    assert len(asked) > 4
    assert all(line.startswith("tray-b: ") for line in asked[:-1])
    daemon.round()
    out = says(capsys)
    assert f"{len(asked) - 1} alarms: out of service by somebody: new medium" in out
    assert "tray-a" in out
    assert "Set aside:" in out
    says(capsys, "restore", "tray-b")
    daemon.round()
    assert "Set aside:" not in says(capsys)


def test_one_alarm_is_taken_out_of_service(daemon: Loop, capsys: Capture) -> None:
    says(capsys, "remove", *WARM)
    daemon.round()
    assert present(capsys)["air-too-warm"]["life"] == "out of service"
    says(capsys, "restore", *WARM)
    daemon.round()
    assert present(capsys)["air-too-warm"]["life"] == "unacknowledged"


def test_what_returned_unseen_is_listed_until_it_is_acknowledged(bench: Path, capsys: Capture) -> None:
    with watching():
        pass
    # Tray and crop stay, but nothing is too warm any more.
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("high: 26", "high: 40"))
    with watching() as loop:
        out = says(capsys)
        assert "Returned, and nobody has acknowledged it:" in out
        assert "air-too-warm (air_temperature): returned unacknowledged" in out
        says(capsys, "acknowledge", *WARM)
        loop.round()
        assert "Returned" not in says(capsys)


def test_what_is_not_watched_any_more_can_still_be_acknowledged(bench: Path, capsys: Capture) -> None:
    with watching():
        pass
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("name: tray-a,", "name: tray-c,"))
    with watching() as loop:
        assert "returned unacknowledged" in says(capsys)
        assert "air-too-warm (air_temperature)" in says(capsys, "acknowledge", *WARM)
        loop.round()
        assert "Returned" not in says(capsys)
        assert "'tray-a'" in refuses(capsys, "acknowledge", *WARM)


def test_what_is_asked_of_a_tray_that_is_then_taken_away_stops_no_start(bench: Path, capsys: Capture) -> None:
    says(capsys, "remove", "tray-b")
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("name: tray-b,", "name: tray-c,"))
    with watching() as loop:
        loop.round()
    assert "Set aside:" not in says(capsys)


def test_when_nobody_watches_it_is_done_as_somebody_begins_to(bench: Path, capsys: Capture) -> None:
    out = says(capsys, "shelve", "tray-b", "air-too-cold", "--for", "1 h")
    assert "Nobody is watching now: it is done when `wardian run` starts." in out
    assert "Set aside:" not in says(capsys)
    with watching():
        pass
    assert "air-too-cold (air_temperature): shelved by somebody until" in says(capsys)


def test_asked_twice_it_is_done_once(daemon: Loop, capsys: Capture) -> None:
    for _ in range(2):
        says(capsys, "acknowledge", *WARM)
    daemon.round()
    assert says(capsys, "--all").count("acknowledged by somebody") == 1


def test_somebody_whom_the_system_has_no_name_for_has_a_number(
    daemon: Loop, capsys: Capture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def nobody() -> str:
        raise KeyError("getpwuid(): uid not found: 12345")

    monkeypatch.setattr(getpass, "getuser", nobody)
    monkeypatch.setattr("os.getuid", lambda: 12345)
    says(capsys, "acknowledge", *WARM)
    daemon.round()
    assert present(capsys)["air-too-warm"]["who"] == "user 12345"


def test_whatever_is_typed_stays_on_its_line_of_the_journal(daemon: Loop, capsys: Capture) -> None:
    says(capsys, "acknowledge", *WARM, "--who", " \n", "--why", "two\nlines,\x1b[2J\udcff déjà")
    daemon.round()
    (line,) = [line for line in says(capsys, "--all").splitlines() if "acknowledged" in line]
    assert line.endswith("acknowledged by somebody: two lines, [2J déjà.")


# ---------------------------------------------------------------------------------- for programs


def test_the_configuration_and_json_may_be_said_before_or_after_the_act(
    daemon: Loop, bench: Path, capsys: Capture
) -> None:
    (bench / "config.yaml").rename(bench / "other.yaml")
    options = ["--config", "other.yaml", "--json"]
    for arguments in ([*options, "acknowledge", *WARM], ["acknowledge", *WARM, *options]):
        assert json.loads(says(capsys, *arguments)) == {
            "asked": "acknowledge",
            "alarms": [
                {
                    "tray": "tray-a",
                    "quantity": "air_temperature",
                    "condition": "high",
                    "alarm": "air-too-warm",
                }
            ],
            "is_watching": True,
        }
    assert "config.yaml" in refuses(capsys, "acknowledge", *WARM)


def test_lives_stand_beside_the_fields_of_a_transition(daemon: Loop, capsys: Capture) -> None:
    fields = present(capsys)["air-too-warm"]
    assert fields.keys() >= PROMISED
    assert (fields["event"], fields["limit"], fields["value"], fields["threshold"]) == (
        "raised",
        "high",
        27.5,
        26,
    )
    says(capsys, "acknowledge", *WARM)
    daemon.round()
    seen = present(capsys)["air-too-warm"]
    life = {"life", "who", "why", "until"}
    assert {key: value for key, value in seen.items() if key not in life} == {
        key: value for key, value in fields.items() if key not in life
    }
    journal = [json.loads(line) for line in says(capsys, "--all", "--json").splitlines()]
    assert [entry["event"] for entry in journal if entry["alarm"] == "air-too-warm"] == [
        "raised",
        "acknowledged",
    ]


# ------------------------------------------------------------------------------ what is refused


@pytest.mark.parametrize("act", ACTS)
def test_a_tray_or_an_alarm_that_is_not_there_is_refused_with_the_near_one(
    daemon: Loop, capsys: Capture, act: str
) -> None:
    lasts = ["--for", "1 h"] if act == "shelve" else []
    err = refuses(capsys, act, "tray-aa", "air-too-warm", *lasts)
    assert err == f"wardian alarms {act}: there is no tray 'tray-aa'; did you mean tray-a?\n"
    err = refuses(capsys, act, "tray-a", "air-to-warm", *lasts)
    assert "tray-a has no alarm 'air-to-warm'; did you mean air-too-warm?" in err
    err = refuses(capsys, act, "bench", "air-too-warm", *lasts)
    assert "accepted: tray-a, tray-b" in err


@pytest.mark.parametrize(
    ("arguments", "phrase"),
    [
        (["acknowledge", "tray-b", "air-too-warm"], "acknowledge: the alarm is normal"),
        (["unshelve", *WARM], "unshelve: the alarm is unacknowledged"),
        (["restore", "tray-a"], "no alarm can be back in service now"),
        (["shelve", *WARM, "--for", "9d"], "an end within seven days from now is accepted"),
        (["shelve", *WARM, "--for", "0 s"], "an end within seven days from now is accepted"),
        (["shelve", *WARM, "--for", "a while"], "--for 'a while' is no number"),
        (["shelve", *WARM, "--for", "5 °C"], "--for '5 °C' has the unit"),
        (["shelve", *WARM, "--for=-1 h"], "--for '-1 h'"),
        (["shelve", *WARM, "--for", "99999 d"], "--for '99999 d'"),
    ],
)
def test_what_cannot_be_done_is_refused_in_one_line_and_asks_nothing(
    daemon: Loop, capsys: Capture, arguments: list[str], phrase: str
) -> None:
    assert phrase in refuses(capsys, *arguments)
    daemon.round()
    assert says(capsys, "--all").count("\n") == 1


@pytest.mark.parametrize(
    "arguments",
    [
        ["shelve", *WARM],
        ["acknowledge"],
        ["forget", *WARM],
        ["unshelve", "tray-a"],
    ],
)
def test_an_act_that_is_not_said_whole_is_wrong_usage(
    bench: Path, capsys: Capture, arguments: list[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["alarms", *arguments])
    assert ended.value.code == 2
    out, err = capsys.readouterr()
    assert (out, len(err.splitlines())) == ("", 1)


@pytest.mark.parametrize("url", ["sqlite:///absent.db", "memory:"])
def test_where_nothing_was_watched_there_is_nothing_to_do_it_to(
    bench: Path, capsys: Capture, url: str
) -> None:
    config = bench / "config.yaml"
    config.write_text(config.read_text().replace("sqlite:///wardian.db", url))
    assert "nothing was watched yet" in refuses(capsys, "acknowledge", *WARM)
    assert sorted(path.name for path in bench.iterdir() if "absent" in path.name) == []


def test_a_file_that_is_no_database_ends_with_status_3(bench: Path, capsys: Capture) -> None:
    (bench / "wardian.db").write_text("time,tray,quantity,value,unit\n" * 50)
    assert "not a database" in refuses(capsys, "acknowledge", *WARM, status=3)
