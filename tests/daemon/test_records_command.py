"""``wardian records`` and ``wardian note``: what is listed, what is withdrawn, what is refused."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE

from wardian.daemon.cli import main

Say = Callable[..., tuple[int, str, str]]


@pytest.fixture
def say(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Say:
    """Return what runs a command on a bench: its status, what it prints, what it refuses."""
    (tmp_path / "config.yaml").write_text(BASE, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)

    def run(*words: str) -> tuple[int, str, str]:
        try:
            status = main(words)
        except SystemExit as wrong_usage:
            status = int(wrong_usage.code or 0)
        return status, *capsys.readouterr()

    return run


def listed(say: Say, *options: str) -> list[dict[str, Any]]:
    status, out, err = say("records", "--json", *options)
    assert (status, err) == (0, "")
    result: list[dict[str, Any]] = json.loads(out)["records"]
    return result


def test_where_nothing_was_put_down_nothing_is_listed(say: Say) -> None:
    assert listed(say) == []
    assert say("records") == (0, "nothing is on record\n", "")


def test_what_holds_is_listed_with_its_numbers(say: Say) -> None:
    say("care", "done", "tray-a", "misted", "--who", "a pupil")
    say("note", "tray-a", "two leaves\nspotted", "--who", "the teacher")
    care, note = listed(say)
    assert (care["record"], care["kind"], care["fields"], care["who"]) == (
        1,
        "care",
        {"event": "misted"},
        "a pupil",
    )
    assert (note["record"], note["kind"], note["why"]) == (2, "note", "two leaves spotted")
    _, out, _ = say("records")
    first, second = out.splitlines()
    assert first.startswith("    1  ")
    assert first.endswith("tray-a     Misted, by a pupil")
    assert second.endswith("tray-a     Noted, by the teacher: two leaves spotted")


def test_what_was_withdrawn_is_listed_only_among_all_with_what_withdrew_it(say: Say) -> None:
    say("note", "tray-a", "a slip")
    status, out, _ = say("records", "withdraw", "1", "--who", "the teacher", "--why", "wrong tray", "--json")
    told = json.loads(out)
    assert (status, told["record"], told["kind"], told["corrects"]) == (0, 2, "withdrawn", 1)
    assert (told["tray"], told["who"], told["why"]) == ("tray-a", "the teacher", "wrong tray")
    assert listed(say) == []
    slip, withdrawn = listed(say, "--all")
    assert (slip["record"], slip["corrected_by"], withdrawn["record"]) == (1, 2, 2)
    _, out, _ = say("records", "--all")
    assert out.splitlines()[0].endswith(": a slip [no longer holds: record 2]")
    assert out.splitlines()[1].endswith("Record 1 withdrawn, by the teacher: wrong tray")


def test_a_note_may_take_the_place_of_another(say: Say) -> None:
    say("note", "tray-a", "two leaves spotted")
    say("note", "tray-a", "three leaves spotted", "--corrects", "1")
    (note,) = listed(say)
    assert (note["record"], note["corrects"], note["why"]) == (2, 1, "three leaves spotted")


def test_records_of_one_tray_or_batch_are_listed_alone(say: Say) -> None:
    say("note", "tray-a", "of a")
    say("note", "tray-b", "of b")
    assert [one["why"] for one in listed(say, "--tray", "tray-b")] == ["of b"]
    assert listed(say, "--batch", "b-1") == []


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["records", "withdraw", "9"], "there is no record 9; `wardian records` lists them"),
        (["records", "withdraw", "1"], "record 1 was corrected or withdrawn already"),
        (["records", "withdraw", "2"], "record 2 withdraws record 1; put that on record anew"),
        (["records", "withdraw", "x"], "invalid int value: 'x'"),
        (["records", "withdraw"], "required: N"),
        (["records", "--tray", "tray-a", "withdraw", "3"], "withdraw takes a number alone"),
        (["records", "--tray", "tray-aa"], "nothing is on record of a tray 'tray-aa'; did you mean tray-a?"),
        (["records", "burn", "1"], "invalid choice: 'burn'"),
        (["note", "tray-q", "words"], "there is no tray 'tray-q'"),
        (["note", "tray-a", " \n"], "a note needs words"),
        (["note", "tray-a", "words", "--corrects", "1"], "was corrected or withdrawn already"),
        (["note", "tray-a", "words", "--at", "2001-01-01T00:00:00Z"], "a time of the last 24 h is accepted"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_put_down(
    say: Say, words: list[str], why: str
) -> None:
    say("note", "tray-a", "a slip")
    say("records", "withdraw", "1")
    say("note", "tray-a", "another")
    status, out, err = say(*words)
    assert (status, out) == (2, "")
    assert why in err
    assert len(listed(say, "--all")) == 3


def test_nothing_is_kept_in_memory(say: Say) -> None:
    text = Path("config.yaml").read_text(encoding="utf-8")
    assert text.count("sqlite:///wardian.db") == 1
    Path("config.yaml").write_text(text.replace("sqlite:///wardian.db", "memory:"), encoding="utf-8")
    assert listed(say) == []
    status, _, err = say("note", "tray-a", "words")
    assert (status, "name a file in store.url" in err) == (2, True)
