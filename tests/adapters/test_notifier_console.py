import io
import os
import sys
from pathlib import Path

import pytest

from wardian.adapters.notifiers.console import ConsoleNotifier, ConsoleSettings
from wardian.rules.errors import DeliveryFailed
from wardian.rules.ports import Message

MESSAGE = Message("tray-a/1", "tray-a: too dry", "Humidity is at 84 %.\nMist it within 30 min.", {})


def written(message: Message) -> str:
    stream = io.StringIO()
    ConsoleNotifier(ConsoleSettings(), stream).send(message)
    return stream.getvalue()


def test_a_message_is_its_subject_with_the_body_and_the_key_indented() -> None:
    assert written(MESSAGE) == (
        "tray-a: too dry\n  Humidity is at 84 %.\n  Mist it within 30 min.\n  (message tray-a/1)\n"
    )


def test_standard_error_is_where_messages_go(capsys: pytest.CaptureFixture[str]) -> None:
    ConsoleNotifier(ConsoleSettings()).send(MESSAGE)
    captured = capsys.readouterr()
    assert captured.err.startswith("tray-a: too dry\n")
    assert captured.out == ""


def test_a_name_can_neither_move_the_cursor_nor_begin_a_message_of_its_own() -> None:
    evil = "tray\x1b]0;x\x07\n\rtray-b: all is well\x9b2J"
    text = written(Message(evil, evil, evil, {}))
    assert all(sign.isprintable() or sign == "\n" for sign in text)
    assert [line for line in text.splitlines() if not line.startswith("  ")] == [
        r"tray\x1b]0;x\x07 tray-b: all is well\x9b2J"
    ]


def test_what_the_terminal_cannot_show_is_written_out(tmp_path: Path) -> None:
    file = tmp_path / "ascii"
    with file.open("w", encoding="ascii") as stream:
        ConsoleNotifier(ConsoleSettings(), stream).send(Message("k", "75 °F", "苔", {}))
    assert file.read_text(encoding="ascii").splitlines() == [r"75 \xb0F", r"  \u82d4", "  (message k)"]


def test_a_closed_standard_error_is_a_failed_delivery_and_nothing_worse(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    closed = io.StringIO()
    closed.close()
    for stream in (closed, None):
        monkeypatch.setattr(sys, "stderr", stream)
        with pytest.raises(DeliveryFailed, match="standard error"):
            ConsoleNotifier(ConsoleSettings()).send(MESSAGE)


def test_a_reader_that_went_away_is_a_failed_delivery() -> None:
    read_end, write_end = os.pipe()
    os.close(read_end)
    stream = io.TextIOWrapper(io.FileIO(write_end, "w"), encoding="utf-8", write_through=True)
    with pytest.raises(DeliveryFailed, match="Broken pipe"):
        ConsoleNotifier(ConsoleSettings(), stream).send(MESSAGE)
    stream.close()


def test_closing_leaves_the_stream_open() -> None:
    stream = io.StringIO()
    ConsoleNotifier(ConsoleSettings(), stream).close()
    assert not stream.closed
