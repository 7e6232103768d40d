"""The broker goes away, comes back with or without its memory, and the line to it goes bad in every way."""

from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from bad_line import CUTS, DROPS, GOOD, STALLS, SWALLOWS, TRICKLES, bad_line
from fault_bench import HOUR_MS, FaultBench, Settings, WaitUntil, fault_bench
from invariants import invariants
from networks import may_make_networks, networks

pytestmark = pytest.mark.needs_broker

AWAY = "no connection to broker"
WARM = {"medium_temperature": 22.5}
FINE = {"medium_temperature": 22.5, "relative_humidity": 93.5}


def measure(bench: FaultBench, count: int = 20) -> None:
    """Let both trays' probes tell the broker of some more minutes, each a new one."""
    before = len(bench.acknowledged) // 2
    for tray in ("tray-a", "tray-b"):
        minutes = range(before, before + count)
        bench.publish(
            tray,
            [(bench.begin_ms + one * 60_000, {"medium_temperature": 22 + one % 7 / 8}) for one in minutes],
        )


@pytest.mark.fault(12)
@pytest.mark.parametrize(
    "ends", [["kill"], pytest.param(["stop", "kill", "kill", "stop"] * 3, marks=pytest.mark.long)]
)
def test_a_broker_that_ends_and_is_started_again_is_named_and_nothing_is_lost(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, ends: list[str]
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        bench.start()
        measure(bench)
        bench.has_kept_all()
        for end in ends:
            wait_until(lambda: has_saved(broker.log), "the broker to save what it took")
            getattr(broker, end)()
            bench.status_says(AWAY)
            broker.start()
            measure(bench)
            bench.has_kept_all()
        bench.until(lambda: AWAY not in bench.run("status").stdout, "status to say that all is well", 20)
        invariants(bench)
        assert bench.stop() == 0


def has_saved(broker_log: str) -> bool:
    return broker_log.rfind("Saving in-memory database") > broker_log.rfind("Received PUB")


@pytest.mark.fault(12)
@pytest.mark.parametrize(
    ("manner", "protocol"),
    [
        (SWALLOWS, "5"),
        *(pytest.param(manner, "5", marks=pytest.mark.long) for manner in (DROPS, STALLS)),
        *(pytest.param(manner, "3.1.1", marks=pytest.mark.long) for manner in (DROPS, STALLS, SWALLOWS)),
    ],
)
def test_a_line_that_lets_nothing_through_is_named_and_nothing_is_lost_or_stored_twice(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, protocol: str, manner: str
) -> None:
    with bad_line(broker.port) as line:
        settings = Settings(port=line.port, keepalive="1 s", protocol=protocol)
        with fault_bench(tmp_path, broker, wait_until, settings) as bench:
            bench.start()
            line.turn(manner)
            measure(bench)
            bench.status_says(AWAY)
            line.turn(GOOD)
            bench.has_kept_all()
            invariants(bench)
            assert bench.stop() == 0


@pytest.mark.fault(12)
@pytest.mark.parametrize(
    ("protocol", "cuts"),
    [
        ("5", 1),
        pytest.param("5", 5, marks=pytest.mark.long),
        pytest.param("3.1.1", 5, marks=pytest.mark.long),
    ],
)
def test_a_line_that_trickles_and_one_that_cuts_packets_lose_nothing(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, protocol: str, cuts: int
) -> None:
    with bad_line(broker.port) as line:
        line.byte_s = 0.1 if cuts > 1 else 0.005
        settings = Settings(port=line.port, keepalive="1 s", protocol=protocol)
        with fault_bench(tmp_path, broker, wait_until, settings) as bench:
            bench.start()
            line.turn(TRICKLES)
            measure(bench, 2)
            bench.has_kept_all()  # slow, and alive
            for line.cut_after in range(30, 30 + 17 * cuts, 17):
                connections = line.connections
                line.turn(CUTS)
                measure(bench)
                wait_until(lambda: line.connections > connections, "the daemon to try again", 20)  # noqa: B023 - waited for at once
                line.turn(GOOD)
                bench.has_kept_all()
            invariants(bench)
            assert bench.stop() == 0


@pytest.mark.fault(12)
@pytest.mark.long
def test_at_the_usual_settings_a_dead_line_is_named_within_three_minutes(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    with bad_line(broker.port) as line:
        settings = Settings(port=line.port, keepalive="60 s")
        with fault_bench(tmp_path, broker, wait_until, settings) as bench:
            bench.start()
            line.turn(SWALLOWS)
            bench.status_says(AWAY, within_s=180)
            line.turn(GOOD)
            measure(bench)
            bench.has_kept_all()
            invariants(bench)


@pytest.mark.fault(14)
@pytest.mark.parametrize("protocol", ["5", pytest.param("3.1.1", marks=pytest.mark.long)])
def test_a_broker_that_lost_its_memory_is_subscribed_to_again_and_the_gap_stays_a_gap(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, protocol: str
) -> None:
    with fault_bench(tmp_path, broker, wait_until, Settings(protocol=protocol)) as bench:
        bench.start()
        bench.publish("tray-a", [(bench.minutes_ago(300 - minute), WARM) for minute in range(60)])
        bench.has_kept_all()
        subscriptions = bench.subscriptions
        broker.lose_everything()
        broker.start()
        wait_until(lambda: bench.subscriptions > subscriptions, "to be heard", 30)
        bench.publish("tray-a", [(bench.minutes_ago(60 - minute), WARM) for minute in range(60)])
        bench.has_kept_all()
        bench.until(lambda: ("sensor-silent", "returned") in silence(bench), "the gap to be told", 20)
        # Silence begins when the last reading stands no more and is told once it has lasted; it ends with the next reading.
        assert silence(bench) == [("sensor-silent", "raised"), ("sensor-silent", "returned")]
        assert "broker kept no session" in bench.log
        gap = [
            (one.time_ms, two.time_ms)
            for one, two in pairwise(bench.kept())
            if two.time_ms - one.time_ms > HOUR_MS
        ]
        assert len(gap) == 1
        with bench.store() as store:
            assert sum(len(points.times_ms) for points in store.chunk(gap[0][0] + 1, gap[0][1]).values()) == 0
        invariants(bench)
        assert bench.stop() == 0


def silence(bench: FaultBench) -> list[tuple[str, str]]:
    """Return what was told about the probe of tray-a's medium falling silent."""
    mine = ("tray-a", "medium_temperature", "sensor-silent")
    return [(alarm, event) for tray, name, alarm, event in bench.told() if (tray, name, alarm) == mine]


@pytest.mark.fault(3)
def test_a_probe_that_falls_silent_is_an_alarm_of_its_own_and_its_tray_is_never_called_within(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        bench.start()
        bench.publish("tray-a", [(bench.minutes_ago(200 - minute), FINE) for minute in range(100)])
        bench.publish("tray-b", [(bench.minutes_ago(200 - minute), FINE) for minute in range(200)])
        bench.has_kept_all()
        bench.status_says("sensor-silent")
        for one in bench.status()["trays"]:
            state = "unknown" if one["name"] == "tray-a" else "within"
            assert {quantity["state"] for quantity in one["quantities"].values() if quantity["low"]} == {
                state
            }
        assert {tray for tray, _, alarm, _ in bench.told() if alarm == "sensor-silent"} == {"tray-a"}
        wait_until(
            lambda: any(r.json()["alarm"] == "sensor-silent" for r in bench.receiver.requests), "a message"
        )
        bench.publish("tray-a", [(bench.minutes_ago(0), FINE)])
        bench.until(
            lambda: silence(bench)[-1:] == [("sensor-silent", "returned")], "the probe to be heard", 30
        )
        invariants(bench)
        assert bench.stop() == 0


@pytest.mark.fault(48)
@pytest.mark.skipif(not may_make_networks(), reason="only root may make networks")
def test_another_address_of_our_own_is_nothing_that_lasts(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    with networks() as ours, bad_line(broker.port, ours.listen()) as line:
        settings = Settings(host=ours.far_end, port=line.port, before=ours.inside, keepalive="1 s")
        with fault_bench(tmp_path, broker, wait_until, settings) as bench:
            bench.start()
            measure(bench)
            bench.has_kept_all()
            connections = line.connections
            ours.move_to("10.77.0.77")
            measure(bench)
            bench.has_kept_all()
            assert line.connections > connections
            bench.until(lambda: AWAY not in bench.run("status").stdout, "status to say that all is well", 20)
            invariants(bench, all_sent=False)  # no message leaves this network
            assert bench.stop() == 0
