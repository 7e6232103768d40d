"""How far a look at the bench reads back: never years, whatever was judged so far."""

from collections.abc import Collection

import pytest
from base_config import BASE, built

from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon.look import bench_now
from wardian.rules.engine import Engine
from wardian.rules.ports import Round
from wardian.rules.readings import Chunk, Reading

NOW_MS = 1_772_452_800_000
HOUR_MS = 3_600_000
BASE_TRAYS = ("tray-a", "tray-b")


class _Watched(MemoryStore):
    """Remembers from when on it was read."""

    def __init__(self) -> None:
        super().__init__()
        self.from_ms: list[int] = []

    def chunk(
        self,
        from_ms: int,
        to_ms: int,
        quantities: Collection[str] | None = None,
        trays: Collection[str] | None = None,
    ) -> Chunk:
        if quantities is None:
            self.from_ms.append(from_ms)
        return super().chunk(from_ms, to_ms, quantities, trays)


@pytest.mark.parametrize(
    ("judged", "hours_back"),
    [((), 48), (("tray-a",), 2), (BASE_TRAYS, 1)],
    ids=["nothing", "one tray", "all"],
)
def test_a_look_reads_what_was_not_judged_yet_and_no_years(judged: tuple[str, ...], hours_back: int) -> None:
    config, store = built(BASE), _Watched()
    engine = Engine((tray.plan for tray in config.trays), {})
    engine.advance(NOW_MS - HOUR_MS)
    states = {name: engine.trays[name].state() for name in judged}
    readings = [
        Reading(at, name, "relative_humidity", 92.0)
        for at in (NOW_MS - 300 * 24 * HOUR_MS, NOW_MS - 60_000)
        for name in BASE_TRAYS
    ]
    store.keep(Round(NOW_MS, readings=readings, states=states))
    now = bench_now(config, store, NOW_MS, {})
    newest_ms = NOW_MS if judged else NOW_MS - 60_000
    assert store.from_ms[0] == newest_ms - hours_back * HOUR_MS
    assert len(now.trays) == len(BASE_TRAYS)
    assert all(
        one.value == 92.0 for tray in now.trays for one in tray.quantities if one.name == "relative_humidity"
    )
