"""Whatever becomes of the page, the watching goes on; and the page itself holds against who would hold it up."""

import asyncio
import logging
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import Final

import pytest
from base_config import BASE, built
from page_rig import PASSWORD, PageRig, free_port, newest_ms, round_of, served, watching, write_bench

from wardian.daemon import wiring
from wardian.daemon.page import server
from wardian.daemon.page.apart import Apart
from wardian.daemon.page.app import Application
from wardian.daemon.page.asked import Answer, Request
from wardian.daemon.page.looking import Looking
from wardian.daemon.page.server import MOST_CONNECTIONS
from wardian.daemon.run import open_whole
from wardian.rules.errors import AdapterError

WaitUntil = Callable[..., None]
SLOW_SOCKETS: Final = 300


@pytest.mark.threat(14)
def test_300_slow_sockets_hold_up_neither_readings_nor_page(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wait_until: WaitUntil
) -> None:
    monkeypatch.setattr(server, "LONGEST_CONNECTION_S", 3.0)
    with watching(tmp_path) as rig, ExitStack() as held:
        wait_until(lambda: rig.watch and rig.watch.loop.is_up_to_date, "the daemon to be up to date", 30)
        slow = []
        for number in range(SLOW_SOCKETS):
            one = held.enter_context(socket.create_connection(("127.0.0.1", rig.port), timeout=10))
            one.sendall(
                b"GET / HTTP/1.1\r\nHost: 127"
                if number % 2
                else b"POST /care HTTP/1.1\r\nContent-Length: 9\r\n"
            )
            slow.append(one)
        before_ms = newest_ms(rig)
        assert rig.get("/").status == 200
        wait_until(lambda: newest_ms(rig) >= before_ms + 2_000, "readings to go on", 6)
        ended = [is_ended(one) for one in slow]
        assert all(ended)


def is_ended(one: socket.socket) -> bool:
    try:
        return one.recv(4_096) == b"" or one.recv(4_096) == b""
    except ConnectionError:
        return True


@pytest.mark.threat(14)
def test_more_connections_than_are_held_end_the_oldest(tmp_path: Path) -> None:
    with served(tmp_path) as rig, ExitStack() as held:
        rig.get("/page.css")
        slow = [
            held.enter_context(socket.create_connection(("127.0.0.1", rig.port), timeout=5))
            for _ in range(MOST_CONNECTIONS + 1)
        ]
        assert is_ended(slow[0])


def test_a_port_that_is_taken_is_told_and_the_watching_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, wait_until: WaitUntil, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "RETRY_S", 0.05)
    with socket.socket() as taken, ExitStack() as opened, caplog.at_level(logging.ERROR):
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        rig = PageRig(tmp_path, taken.getsockname()[1])
        write_bench(tmp_path, rig.port)
        rig.watch = open_whole(wiring.load_config(tmp_path / "config.yaml"), opened)
        rig.watch.loop.quiet_s = 0.0
        wait_until(lambda: "page not running" in caplog.text, "the log to tell")
        round_of(rig)
        told = rig.store(lambda store: store.notes())["sensors"]
        assert told["page"] == f"not running: Address already in use at 127.0.0.1:{rig.port}"
        assert caplog.text.count("page not running") == 1
        assert [entry.fields["event"] for entry in rig.journal()] == ["raised"]
        taken.close()
        wait_until(lambda: answers(rig), "the page to come once the port is free")
        round_of(rig)
        assert "page" not in rig.store(lambda store: store.notes())["sensors"]


def answers(rig: PageRig) -> bool:
    try:
        return rig.get("/").status == 200
    except ConnectionError:
        return False


def test_a_page_that_fails_says_so_and_the_watching_goes_on(
    tmp_path: Path, caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(_: Looking, _tray: str | None = None) -> None:
        raise RuntimeError("nobody foresaw this")

    with served(tmp_path) as rig, monkeypatch.context() as patched:
        patched.setattr(Looking, "journal", broken)
        got = rig.get("/journal", Cookie=f"bench={PASSWORD}")
        assert got.status == 500
        assert "The watching goes on" in got.text
        assert "nobody foresaw" not in got.text
        assert "page failed" in caplog.text
        assert PASSWORD not in caplog.text
        round_of(rig)
        assert rig.get("/").status == 200


def test_without_its_library_the_start_says_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    write_bench(tmp_path, free_port())
    for name in [name for name in sys.modules if name.startswith("wardian.daemon.page")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "uvicorn", None)
    with ExitStack() as opened, pytest.raises(AdapterError) as caught:
        open_whole(wiring.load_config(tmp_path / "config.yaml"), opened)
    assert str(caught.value) == "page: uvicorn is not installed; run: pip install 'wardian[page]'"


class _Slow:
    """Takes long for everything, until it may go on."""

    def __init__(self) -> None:
        self.drawn: list[str] = []
        self.begun, self.go_on = threading.Event(), threading.Event()

    def answer(self, request: Request) -> Answer:
        self.drawn.append(request.path)
        self.begun.set()
        self.go_on.wait(10)
        return Answer(b"")

    def is_slow(self, _: Request) -> bool:
        return True

    def stop(self) -> None:
        self.go_on.set()


def test_pictures_that_nobody_waits_for_any_more_are_not_drawn() -> None:
    slow = _Slow()

    async def asked(application: Application, path: str, *, is_gone: bool) -> None:
        scope = {
            "type": "http",
            "method": "GET",
            "path": path,
            "raw_path": path.encode(),
            "query_string": b"",
            "headers": [],
        }

        async def receive() -> dict[str, str]:
            if not is_gone:
                await asyncio.Event().wait()
            return {"type": "http.disconnect"}

        async def send(_: object) -> None:
            return None

        await application(scope, receive, send)

    async def several() -> None:
        application = Application(slow)
        first = asyncio.ensure_future(asked(application, "/first", is_gone=False))
        await asyncio.to_thread(slow.begun.wait, 10)
        others = [
            asyncio.ensure_future(asked(application, path, is_gone=gone))
            for path, gone in (("/gone", True), ("/stays", False))
        ]
        await asyncio.sleep(0)
        slow.go_on.set()
        await asyncio.gather(first, *others)
        application.stop()

    asyncio.run(several())
    assert slow.drawn == ["/first", "/stays"]


def test_a_command_that_runs_ends_with_the_page(wait_until: WaitUntil) -> None:
    apart, told = Apart(built(BASE)), []

    def run() -> None:
        with pytest.raises(subprocess.CalledProcessError) as caught:
            apart._output(["/bin/sleep", "300"])
        told.append(caught.value.returncode)

    thread = threading.Thread(target=run)
    thread.start()
    wait_until(lambda: apart._running is not None, "the command to run")
    apart.stop()
    thread.join(5)
    assert told == [-signal.SIGKILL]
    assert apart.told_by("plot", "tray-a") is None


def test_a_password_that_others_can_read_ends_the_start(tmp_path: Path) -> None:
    (tmp_path / "page-password").write_text(PASSWORD, encoding="utf-8")
    (tmp_path / "page-password").chmod(0o644)
    write_bench(tmp_path, free_port(), ", password_file: page-password")
    with ExitStack() as opened, pytest.raises(AdapterError) as caught:
        open_whole(wiring.load_config(tmp_path / "config.yaml"), opened)
    assert "password_file" in str(caught.value)
    assert PASSWORD not in str(caught.value)


def test_a_request_shows_no_secret_of_itself() -> None:
    request = Request(
        "POST", "/sign-in", {"cookie": PASSWORD}, fields={"password": PASSWORD}, cookies={"bench": PASSWORD}
    )
    assert PASSWORD not in repr(request)
