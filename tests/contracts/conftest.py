"""One store of each kind, for the suites that hold them against the same promises."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from wardian.adapters.stores.memory import MemoryStore
from wardian.adapters.stores.sql import SqlStore
from wardian.rules.ports import Store


@pytest.fixture(params=["memory", "file"])
def store(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Store]:
    kept: Store = MemoryStore() if request.param == "memory" else SqlStore.open(tmp_path / "bench.db")
    yield kept
    kept.close()
