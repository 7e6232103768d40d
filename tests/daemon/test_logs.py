"""The log: a line an entry with its priority for a journal, and no log that is full or gone stops anything."""

import logging
import os
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from wardian.daemon.logs import BoundedHandler, _Lines, is_journal

Write = Callable[..., None]


@pytest.fixture
def log() -> Iterator[logging.Logger]:
    made = logging.getLogger("wardian.test of the log")
    made.propagate = False
    yield made
    made.handlers.clear()


def handler_on(descriptor: int, log: logging.Logger, *, is_for_journal: bool = False) -> BoundedHandler:
    handler = BoundedHandler(descriptor)
    handler.setFormatter(_Lines(is_for_journal=is_for_journal))
    log.handlers[:] = [handler]
    return handler


def test_a_journal_gets_the_priority_before_each_line(log: logging.Logger, tmp_path: Path) -> None:
    """As sd-daemon(3) has it: 2 critical, 3 error, 4 warning, 6 information; a traceback is of one priority."""
    with (tmp_path / "log").open("wb") as file:
        handler_on(file.fileno(), log, is_for_journal=True)
        log.setLevel(logging.DEBUG)
        for level in (logging.DEBUG, logging.INFO, logging.WARNING, logging.ERROR, logging.CRITICAL):
            log.log(level, "said", extra={"tray": "tray-a"})
        try:
            int("no\nnumber")
        except ValueError:
            log.exception("stumbled")
    lines = (tmp_path / "log").read_text(encoding="utf-8").splitlines()
    assert lines[:5] == [
        "<7>DEBUG said: tray=tray-a",
        "<6>INFO said: tray=tray-a",
        "<4>WARNING said: tray=tray-a",
        "<3>ERROR said: tray=tray-a",
        "<2>CRITICAL said: tray=tray-a",
    ]
    assert len(lines) > 8
    assert all(line.startswith("<3>") for line in lines[5:])


def test_a_terminal_or_file_gets_no_priorities_and_nobody_fakes_one(
    log: logging.Logger, tmp_path: Path
) -> None:
    with (tmp_path / "log").open("wb") as file:
        handler_on(file.fileno(), log)
        log.warning("said", extra={"tray": "a\n<0>forged"})
    assert (tmp_path / "log").read_text(encoding="utf-8") == "WARNING said: tray=a\\n<0>forged\n"


def test_the_journal_is_known_by_its_device_and_number(tmp_path: Path) -> None:
    with (tmp_path / "log").open("wb") as file:
        status = os.fstat(file.fileno())
        named = {"JOURNAL_STREAM": f"{status.st_dev}:{status.st_ino}"}
        assert is_journal(file.fileno(), named)
        assert not is_journal(file.fileno(), {"JOURNAL_STREAM": f"{status.st_dev}:{status.st_ino + 1}"})
        assert not is_journal(file.fileno(), {})
    assert not is_journal(file_descriptor_that_is_closed(), named)


def file_descriptor_that_is_closed() -> int:
    reading, writing = os.pipe()
    os.close(reading)
    os.close(writing)
    return writing


def test_a_pipe_that_nobody_reads_takes_what_fits_and_holds_nobody_up(log: logging.Logger) -> None:
    reading, writing = os.pipe()
    handler = handler_on(writing, log)
    began_s = time.monotonic()
    for number in range(5_000):
        log.warning("said", extra={"number": number})
    assert time.monotonic() - began_s < 5
    assert handler.left_out > 1_000
    os.read(reading, 1 << 20)
    left_out = handler.left_out
    log.warning("after that")
    assert (
        f"WARNING {left_out} entries of the log were left out\nWARNING after that\n"
        in os.read(reading, 1 << 16).decode()
    )
    os.close(reading)
    os.close(writing)


def test_a_standard_error_that_is_closed_or_whose_reader_went_stops_nothing(log: logging.Logger) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    handler = handler_on(writing, log)
    log.warning("to nobody")
    os.close(writing)
    log.warning("to nowhere")
    assert handler.left_out == 2


def test_a_full_disk_stops_nothing(log: logging.Logger) -> None:
    with Path("/dev/full").open("wb", buffering=0) as full:
        handler = handler_on(full.fileno(), log)
        log.warning("said")
        assert handler.left_out == 1


def test_an_entry_without_end_is_cut_in_its_middle(log: logging.Logger, tmp_path: Path) -> None:
    with (tmp_path / "log").open("wb") as file:
        handler_on(file.fileno(), log)
        log.warning("begin %s end", "x" * 1_000_000)
    text = (tmp_path / "log").read_text(encoding="utf-8")
    assert len(text) < 40_000
    assert text.startswith("WARNING begin ")
    assert text.endswith(" end\n")
