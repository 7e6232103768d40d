"""The beat follows whole rounds, to real receivers, and never holds one up."""

import json
import logging
import subprocess
import threading
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

import pytest
from base_config import built
from fake_clock import NOON_MS, FakeClock
from loop_rig import FlakyStore, Rig
from receivers import HttpReceiver, http_receiver

from wardian.daemon.beat import Beat
from wardian.daemon.config import Config
from wardian.daemon.config_outward import BeatKeys
from wardian.daemon.opening import open_beat
from wardian.rules.errors import DeliveryFailed, StoreFailed
from wardian.rules.ports import Act

WaitUntil = Callable[..., None]
EVERY_S: Final = 300.0
LOCKED: Final = StoreFailed("store", "the database is locked", may_heal=True)
BASE: Final = """\
site: {{timezone: UTC}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-02-25}}]
crops: {{coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{air_temperature: {{high: 25 °C}}}}}}]}}}}
beat: {beat}
"""


class DeafStore(FlakyStore):
    """Cannot say what was asked while it is deaf."""

    is_deaf = False

    def acts(self) -> dict[int, Act]:
        if self.is_deaf:
            raise LOCKED
        return super().acts()


class Pulse:
    """A beat on a loop, with a receiver that may be slow or away."""

    def __init__(self) -> None:
        self.beats: list[Mapping[str, Any]] = []
        self.sent = threading.Semaphore(0)
        self.going_on = threading.Event()
        self.going_on.set()
        self.slip: Exception | None = None
        self.works = True
        self.clock = FakeClock()
        self.store = DeafStore()
        self.rig = Rig(self.store)
        self.beat = Beat(self._send, EVERY_S, self.clock, lambda: self.works)
        self.rig.loop.beside = [self.beat]
        self.beat.start()

    def _send(self, fields: Mapping[str, Any]) -> None:
        try:
            self.going_on.wait(20)
            if self.slip:
                raise self.slip
            self.beats.append(fields)
        finally:
            self.sent.release()

    def round(self, after_s: float = 10.0) -> None:
        self.clock.step(round(after_s * 1000))
        self.rig.clock.step(round(after_s * 1000))
        self.rig.loop.round([self.rig.sensor])

    def is_sent(self) -> None:
        """Wait until one beat more was tried, and the thread waits for the next."""
        assert self.sent.acquire(timeout=10)
        assert self.beat._idle.wait(10)


@pytest.fixture
def pulse() -> Iterator[Pulse]:
    made = Pulse()
    yield made
    made.going_on.set()
    made.beat.stop()


def test_the_first_whole_round_is_followed_by_a_beat_and_then_one_now_and_then(pulse: Pulse) -> None:
    pulse.round()
    pulse.is_sent()
    for _ in range(29):
        pulse.round()
    assert pulse.beats == [{"event": "beat", "time": "2026-03-02T12:00:10.000Z"}]
    assert NOON_MS == 1_772_452_800_000
    pulse.round()
    pulse.is_sent()
    assert [beat["time"] for beat in pulse.beats][1:] == ["2026-03-02T12:05:10.000Z"]


def test_no_beat_follows_a_round_that_was_not_kept(pulse: Pulse) -> None:
    pulse.rig.arrive(20.0)
    pulse.rig.store.failures = [LOCKED] * 40
    for _ in range(40):
        pulse.round()
    assert pulse.beats == []
    pulse.round()
    pulse.is_sent()
    assert len(pulse.beats) == 1


def test_no_beat_follows_a_round_in_which_the_store_could_not_be_asked(pulse: Pulse) -> None:
    pulse.store.is_deaf = True
    pulse.round()
    assert pulse.beat._idle.is_set()
    pulse.store.is_deaf = False
    pulse.round()
    pulse.is_sent()


def test_no_beat_is_sent_while_another_part_stands_still(pulse: Pulse) -> None:
    pulse.works = False
    pulse.round()
    assert pulse.beat._idle.is_set()
    pulse.works = True
    pulse.round()
    pulse.is_sent()
    assert len(pulse.beats) == 1


