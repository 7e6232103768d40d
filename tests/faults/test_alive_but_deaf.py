"""Whichever thread hangs or ends unseen: the watchdog starves, people are told, or the thread is begun anew.

The whole daemon runs inside the test, so that each of its threads can be held up at the place where it works.
"""

import gc
import threading
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest

from wardian.adapters import mqtt_session
from wardian.adapters.mqtt_wishes import MqttWishes
from wardian.adapters.notifiers.console import ConsoleNotifier
from wardian.adapters.sensors.kernel import KernelSensor
from wardian.daemon import beat, bench_watch, lookout, opening, outbox, polling, wiring
from wardian.daemon.channel import Channel
from wardian.daemon.loop import Loop
from wardian.daemon.notify_socket import ServiceManager
from wardian.daemon.run import open_whole

pytestmark = [
    pytest.mark.fault(31),
    pytest.mark.needs_broker,
    # Whatever a thread that is ended here leaves open.
    pytest.mark.filterwarnings("ignore::ResourceWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::pytest.PytestUnhandledThreadExceptionWarning"),
]

WaitUntil = Callable[..., None]
Hold = Callable[[], None]

CONFIG = """\
site: {{name: Evening propagation class, timezone: Europe/Lisbon}}
store: {{url: "sqlite:///{folder}/bench.db", commit_every: 250 ms}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-03-02}}]
readings: {{settle: 0 s}}
crops: {{coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{medium_temperature: {{high: 27 °C, on_delay: 0 s}}}}}}]}}}}
sensors:
  - name: probes
    kind: kernel
    root: {folder}
    every: 1 s
    channels: [{{tray: tray-a, quantity: medium_temperature, file: temp1_input}}]
  - name: wire
    kind: mqtt
    broker: {broker}
    subscriptions: [{{topic: "class/{{tray}}/{{quantity}}", payload: number}}]
notifiers: [{{name: terminal, kind: console}}]
commands: {{broker: {broker}, topic: class/asked}}
beat: {{url: "http://127.0.0.1:9/", every: 10 s}}
"""
#: What each part may take, put down so far that a test need not wait.
HURRIED = (
    (bench_watch, "LONGEST_ROUND_S", 1.0),
    (outbox, "MARK_S", 1.0),
    (wiring, "SEND_MORE_S", 1.0),
    (polling, "BEGIN_S", 2.0),
    (polling, "LONGEST_POLL_S", 1.0),
    (beat, "LONGEST_BEAT_S", 1.0),
    (mqtt_session, "STUCK_S", 0.5),
    (mqtt_session, "UNCONNECTED_S", 2.0),
    (lookout, "LOOK_EVERY_S", 0.1),
)


class Place(NamedTuple):
    """Where a thread works: what is called there; it is held up at the call after so many."""

    of: Any
    name: str
    after: int = 2


#: By the thread that works there.
PLACES = {
    "the loop, in a round": Place(Loop, "round"),
    "the loop, looking at its wires": Place(mqtt_session.Session, "health", 6),
    "a channel, sending": Place(ConsoleNotifier, "send", 0),
    "a channel, asking what is due": Place(Channel, "run_due", 1),
    "whoever asks a chip": Place(KernelSensor, "poll"),
    "the scheduler": Place(polling.Steadily, "get_next_fire_time"),
    "the network thread of a sensor": Place(mqtt_session.Session, "_on_socket_unregister_write", 3),
    "the network thread of what is asked from afar": Place(MqttWishes, "_receive", 0),
    "the beat": Place(beat.Beat, "_send_one", 0),
}

#: What is tried each time; the rest, which takes a minute, in the long form.
SHORT = (
    ("whoever asks a chip", "hang"),
    ("the scheduler", "end"),
    ("the network thread of a sensor", "hang"),
)
LONG = [
    pytest.param((where, manner), marks=pytest.mark.long)
    for where in PLACES
    for manner in ("hang", "end")
    if (where, manner) not in SHORT
]


class Manners:
    """How a thread is held up: it hangs until the test is over, or ends without a word."""

    def __init__(self) -> None:
        self.over = threading.Event()
        self.happened = threading.Event()
        self.went_on = threading.Event()

    def hang(self) -> None:
        self.happened.set()
        self.over.wait(60)

    def end(self) -> None:
        """Raise, the first time, what ends a thread without anybody hearing of it; later calls show that work went on."""
        if self.happened.is_set():
            self.went_on.set()
            return
        self.happened.set()
        raise SystemExit


