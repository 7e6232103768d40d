"""A page that is served on a free loopback port, of a bench that stands in a folder, and a browser of few words."""

import gzip
import http.client
import re
import socket
import threading
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from html.parser import HTMLParser
from pathlib import Path
from typing import Any, Final, NamedTuple
from urllib.parse import urlencode

from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.run import open_whole
from wardian.rules.ports import JournalEntry, Round
from wardian.rules.readings import Reading
from wardian.rules.records import Record

MINUTE_MS: Final = 60_000
PASSWORD: Final = "canary-4711-of-the-bench"
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: UTC, units: US}}
store: {{url: "sqlite:///wardian.db", commit_every: 1 s}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
  - {{name: tray-b, crop: coleus, stuck: {stuck}}}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {{low: 20, high: 26, deadband: 0.5, on_delay: {on_delay}, off_delay: 0 s}}
          relative_humidity: {{low: 85}}
notifiers: [{{name: terminal, kind: console}}]
page: {{listen: "127.0.0.1:{port}"{more}}}
"""
#: A bench that is read each second.
PRETENDED: Final = "\nsensors: [{name: pretended bench, kind: simulator, every: 1 s}]\n"


class Got(NamedTuple):
    """An answer as it came over the network."""

    status: int
    headers: Mapping[str, str]
    text: str


class Outline(HTMLParser):
    """The elements of a page with the names of their attributes, and its words."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, tuple[str, ...]]] = []
        self.words: list[str] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: Sequence[tuple[str, str | None]]) -> None:
        self.elements.append((tag, tuple(name for name, _ in attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@dataclass
class PageRig:
    """The bench of a folder and its page."""

    folder: Path
    port: int
    watch: Watch | None = None

    def get(self, path: str, **headers: str) -> Got:
        """Ask for an address."""
        return self.ask("GET", path, headers=headers)

    def ask(self, method: str, path: str, body: bytes = b"", headers: Mapping[str, str] | None = None) -> Got:
        """Send one request with the headers that are named; what comes compressed is read as it was."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=15)
        sent = {name.replace("_", "-"): value for name, value in (headers or {}).items()}
        try:
            connection.request(method, path, body or None, {"Host": f"127.0.0.1:{self.port}", **sent})
            answer = connection.getresponse()
            got = {name.lower(): value for name, value in answer.getheaders()}
            whole = answer.read()
            plain = gzip.decompress(whole) if whole and got.get("content-encoding") == "gzip" else whole
            return Got(answer.status, got, plain.decode())
        finally:
            connection.close()

    def post(self, path: str, fields: Mapping[str, str], **headers: str) -> Got:
        """Send a form as the browser does that has it from this page."""
        own = {
            "Content-Type": "application/x-www-form-urlencoded",
            "Origin": f"http://127.0.0.1:{self.port}",
            **headers,
        }
        return self.ask("POST", path, urlencode(fields).encode(), own)

    def form(self, **fields: str) -> dict[str, str]:
        """Return the hidden fields of a form just loaded, with what is typed."""
        text = self.get("/tray/1").text
        hidden = {
            name: re.findall(f'name="{name}" value="([^"]*)"', text)[0] for name in ("token", "once", "from")
        }
        return {**hidden, "who": "Evening teacher", **fields}

    def store(self, work: Callable[[Any], Any]) -> Any:
        """Return what somebody finds in the store, beside whoever writes it."""
        store = open_store(f"sqlite:///{self.folder / 'wardian.db'}", self.folder, read_only=True)
        try:
            return work(store)
        finally:
            store.close()

    def records(self) -> list[Record]:
        """Return all that is on record."""
        return list(self.store(lambda store: store.records()))

    def journal(self) -> list[JournalEntry]:
        """Return the journal."""
        return list(self.store(lambda store: store.journal()))


def free_port() -> int:
    """Return a loopback port that nobody listens on at the moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def write_bench(folder: Path, port: int, more: str = "", on_delay: str = "10 min") -> None:
    """Write a bench whose tray-a has been too warm for half an hour, and of whose tray-b nothing is known."""
    now_ms = wiring.machine_clock().wall_ms()
    stuck = datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=3)
    text = CONFIG.format(stuck=stuck.date(), port=port, more=more, on_delay=on_delay)
    (folder / "config.yaml").write_text(text, encoding="utf-8")
    store = open_store(f"sqlite:///{folder / 'wardian.db'}", folder)
    times_ms = range(now_ms - 30 * MINUTE_MS, now_ms, MINUTE_MS)
    warm = [Reading(at, "tray-a", "air_temperature", 27.5) for at in times_ms]
    store.keep(Round(now_ms, readings=warm))
    store.close()


def round_of(rig: PageRig) -> None:
    """Let the daemon do a round."""
    assert rig.watch is not None
    rig.watch.loop.round(rig.watch.sensors)


@contextmanager
def rounds_of(rig: PageRig) -> Iterator[None]:
    """Let the daemon do a round twice a second, on a thread of its own."""
    ended = threading.Event()

    def rounds() -> None:
        while not ended.wait(0.5):
            round_of(rig)

    thread = threading.Thread(target=rounds)
    thread.start()
    try:
        yield
    finally:
        ended.set()
        thread.join()


@contextmanager
def served(folder: Path, more: str = "", on_delay: str = "10 min") -> Iterator[PageRig]:
    """Open the whole daemon of such a bench, whose rounds the test makes, and yield its page."""
    rig = PageRig(folder, free_port())
    write_bench(folder, rig.port, more, on_delay)
    with ExitStack() as opened:
        rig.watch = open_whole(wiring.load_config(folder / "config.yaml"), opened)
        rig.watch.loop.quiet_s = 0.0
        round_of(rig)
        yield rig


@contextmanager
def watching(folder: Path, port: int | None = None) -> Iterator[PageRig]:
    """Run the whole daemon on a pretended bench that is read each second."""
    rig = PageRig(folder, free_port() if port is None else port)
    write_bench(folder, rig.port)
    with (folder / "config.yaml").open("a", encoding="utf-8") as config:
        config.write(PRETENDED)
    with ExitStack() as opened:
        rig.watch = open_whole(wiring.load_config(folder / "config.yaml"), opened)
        thread = threading.Thread(target=rig.watch.loop_until_stopped)
        thread.start()
        try:
            yield rig
        finally:
            rig.watch.stop()
            thread.join()


def newest_ms(rig: PageRig) -> int:
    return int(rig.store(lambda store: max(reading.time_ms for reading in store.latest().values())))


def hostile_words() -> list[str]:
    """Return 200 texts that would be elements, attributes, scripts or escapes if anything were not escaped."""
    inner = ["alert(1)", "fetch('/care')", "location='//evil.example'", "document.cookie", "1;--", "\u202e"]
    shapes = [
        "<script>{}</script>",
        "</script><script>{}</script>",
        "<img src=x onerror={}>",
        '"><svg onload={}>',
        "'><iframe src=javascript:{}>",
        '" onfocus={} autofocus x="',
        "' onmouseover={} x='",
        "--><b onclick={}>",
        "]]><a href=javascript:{}>",
        "&lt;script&gt;{}&lt;/script&gt;",
        "&#60;script&#62;{}",
        "<style>*{{background:url({})}}</style>",
        "<!--{}",
        "<plaintext>{}",
        "<textarea>{}",
        "</p></main></body>{}",
        "{{{{{}}}}}",
        "${{{}}}",
        "<base href={}>",
        "<meta http-equiv=refresh content={}>",
        "<form action={}>",
        "<math><mtext><script>{}",
        "<a\thref=javascript:{}>",
        "<%={}%>",
        "\\u003cscript\\u003e{}",
        "<x:script xmlns:x='http://www.w3.org/1999/xhtml'>{}",
        "=cmd|' /C {}'!A0",
        "%3Cscript%3E{}",
        "<link rel=stylesheet href={}>",
        "<option selected>{}",
        "</option></select>{}",
        "</title><script>{}",
        "</table><td>{}",
        "<button formaction={}>",
    ]
    return [shape.format(one) for shape in shapes for one in inner][:200]
