"""When nobody watches any more, people hear of it, seldom enough; and the next run says how the last one ended."""

import json
import os
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from base_config import BASE
from fake_clock import NOON_MS, FakeClock
from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon import last_words, wiring
from wardian.daemon.last_end import End, last_end, note_end, places
from wardian.daemon.last_words import AGAIN_MS, NOT_WATCHING, SELDOM_MS, say_last_words, tell_of_last_end
from wardian.rules.errors import AdapterError, StoreFailed

WaitUntil = Callable[..., None]
DAMAGED = StoreFailed("store", "the database is damaged")
PRETENDED = "sensors: [{name: pretended bench, kind: simulator, every: 1 s}]\n"
CANARY = "canary-4711"


class Ending:
    """A bench whose watch ends again and again, and what its one channel hears."""

    def __init__(self, folder: Path, receiver: HttpReceiver, clock: FakeClock) -> None:
        self.folder, self.receiver, self.clock = folder, receiver, clock
        text = BASE[: BASE.index("sensors:")].replace("commit_every: 10 s", "commit_every: 1 s") + PRETENDED
        text += f'notifiers: [{{name: hook, kind: webhook, url: "{receiver.address}/", timeout: 1 s}}]\n'
        path = folder / "config.yaml"
        path.write_text(text, encoding="utf-8")
        self.config = wiring.load_config(path)

    def end(self, error: Exception = DAMAGED) -> None:
        say_last_words(self.config, error)

    def told(self) -> list[str]:
        return [json.loads(request.body)["message"] for request in self.receiver.requests]

    def told_again(self) -> list[str]:
        """Return what a run that watches now says of the last one."""
        found: list[str] = []

        class Troubles:
            def happened(self, _name: str, words: str) -> None:
                found.append(words)

        tell_of_last_end(self.config, Troubles())  # type: ignore[arg-type]  # it needs no more of them
        return found


@pytest.fixture
def ending(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Ending]:
    clock = FakeClock()
    monkeypatch.setattr(wiring, "machine_clock", lambda: clock)
    monkeypatch.delenv("RUNTIME_DIRECTORY", raising=False)
    with http_receiver() as receiver:
        yield Ending(tmp_path, receiver, clock)


@pytest.mark.fault(24)
@pytest.mark.fault(25)
def test_a_store_that_cannot_be_used_is_told_once_an_hour_however_often_it_is_tried(ending: Ending) -> None:
    for _ in range(3):
        ending.end()
        ending.clock.step(10_000)
    assert ending.told() == ["Not watching: nobody watches: the database is damaged"]
    fields = json.loads(ending.receiver.requests[0].body)
    assert (fields["alarm"], fields["event"], fields["priority"]) == (NOT_WATCHING, "raised", "high")
    assert ending.receiver.requests[0].headers["Idempotency-Key"] == "wardian/not-watching/2026-03-02T12"
    ending.clock.step(SELDOM_MS)
    ending.end()
    assert len(ending.told()) == 2


def test_a_clock_that_was_set_back_since_keeps_nothing_from_being_told(ending: Ending) -> None:
    ending.end()
    ending.clock.now_ms -= 10 * 365 * 86_400_000
    ending.end()
    assert len(ending.told()) == 2


@pytest.mark.fault(2)
def test_an_error_that_nobody_foresaw_is_told_by_the_next_run_and_at_once_where_that_ends_by_it_too(
    ending: Ending,
) -> None:
    ending.end(KeyError(CANARY))
    assert ending.told() == []
    words = "it ended at Mon 2 Mar 12:00: an error that nobody foresaw (KeyError); the log has all of it"
    assert ending.told_again() == [f"{words}. It watches again now."]
    assert ending.told_again() == []
    ending.clock.step(AGAIN_MS - 1)
    ending.end(KeyError(CANARY))
    ending.end(KeyError(CANARY))
    assert len(ending.told()) == 1
    assert CANARY not in str(ending.told())


