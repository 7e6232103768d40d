"""Sensors that nobody configured, that were exchanged, or of which there are two under one name."""

from pathlib import Path
from typing import Any

import pytest
from fault_bench import WaitUntil, fault_bench, pack
from invariants import invariants


@pytest.mark.needs_broker
@pytest.mark.fault(44)
def test_sensors_that_nobody_configured_are_told_once_and_listed(
    tmp_path: Path, broker: Any, wait_until: WaitUntil
) -> None:
    with fault_bench(tmp_path, broker, wait_until) as bench:
        bench.start()
        good = pack(bench.minutes_ago(1), {"medium_temperature": 22.5})
        bench.publish_lines("class/tray-z/probes", [good])  # a tray that nobody has
        bench.publish_lines(
            "class/tray-a/probes", [good.replace('"temp"', '"temp-2"')]
        )  # a probe with a new name
        bench.publish_lines("plain/tray-a/fan", ["1"])  # a quantity there is none of
        bench.publish_lines("plain/tray-a/medium_temperature", ["rubbish"])  # a known one, gone mad
        bench.status_says("heard, and not configured")
        bench.until(lambda: len(bench.status()["daemon"]["strangers"]) == 3, "all three", 20)
        said = bench.run("status").stdout
        for words in (
            "class/tray-z/probes: unknown tray 'tray-z'",
            "name 'temp-2' is not configured",
            "quantity 'fan'",
        ):
            assert words in said
        assert "! Unknown sensor" in said
        assert [event for *_, alarm, event in bench.told() if alarm == "unknown-sensor"] == ["raised"]
        invariants(bench)
        assert bench.stop() == 0
