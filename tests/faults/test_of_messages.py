"""What the wire does to messages: they come twice, late, shuffled, retained, or not at all."""

from pathlib import Path
from typing import Any

import pytest
from fault_bench import WaitUntil, fault_bench
from invariants import invariants

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