def test_while_another_process_watches_nobody_is_told_that_nobody_does(ending: Ending) -> None:
    program = "import sys; from pathlib import Path; from wardian.adapters.stores.sql import SqlStore; "
    program += "SqlStore.open(Path(sys.argv[1])); print('open', flush=True); sys.stdin.read()"
    command = [sys.executable, "-c", program, ending.config.store_url.removeprefix("sqlite:///")]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == b"open\n"
        ending.end()
        assert ending.told() == []
        other.kill()
    ending.end()
    assert len(ending.told()) == 1


def test_channels_that_fail_hang_or_cannot_be_opened_keep_nothing_from_ending(
    ending: Ending, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    monkeypatch.setattr(last_words, "ENOUGH_S", 0.2)
    ending.receiver.manner = "silent"
    ending.end()
    ending.clock.step(SELDOM_MS)
    ending.receiver.manner, ending.receiver.status = "polite", 500
    ending.end()
    assert "last words not taken" in caplog.text

    def unusable(*_: object) -> None:
        raise AdapterError("hook", "its secret is gone")

    monkeypatch.setattr(last_words, "open_notifiers", unusable)
    ending.clock.step(SELDOM_MS)
    ending.end()
    assert "nobody can be told" in caplog.text


def test_how_it_ended_is_kept_where_there_is_room_for_no_word(tmp_path: Path) -> None:
    place = tmp_path / "wardian.db-last-end"
    place.touch()
    os.utime(place, ns=(NOON_MS * 1_000_000,) * 2)
    assert last_end([place]) == End(NOON_MS, "", NOON_MS)
    end = End(NOON_MS + 1, "why", None, is_news=False)
    note_end([tmp_path / "nowhere" / "last-end", place], end)
    assert last_end([tmp_path / "nowhere" / "last-end", place]) == end


def test_it_is_kept_beside_the_database_and_where_a_service_manager_gives_room(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("RUNTIME_DIRECTORY", "/run/one:/run/two")
    assert places(Path("/var/wardian.db")) == [Path("/run/one/last-end"), Path("/var/wardian.db-last-end")]
    monkeypatch.delenv("RUNTIME_DIRECTORY")
    assert places(None) == []


BROKEN = """\
import signal, sys, threading, time
signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGTERM, signal.SIGINT, signal.SIGUSR1})
from wardian.daemon import bench_watch
from wardian.daemon.cli import main
whole = bench_watch.Watch.loop_until_stopped
def broken(self):
    if sys.argv[2] == "loop":
        raise KeyError("canary-4711")
    def breaks():
        raise KeyError("canary-4711")
    threading.Thread(target=breaks, name="outbox hook").start()
    whole(self)
if sys.argv[2] != "whole":
    bench_watch.Watch.loop_until_stopped = broken
sys.exit(main(["run", "--config", sys.argv[1]]))
"""


@pytest.mark.fault(2)
@pytest.mark.parametrize("thread", ["loop", "another"])
def test_a_thread_that_dies_ends_the_process_and_the_next_start_tells_of_it(
    thread: str, tmp_path: Path, wait_until: WaitUntil
) -> None:
    with http_receiver() as receiver:
        ending = Ending(tmp_path, receiver, FakeClock())
        command = [sys.executable, "-c", BROKEN, str(tmp_path / "config.yaml")]
        ended = subprocess.run([*command, thread], capture_output=True, timeout=60, check=False)
        assert ended.returncode == 1
        process = subprocess.Popen([*command, "whole"], stderr=subprocess.DEVNULL)
        try:
            wait_until(
                lambda: any("It watches again now" in words for words in ending.told()), "word of it", 30
            )
            process.send_signal(signal.SIGTERM)
            assert process.wait(20) == 0
        finally:
            process.kill()
        assert CANARY not in str(ending.told())
        database = Path(ending.config.store_url.removeprefix("sqlite:///"))
        store = SqlStore.open(database, read_only=True)
        assert NOT_WATCHING in [entry.fields["condition"] for entry in store.journal()]
        store.close()