def test_a_beat_that_hangs_holds_no_round_up_and_is_not_made_up_for(pulse: Pulse) -> None:
    pulse.going_on.clear()
    for _ in range(200):
        pulse.round()
    assert pulse.beats == []
    pulse.going_on.set()
    pulse.is_sent()
    assert len(pulse.beats) == 1
    pulse.round()
    pulse.is_sent()
    assert [beat["time"] for beat in pulse.beats] == ["2026-03-02T12:00:10.000Z", "2026-03-02T12:33:30.000Z"]


def test_a_failure_is_logged_once_without_where_it_went(
    pulse: Pulse, caplog: pytest.LogCaptureFixture
) -> None:
    with caplog.at_level(logging.INFO):
        for slip in (
            DeliveryFailed("beat", "https://secret.example:8443 gave no answer within 10 s"),
            DeliveryFailed("beat", "broker secret.example:1883: refuses us: Not authorized"),
            RuntimeError("secret.example"),
            None,
            DeliveryFailed("beat", "http://secret.example cannot be reached: refused"),
        ):
            pulse.slip = slip
            pulse.round(EVERY_S)
            pulse.is_sent()
    told = [(one.getMessage(), getattr(one, "why", "")) for one in caplog.records]
    assert told == [
        ("beat not taken", "the address gave no answer within 10 s"),
        ("beat is taken again", ""),
        ("beat not taken", "the address cannot be reached: refused"),
    ]
    assert "secret" not in caplog.text


# ------------------------------------------------------------------------------- on a real wire


def beat_of(config: Config) -> BeatKeys:
    assert config.outward.beat is not None
    return config.outward.beat


@pytest.fixture
def receiver() -> Iterator[HttpReceiver]:
    with http_receiver() as running:
        yield running


def test_a_beat_is_posted_to_an_address_from_a_private_file(receiver: HttpReceiver, tmp_path: Path) -> None:
    file = tmp_path / "address"
    file.write_text(f"{receiver.address}/secret-path\n", encoding="utf-8")
    file.chmod(0o600)
    send = open_beat(beat_of(built(BASE.format(beat=f"{{url_file: {file}}}"))))
    send({"event": "beat", "time": "2026-03-02T12:00:10.000Z"})
    (request,) = receiver.requests
    assert request.path == "/secret-path"
    fields = json.loads(request.body)
    assert (fields["event"], fields["time"]) == ("beat", "2026-03-02T12:00:10.000Z")


@pytest.mark.parametrize("manner", ["silent", "drip", "drop", "babble"])
def test_a_receiver_that_behaves_badly_costs_a_bounded_time(receiver: HttpReceiver, manner: str) -> None:
    receiver.manner = manner
    text = BASE.format(beat=f"{{url: '{receiver.address}/x', timeout: 300 ms}}")
    send = open_beat(beat_of(built(text)))
    with pytest.raises(DeliveryFailed):
        send({"event": "beat", "time": "now"})


@pytest.mark.needs_broker
def test_a_beat_is_published_at_its_topic_and_not_retained(
    broker_with_passwords: Any, wait_until: WaitUntil
) -> None:
    broker = broker_with_passwords
    place = f"host: {broker.address}, port: {broker.port}, user: {broker.user}, password_file: {broker.password_file}"
    send = open_beat(beat_of(built(BASE.format(beat=f"{{broker: {{{place}}}, topic: class/beat}}"))))
    command = ["mosquitto_sub", "-h", broker.address, "-p", str(broker.port), *broker.options]
    command += ["-t", "class/beat", "-C", "1", "-W", "20", "-F", "%r %p"]
    with subprocess.Popen(command, stdout=subprocess.PIPE, encoding="utf-8") as client:
        wait_until(lambda: "Sending SUBACK" in broker.log, "a listener")
        send({"event": "beat", "time": "now"})
        out, _ = client.communicate(timeout=20)
    retained, _, payload = out.partition(" ")
    assert retained == "0"
    assert json.loads(payload) == {"event": "beat", "time": "now"}
