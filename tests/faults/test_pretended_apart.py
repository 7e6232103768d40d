"""What is pretended or played again never comes among the readings of a real bench."""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, closing
from pathlib import Path
from typing import Final

import pytest
from card_bench import CardBench
from receivers import http_receiver

from wardian.adapters.stores.lock import holder
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon import wiring
from wardian.rules.errors import AdapterError, StoreFailed
from wardian.rules.ports import Round

WaitUntil = Callable[..., None]
PRETENDED: Final = "sensors:\n  - {name: pretended, kind: simulator, every: 10 s}\n"


@pytest.fixture
def bench(tmp_path: Path) -> Iterator[CardBench]:
    with http_receiver() as receiver:
        bench = CardBench(tmp_path, receiver)
        yield bench
        bench.kill()


def pretends(bench: CardBench) -> None:
    """Let the configuration name a simulator in place of its probe."""
    path = bench.folder / "config.yaml"
    before, _, rest = path.read_text().partition("sensors:\n")
    path.write_text(f"{before}{PRETENDED}notifiers:{rest.partition('notifiers:')[2]}")


@pytest.mark.fault(45)
@pytest.mark.parametrize(
    "words",
    [
        ("replay", "card/wardian.db"),
        ("simulate", "--out", "card/wardian.db"),
        ("export", "--out", "card/wardian.db"),
        ("report", "--out", "card/wardian.db"),
        ("plot", "tray-a", "--out", "card/wardian.db"),
    ],
    ids=lambda words: words[0],
)
def test_no_command_reads_or_writes_the_database_in_place_of_a_file(
    bench: CardBench, words: tuple[str, ...]
) -> None:
    SqlStore.open(bench.database).close()
    before = bench.database.read_bytes()
    done = bench.say(*words)
    assert done.returncode == 2
    assert "Traceback" not in done.stderr
    assert bench.database.read_bytes() == before


@pytest.mark.fault(45)
def test_a_pretended_bench_is_not_kept_among_the_readings_of_a_real_one(bench: CardBench) -> None:
    with closing(SqlStore.open(bench.database)) as store:
        store.keep(Round(1, notes={"bench": "real"}))
    before = bench.database.read_bytes()
    pretends(bench)
    config = wiring.load_config(bench.folder / "config.yaml")
    with (
        ExitStack() as opened,
        pytest.raises(AdapterError, match=r"a real bench.*name another file in store\.url"),
    ):
        wiring.open_watch(config, opened)
    done = bench.say("run")
    assert (done.returncode, done.stdout) == (2, "")
    assert "a real bench" in done.stderr
    assert bench.database.read_bytes() == before


@pytest.mark.fault(45)
@pytest.mark.journey
def test_a_real_bench_is_marked_as_such_and_keeps_a_pretended_daemon_out_while_it_runs(
    bench: CardBench, wait_until: WaitUntil
) -> None:
    bench.start()
    wait_until(lambda: holder(bench.database) is not None, "the daemon", 30)
    wait_until(lambda: _note(bench.database) == "real", "its mark", 30)
    pretends(bench)
    assert bench.say_outside("run").returncode == 3
    assert bench.stop() == 0
    assert bench.say_outside("run").returncode == 2


def _note(database: Path) -> object:
    try:
        with closing(SqlStore.open(database, read_only=True)) as store:
            return store.notes().get("bench")
    except StoreFailed:
        return None  # it is not made yet
