"""Every command explains itself and is in the README, and the documents name no command that is not there."""

import re
from pathlib import Path

import pytest

from wardian.daemon.cli import main

ROOT = Path(__file__).parents[2]
DOCUMENTS = ["README.md", "DEVELOPERS.md", "CHANGELOG.md", "config.example.yaml"]
#: A line of help that names a command: indented by four, then what it does.
LISTED = re.compile(r"^    ([a-z][a-z-]*)\s+\S", re.MULTILINE)
#: A command in a code span, or typed in a shell.
NAMED = re.compile(r"(?:`|bin/|^\$ )wardian ([a-z][a-z-]*)", re.MULTILINE)
PROMISED = {"check", "run", "status", "alarms", "replay", "tune", "export", "air"}


def help_of(capsys: pytest.CaptureFixture[str], *command: str) -> str:
    with pytest.raises(SystemExit) as ended:
        main([*command, "--help"])
    out, err = capsys.readouterr()
    assert (ended.value.code, err) == (0, "")
    return out


def commands_in(text: str) -> list[str]:
    _, _, listed = text.partition("COMMAND\n")
    return LISTED.findall(listed)


def test_help_lists_every_promised_command(capsys: pytest.CaptureFixture[str]) -> None:
    listed = commands_in(help_of(capsys))
    assert set(listed) >= PROMISED
    assert len(listed) == len(set(listed))


def test_every_command_has_a_help_of_its_own(capsys: pytest.CaptureFixture[str]) -> None:
    """It says how it is called, what it does, and of each option more than its name."""
    for command in commands_in(help_of(capsys)):
        text = help_of(capsys, command)
        assert text.startswith(f"usage: wardian {command}")
        (sentence,) = re.findall(r"\n\n([A-Z][^\n]*(?:\n[^\n]+)*\.)\n\n", text)[:1]
        assert len(sentence.split()) >= 3, command
        options = re.findall(r"^  (-.*)$", text, re.MULTILINE)
        assert all(re.search(r"\S  +\S", line) or f"  {line}\n      " in text for line in options), command


def test_every_command_is_in_the_readme(capsys: pytest.CaptureFixture[str]) -> None:
    named = set(NAMED.findall((ROOT / "README.md").read_text(encoding="utf-8")))
    assert set(commands_in(help_of(capsys))) - named == set()


@pytest.mark.parametrize("document", DOCUMENTS)
def test_documents_name_no_command_that_is_not_there(
    capsys: pytest.CaptureFixture[str], document: str
) -> None:
    named = set(NAMED.findall((ROOT / document).read_text(encoding="utf-8")))
    assert named - set(commands_in(help_of(capsys))) == set()


def test_the_program_by_itself_prints_its_help_and_fails(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    assert set(commands_in(capsys.readouterr().out)) >= PROMISED


def test_every_command_that_prints_a_result_can_print_it_for_programs(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """All but the daemon itself, which prints no result."""
    without = {
        command for command in commands_in(help_of(capsys)) if "--json" not in help_of(capsys, command)
    }
    assert without == {"run"}
