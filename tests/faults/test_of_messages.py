"""What the wire does to messages: they come twice, late, shuffled, retained, or not at all."""

import json
import re
from pathlib import Path
from random import Random
from typing import Any

import pytest
from fault_bench import MINUTE_MS, FaultBench, WaitUntil, fault_bench, pack
from invariants import invariants

from wardian.adapters.timestamps import text_of
from wardian.rules.readings import Reading

pytestmark = pytest.mark.needs_broker


@pytest.mark.fault(10)
def test_a_message_that_comes_three_times_is_one_reading_and_tells_nobody_anything(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        bench.start()
        packs = [(bench.minutes_ago(30 - minute), {"medium_temperature": 22.5}) for minute in range(30)]
        for _ in range(3):
            bench.publish("tray-a", packs)
        bench.has_kept_all()
        assert len(bench.kept()) == 30
        invariants(bench)
        assert bench.stop() == 0


@pytest.mark.fault(9)
@pytest.mark.parametrize("times", [1, pytest.param(3, marks=pytest.mark.long)])
def test_what_is_retained_is_one_reading_with_its_age_however_often_it_comes(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, times: int
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        old_ms = bench.minutes_ago(90)
        broker.publish("class/tray-a/probes", pack(old_ms, {"medium_temperature": 22.5}), retain=True)
        broker.publish("plain/tray-a/relative_humidity", "93.5", retain=True)  # of unknown age
        bench.acknowledged.add(Reading(old_ms, "tray-a", "medium_temperature", 22.5))
        for _ in range(times):
            bench.start()
            bench.has_kept_all()
            assert bench.stop() == 0
        bench.start()
        for _ in range(times):  # and again, on new connections of the same run
            subscriptions = bench.subscriptions
            broker.kill()
            broker.start()
            bench.until(lambda: bench.subscriptions > subscriptions, "the next connection", 30)  # noqa: B023 - waited for at once
        assert bench.kept() == list(bench.acknowledged)
        (tray_a, _) = bench.status()["trays"]
        (medium, humidity) = (
            tray_a["quantities"][name] for name in ("medium_temperature", "relative_humidity")
        )
        assert (medium["state"], medium["value"], medium["last_value"]) == ("unknown", None, 22.5)
        assert medium["age_s"] >= 90 * 60
        assert (humidity["state"], humidity["last_value"]) == ("unknown", None)
        assert re.search(
            r"unknown, was 22\.5 °C 1(\.5)? h .*ago|unknown, was 22\.5 °C 9\d min ago",
            bench.run("status").stdout,
        )
        invariants(bench)


@pytest.mark.fault(11)
@pytest.mark.parametrize("hours", [6, pytest.param(25, marks=pytest.mark.long)])
def test_a_backlog_in_any_order_gives_the_alarms_that_it_would_have_given_in_time(
    tmp_path: Path, broker: Any, wait_until: WaitUntil, hours: int
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        bench.start()
        bench.kill()  # its session stays; nobody watches while all this is measured
        minutes = list(range(hours * 60))
        Random(7).shuffle(minutes)
        last_ms = bench.minutes_ago(10)
        packs = [(last_ms - minute * MINUTE_MS, course(minute)) for minute in minutes]
        bench.publish("tray-a", packs)
        bench.start()
        bench.has_kept_all()
        expected = replayed_as(bench, packs)
        bench.until(lambda: len(of_limits(bench)) >= len(expected), "the alarms of the backlog", 30)
        assert of_limits(bench) == expected
        assert len(expected) == len(set(expected)) >= hours // 3
        with bench.store() as store:
            assert store.late(0, 2**62) == {}

        # What comes when its time was judged already is kept, counted, and raises nothing.
        too_late = [
            (last_ms - 90 * MINUTE_MS + 1000 * second + 500, {"medium_temperature": 10.0})
            for second in range(30)
        ]
        bench.publish("tray-a", too_late)
        bench.has_kept_all()
        with bench.store() as store:
            assert list(store.late(0, 2**62).values()) == [30]
        assert of_limits(bench) == expected
        assert "Readings too late to be judged: 30" in bench.run("summary").stdout
        invariants(bench)
        assert bench.stop() == 0


def course(minute: int) -> dict[str, float]:
    """Return what is measured so many minutes before the end: every third hour the mat is cold for 40 min."""
    return {"medium_temperature": 17.5 if minute % 180 >= 140 else 22.5, "relative_humidity": 93.5}


def of_limits(bench: FaultBench) -> list[tuple[str, str, str]]:
    """Return what the journal tells about limits: when, which quantity, and what."""
    told = [entry.fields for entry in bench.journal() if entry.fields["limit"]]
    return [
        (one["time"], one["quantity"], one["event"]) for one in told if one["event"] in ("raised", "returned")
    ]


def replayed_as(bench: FaultBench, packs: list[tuple[int, dict[str, float]]]) -> list[tuple[str, str, str]]:
    """Return what a replay of the same readings, in order, tells about limits."""
    rows = ["time,tray,quantity,value,unit"]
    for time_ms, values in sorted(packs, key=lambda one: one[0]):
        rows += [f"{text_of(time_ms)},tray-a,{name},{value}," for name, value in values.items()]
    (bench.folder / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    lines = [json.loads(line) for line in bench.run("replay", "readings.csv", "--json").stdout.splitlines()]
    return [(one["time"], one["quantity"], one["event"]) for one in lines if one["limit"]]
