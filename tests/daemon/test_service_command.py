"""The service is put in place by one command, twice as well as once, and taken away without losing anything."""

import json
import os
from pathlib import Path

import pytest

from wardian.daemon import service_files as files
from wardian.daemon.cli import main

PROGRAM = "/opt/wardian/bin/wardian"
CONFIG = """\
site: {name: Evening propagation class, timezone: Europe/Lisbon}
store: {url: "sqlite:////var/lib/wardian/wardian.db"}
trays: [{name: tray-a, crop: coleus, stuck: 2026-03-02}]
"""


class Machine:
    """A root of its own, and in place of the machine's commands others that note how they were called."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        (self.root / "etc").mkdir(parents=True)
        (self.root / "etc" / "passwd").touch()
        self.notes = folder / "calls"
        self.notes.touch()
        self.config = folder / "bench.yaml"
        self.config.write_text(CONFIG, encoding="utf-8")
        self.commands = folder / "commands"
        self.commands.mkdir()
        user = f"wardian:x:{os.getuid()}:{os.getgid()}::/var/lib/wardian:/usr/sbin/nologin"
        self.command("useradd", f"echo '{user}' >> '{self.root}/etc/passwd'")
        self.command("userdel", f": > '{self.root}/etc/passwd'")
        self.command("systemctl", "exit 0")

    def command(self, name: str, does: str) -> None:
        """Let a command of the machine do this."""
        path = self.commands / name
        path.write_text(f"#!/bin/sh\necho \"{name} $*\" >> '{self.notes}'\n{does}\n", encoding="utf-8")
        path.chmod(0o755)

    def calls(self) -> list[str]:
        """Return how commands of the machine were called, without our root."""
        return self.notes.read_text(encoding="utf-8").replace(f" --root {self.root}", "").splitlines()

    def at(self, path: Path) -> Path:
        """Return where something is on this machine."""
        return self.root / path.relative_to("/")

    def install(self, *more: str) -> int:
        """Put the service in place."""
        return main(["service", "install", "--root", str(self.root), "--program", PROGRAM, *more])

    def remove(self, *more: str) -> int:
        """Take it away."""
        return main(["service", "remove", "--root", str(self.root), *more])


@pytest.fixture
def machine(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Machine:
    made = Machine(tmp_path)
    monkeypatch.setenv("PATH", f"{made.commands}:{os.environ['PATH']}")
    monkeypatch.setattr(os, "geteuid", lambda: 0)
    return made


def test_one_command_makes_user_folders_configuration_unit_and_command(machine: Machine) -> None:
    assert machine.install("--config", str(machine.config)) == 0
    assert machine.at(files.CONFIG).read_text(encoding="utf-8") == CONFIG
    assert machine.at(files.CONFIG).stat().st_mode & 0o777 == 0o640
    assert machine.at(files.STATE).stat().st_mode & 0o777 == 0o700
    assert machine.at(files.SETTINGS).stat().st_mode & 0o777 == 0o750
    unit = machine.at(files.UNIT).read_text(encoding="utf-8")
    assert f"ExecStart={PROGRAM} run\n" in unit
    assert f"Environment=WARDIAN_CONFIG={files.CONFIG}\n" in unit
    assert machine.at(files.COMMAND).stat().st_mode & 0o777 == 0o755
    useradd, enable = machine.calls()
    assert useradd.startswith("useradd --system --user-group ")
    assert enable == "systemctl enable wardian"


def test_the_program_of_an_environment_elsewhere_is_the_one_that_runs(machine: Machine) -> None:
    other = "/srv/trays/venv/bin/wardian"
    assert machine.install("--config", str(machine.config), "--program", other) == 0
    assert f"ExecStart={other} run\n" in machine.at(files.UNIT).read_text(encoding="utf-8")
    assert f"exec '{other}' " in machine.at(files.COMMAND).read_text(encoding="utf-8")


def test_the_command_for_people_knows_the_configuration_and_hands_everything_on(
    machine: Machine, tmp_path: Path
) -> None:
    import subprocess

    program = tmp_path / "wardian"
    program.write_text('#!/bin/sh\necho "$WARDIAN_CONFIG" "$@"\n', encoding="utf-8")
    program.chmod(0o755)
    command = tmp_path / "command"
    command.write_text(files.command_text(program), encoding="utf-8")
    asked = ["sh", str(command), "note", "tray-a", "two leaves"]
    told = subprocess.run(asked, capture_output=True, text=True, check=True).stdout
    assert told == f"{files.CONFIG} note tray-a two leaves\n"
    own = subprocess.run(asked, capture_output=True, text=True, check=True, env={"WARDIAN_CONFIG": "x.yaml"})
    assert own.stdout == "x.yaml note tray-a two leaves\n"


def test_twice_is_the_same_as_once(machine: Machine, capsys: pytest.CaptureFixture[str]) -> None:
    machine.install("--config", str(machine.config))
    before = {path: path.read_bytes() for path in machine.root.rglob("*") if path.is_file()}
    capsys.readouterr()
    assert machine.install("--json") == 0
    told = json.loads(capsys.readouterr().out)
    assert told["done"] == [f"run systemctl --root {machine.root} enable wardian"]
    assert {path: path.read_bytes() for path in machine.root.rglob("*") if path.is_file()} == before


def test_a_new_configuration_leaves_the_old_one_beside_it(machine: Machine) -> None:
    machine.install("--config", str(machine.config))
    machine.config.write_text(CONFIG.replace("coleus", "mint"), encoding="utf-8")
    assert machine.install("--config", str(machine.config)) == 0
    assert "mint" in machine.at(files.CONFIG).read_text(encoding="utf-8")
    before = machine.at(files.CONFIG).with_name("config.yaml.before")
    assert before.read_text(encoding="utf-8") == CONFIG


def test_what_is_taken_away_can_be_put_back_with_all_its_readings(
    machine: Machine, capsys: pytest.CaptureFixture[str]
) -> None:
    machine.install("--config", str(machine.config))
    readings = machine.at(files.STATE) / "wardian.db"
    readings.write_bytes(b"readings")
    capsys.readouterr()
    assert machine.remove() == 0
    assert not machine.at(files.UNIT).exists()
    assert not machine.at(files.COMMAND).exists()
    assert readings.read_bytes() == b"readings"
    assert machine.at(files.CONFIG).exists()
    told = capsys.readouterr().out
    for kept in (files.STATE, files.SETTINGS, "the user wardian", "the program itself"):
        assert f"kept: {kept}" in told
    assert "systemctl disable wardian" in machine.calls()
    assert not [call for call in machine.calls() if call.startswith("userdel")]
    assert machine.install() == 0


def test_readings_configuration_and_user_go_only_when_that_is_said(machine: Machine) -> None:
    machine.install("--config", str(machine.config))
    assert machine.remove("--with-data") == 0
    assert not machine.at(files.STATE).exists()
    assert not machine.at(files.SETTINGS).exists()
    assert machine.calls()[-1] == "userdel wardian"
    assert machine.remove("--with-data") == 0  # nothing is there, and nothing is wrong


def test_a_dry_run_says_all_of_it_and_does_nothing(
    machine: Machine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert machine.install("--config", str(machine.config), "--dry-run") == 0
    told = capsys.readouterr().out
    assert told.startswith("would be done:\n")
    assert f"write {files.UNIT}\n" in told
    assert machine.calls() == []
    assert [path.name for path in machine.root.rglob("*") if path.is_file()] == ["passwd"]


def test_a_command_of_the_same_name_that_is_not_ours_stays(machine: Machine) -> None:
    machine.install("--config", str(machine.config))
    machine.at(files.COMMAND).write_text("#!/bin/sh\necho mine\n", encoding="utf-8")
    machine.remove()
    assert machine.at(files.COMMAND).exists()


# ------------------------------------------------------------------------------------- refusals


def test_whoever_is_not_root_is_told_to_be(
    machine: Machine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    for act in (machine.install, machine.remove):
        assert act() == 2
        assert "put sudo before the command, or add --dry-run" in capsys.readouterr().err
    assert machine.calls() == []


@pytest.mark.parametrize(
    ("url", "why"),
    [
        ("sqlite:///wardian.db", 'write url: "sqlite:////var/lib/wardian/wardian.db"'),
        ("sqlite:////srv/wardian.db", "where alone the service may write"),
        ("sqlite:////var/lib/wardian/../wardian.db", "where alone the service may write"),
    ],
)
def test_a_database_where_the_service_may_not_write_is_refused_before_anything_is_done(
    machine: Machine, capsys: pytest.CaptureFixture[str], url: str, why: str
) -> None:
    text = CONFIG.replace("sqlite:////var/lib/wardian/wardian.db", url)
    machine.config.write_text(text, encoding="utf-8")
    assert machine.install("--config", str(machine.config)) == 2
    assert why in capsys.readouterr().err
    assert machine.calls() == []


def test_a_configuration_with_a_mistake_is_refused_before_anything_is_done(
    machine: Machine, capsys: pytest.CaptureFixture[str]
) -> None:
    machine.config.write_text(CONFIG + "tray: []\n", encoding="utf-8")
    assert machine.install("--config", str(machine.config)) == 2
    assert f"{machine.config}:4: tray: is no known key" in capsys.readouterr().err
    assert machine.calls() == []


def test_without_a_configuration_there_is_no_service(
    machine: Machine, capsys: pytest.CaptureFixture[str]
) -> None:
    assert machine.install() == 2
    assert "give one with --config FILE" in capsys.readouterr().err


@pytest.mark.parametrize("program", [*(f"{hidden}/wardian" for hidden in files.HIDDEN), "bin/w", "/opt/a b"])
def test_a_program_that_the_service_could_not_run_is_refused(
    machine: Machine, capsys: pytest.CaptureFixture[str], program: str
) -> None:
    assert machine.install("--config", str(machine.config), "--program", program) == 2
    assert f"{program}" in capsys.readouterr().err
    assert machine.calls() == []


def test_a_program_whose_python_the_service_could_not_see_is_refused(
    machine: Machine, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """As of an environment that was made with somebody's own Python."""
    (tmp_path / "home").mkdir()
    (tmp_path / "home" / "python").touch()
    (tmp_path / "bin").mkdir()
    (tmp_path / "bin" / "python").symlink_to(tmp_path / "home" / "python")
    monkeypatch.setattr(files, "HIDDEN", (str(tmp_path / "home"),))
    program = str(tmp_path / "bin" / "wardian")
    assert machine.install("--config", str(machine.config), "--program", program) == 2
    assert f"a service sees nothing below {tmp_path / 'home'}" in capsys.readouterr().err


def test_a_command_of_the_machine_that_fails_is_told_with_its_own_words(
    machine: Machine, capsys: pytest.CaptureFixture[str]
) -> None:
    machine.command("systemctl", "echo 'no such unit' >&2; exit 1")
    assert machine.install("--config", str(machine.config)) == 2
    assert "enable wardian failed: no such unit" in capsys.readouterr().err


def test_what_would_be_put_in_place_can_be_seen(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["service", "show", "--program", PROGRAM, "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)["files"]
    assert shown[str(files.UNIT)] == files.TEMPLATE.read_text(encoding="utf-8")
    assert main(["service", "show", "--program", PROGRAM]) == 0
    assert "Type=notify\n" in capsys.readouterr().out
