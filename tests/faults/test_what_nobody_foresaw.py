"""An error that nobody foresaw, in each callback and job by its name: the watching goes on, and it is told."""

import pytest
from fake_clock import FakeClock
from loop_rig import BEGIN_MS, FakeSensor, Rig

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.mqtt_connection import Taken
from wardian.adapters.mqtt_session import Session, Wanted
from wardian.adapters.yaml_file import parse
from wardian.daemon.beside import Extra
from wardian.daemon.guarded import IN_A_ROW, REST_S
from wardian.daemon.library import library
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import OwnTroubles
from wardian.daemon.polling import Polling
from wardian.daemon.recording import Recording
from wardian.rules.records import CARE, Record

CANARY = "canary-4711"

pytestmark = pytest.mark.fault(2)


class Bench(Rig):
    """A loop whose own troubles are told."""

    def __init__(self) -> None:
        super().__init__()
        troubles = OwnTroubles(library(parse).watch, self.teller)  # type: ignore[arg-type]  # it needs no more of a teller
        self.loop.failing.troubles = troubles
        self.loop.beside = [troubles]

    def told(self) -> list[str]:
        return [
            entry.fields["message"]
            for entry in self.store.journal()
            if entry.fields["condition"] == "internal-error"
        ]

    def read_for(self, minutes: int) -> None:
        for number in range(minutes):
            self.arrive(20.0, minutes=number)
            self.round_at(number + 0.1)


class Part:
    """Takes part in the rounds, and breaks where it is told to."""

    def __init__(self, breaks: str) -> None:
        self.breaks = breaks
        self.tries = 0
        self.rounds = 0

    def work(self, _now_ms: int, _lives: Lives) -> Extra:
        self.rounds += 1
        self._do("work")
        return Extra()

    def committed(self) -> None:
        self._do("committed")

    def _do(self, step: str) -> None:
        if step == self.breaks:
            self.tries += 1
            raise KeyError(CANARY)


@pytest.mark.parametrize("step", ["work", "committed"])
def test_a_part_after_judging_is_left_out_for_a_while_and_told_after_three_times(
    step: str, caplog: pytest.LogCaptureFixture
) -> None:
    bench, part = Bench(), Part(step)
    bench.loop.beside.append(part)
    minutes = round(REST_S / 60)
    bench.read_for(IN_A_ROW * minutes + 3)
    assert part.tries == IN_A_ROW + 1
    assert bench.told() == [
        f"Internal error: Part ({step}) broke 3 times in a row (KeyError), the watching goes on without it."
    ]
    assert len(list(bench.store.readings(0, 2**62))) == IN_A_ROW * minutes + 3
    assert len(bench.sensor.acknowledged) == IN_A_ROW * minutes + 3
    assert sum(bool(record.exc_info) for record in caplog.records) == 1, "once with all of it is enough"


@pytest.mark.parametrize("step", ["work", "committed"])
def test_a_part_before_judging_is_tried_in_every_round(step: str) -> None:
    bench, part = Bench(), Part(step)
    bench.loop.before.append(part)
    bench.read_for(4)
    assert (part.tries, part.rounds) == (4, 4)
    assert len(list(bench.store.readings(0, 2**62))) == 4


def test_what_could_not_be_taken_up_of_the_records_is_taken_up_as_soon_as_that_works() -> None:
    bench = Bench()
    works = False

    def replan(_tray: str, _records: object) -> None:
        if not works:
            raise KeyError(CANARY)

    stuck_ms = {"tray-a": BEGIN_MS - 86_400_000}
    bench.loop.before = [Recording(bench.store, bench.teller.tongue, stuck_ms, replan)]
    fields = {"event": "watered"}
    bench.store.record(lambda _: [Record(CARE, BEGIN_MS, BEGIN_MS, "tray-a", who="a teacher", fields=fields)])
    bench.read_for(3)
    assert bench.told() != []
    works = True
    bench.arrive(20.0, minutes=4)
    bench.round_at(4.1)
    assert [one.fields["condition"] for one in bench.store.journal() if one.tray == "tray-a"] == ["care"]


@pytest.mark.parametrize("step", ["decode", "acknowledge", "health"])
def test_a_sensor_that_breaks_in_any_of_its_parts_ends_nothing(
    step: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Bench()
    whole = getattr(bench.sensor, step)
    bench.arrive(20.0)

    def broken(*_: object) -> None:
        raise KeyError(CANARY)

    monkeypatch.setattr(bench.sensor, step, broken)
    bench.read_for(4)
    assert [words for words in bench.told() if step in words] == (
        [] if step == "health" else bench.told()[:1]
    )
    monkeypatch.setattr(bench.sensor, step, whole)
    bench.arrive(30.0, minutes=5)
    bench.round_at(5.5)
    bench.arrive(30.0, minutes=6.5)
    bench.round_at(7)
    assert ("raised", "tray-a") in [(one.fields["event"], one.tray) for one in bench.store.journal()]
    refused = [one.why for _, one in bench.store.refused()]
    assert all(CANARY not in why for why in refused)
    assert len(refused) == (5 if step == "decode" else 0)


def test_a_poll_that_breaks_is_counted_and_the_next_one_comes() -> None:
    class Broken(FakeSensor):
        name = "chips"
        poll_every_s: float | None = 1.0
        polls = 0

        def poll(self) -> None:
            self.polls += 1
            raise KeyError(CANARY)

    told: list[tuple[str, str]] = []
    sensor = Broken()
    polling = Polling([sensor], FakeClock())
    polling.slips._happened = lambda name, words: told.append((name, words))
    for _ in range(4):
        polling._poll(sensor)
    assert polling.slips.ever["chips (poll)"] == 4
    words = "chips (poll) broke 3 times in a row (KeyError), the watching goes on without it."
    assert told == [("internal-error", words)]


CALLBACKS = sorted(name for name in vars(Session) if name.startswith("_on_"))


@pytest.mark.needs_broker
@pytest.mark.parametrize("callback", CALLBACKS)
def test_an_error_in_any_callback_of_a_broker_ends_no_thread(
    callback: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise KeyError(CANARY)

    broken.__name__ = callback
    monkeypatch.setattr(Session, callback, broken)
    settings = BrokerSettings(host="127.0.0.1", port=1, client_id="bench-12")
    session = Session("wire", settings, Wanted((("bench/#", 1),), 60, 100), FakeClock())
    monkeypatch.setattr(session, "_connect", lambda: None)
    session.start(lambda _: Taken.TAKEN, lambda: None)
    guarded = getattr(session._client, callback.removeprefix("_"))
    guarded(session._client, None)
    assert session.counts["callback failed"] == 1
    session._is_started = False