class Noted(ServiceManager):
    """A service manager that counts."""

    def __init__(self) -> None:
        super().__init__({})
        self.watchdog_s = 1.0
        self.fed = 0

    def feed(self) -> None:
        self.fed += 1


class Daemon:
    """A daemon inside the test, looked after as a running one is."""

    def __init__(self, config: Path, opened: ExitStack) -> None:
        self.watch = open_whole(wiring.load_config(config), opened)
        self.manager = Noted()
        self.lookout = lookout.Lookout(self.watch, self.manager, wiring.machine_clock())
        self.thread = threading.Thread(target=self.watch.loop_until_stopped, name="loop", daemon=True)
        self.thread.start()

    def close(self) -> None:
        """End the loop, once nothing holds it up any more."""
        self.watch.stop()
        self.thread.join(10)

    def look(self) -> bool:
        """Look once; return whether the watchdog was fed."""
        fed = self.manager.fed
        threading.Event().wait(self.lookout.look() + 0.01)
        self.lookout.look()
        return self.manager.fed > fed

    def tells(self) -> str:
        """Return what people are told of what hangs, empty where nothing is."""
        assert self.watch.troubles is not None
        return self.watch.troubles.standing().get(lookout.HANGS, "")


@pytest.fixture
def folder(tmp_path: Path, broker_with_passwords: Any, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the configuration of a bench that has every part, and everything in a hurry."""
    made = broker_with_passwords
    broker = f"{{host: 127.0.0.1, port: {made.port}, user: {made.user}, password_file: {made.password_file}}}"
    (tmp_path / "temp1_input").write_text("31000\n", encoding="ascii")
    (tmp_path / "config.yaml").write_text(CONFIG.format(folder=tmp_path, broker=broker), encoding="utf-8")
    for of, name, value in HURRIED:
        monkeypatch.setattr(of, name, value)
    asked = opening._broker
    monkeypatch.setattr(opening, "_broker", lambda keys, name: replace(asked(keys, name), keepalive_s=1))
    return tmp_path


@pytest.fixture
def manners() -> Iterator[Manners]:
    made = Manners()
    yield made
    made.over.set()


def hold_up(monkeypatch: pytest.MonkeyPatch, place: Place, hold: Hold) -> None:
    """Let whoever comes to a place be held up there, once it was called often enough."""
    calls, does = 0, getattr(place.of, place.name)

    def instead(*arguments: Any, **named: Any) -> Any:
        nonlocal calls
        calls += 1
        if calls > place.after:
            hold()
        return does(*arguments, **named)

    monkeypatch.setattr(place.of, place.name, instead)


@pytest.mark.parametrize("held", [*SHORT, *LONG], ids=": ".join)
def test_no_thread_hangs_or_ends_unseen(
    folder: Path,
    manners: Manners,
    broker_with_passwords: Any,
    monkeypatch: pytest.MonkeyPatch,
    held: tuple[str, str],
) -> None:
    where, manner = held
    hold_up(monkeypatch, PLACES[where], getattr(manners, manner))
    with ExitStack() as opened:
        daemon = Daemon(folder / "config.yaml", opened)
        opened.callback(daemon.close)
        opened.callback(manners.over.set)
        found = ""
        for attempt in range(150):
            if attempt == 5 and "from afar" in where:
                broker_with_passwords.publish("class/asked", "{}")
            was_fed = daemon.look()
            if manners.happened.is_set():
                begun_anew = "it is begun anew" if manners.went_on.is_set() else ""
                found = ("" if was_fed else "the watchdog starves") or daemon.tells() or begun_anew
            if found:
                break
    gc.collect()
    assert manners.happened.is_set(), "nobody came to that place"
    assert found, "alive and deaf"
    print(f"{where}, {manner}: {found}")


def test_a_daemon_that_is_left_alone_is_fed_all_the_time_and_tells_nothing(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for of, name, value in HURRIED[:-1]:  # a busy machine may need more than a hurried part is given
        monkeypatch.setattr(of, name, 20 * value)
    with ExitStack() as opened:
        daemon = Daemon(folder / "config.yaml", opened)
        opened.callback(daemon.close)
        unfed = [attempt for attempt in range(25) if not daemon.look()]
        assert unfed == []
        assert daemon.tells() == ""
