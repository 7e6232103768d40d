"""Whatever is done to the page, the watching goes on, and whoever asks hears what is wrong with it."""

import socket
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path

import pytest
from page_rig import PageRig, newest_ms, watching

from wardian.daemon import visiting, wiring
from wardian.daemon.page import server

pytestmark = pytest.mark.fault(39)

WaitUntil = Callable[..., None]
SLOW_SOCKETS = 300


def goes_on(rig: PageRig, wait_until: WaitUntil) -> None:
    before_ms = newest_ms(rig)
    wait_until(lambda: newest_ms(rig) >= before_ms + 1_000, "readings to go on", 15)


def words(rig: PageRig) -> str:
    config = wiring.load_config(rig.folder / "config.yaml")
    return "\n".join(visiting.bench_now(config).daemon["words"])


def is_up(rig: PageRig) -> bool:
    try:
        return rig.get("/").status == 200
    except OSError:
        return False


def test_a_taken_port_slow_sockets_a_huge_query_and_a_foreign_name_disturb_no_reading(
    tmp_path: Path, wait_until: WaitUntil, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "RETRY_S", 0.1)
    with ExitStack() as held:
        taken = held.enter_context(socket.create_server(("127.0.0.1", 0)))
        port = taken.getsockname()[1]
        with watching(tmp_path, port) as rig:
            wait_until(lambda: "page: not running: Address already in use" in words(rig), "word of it", 20)
            goes_on(rig, wait_until)
            taken.close()
            wait_until(lambda: is_up(rig), "the page to come once the port is free", 20)
            for number in range(SLOW_SOCKETS):
                one = held.enter_context(socket.create_connection(("127.0.0.1", port), timeout=10))
                one.sendall(b"GET / HTTP/1.1\r\nHost: 127" if number % 2 else b"POST /care HTTP/1.1\r\n")
            assert rig.get("/?" + "q" * 100_000).status >= 400
            assert rig.get("/", Host="evil.example").status >= 400
            goes_on(rig, wait_until)
            assert is_up(rig)
