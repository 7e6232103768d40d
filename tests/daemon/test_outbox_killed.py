import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

from receivers import HttpReceiver, http_receiver

from wardian.adapters.stores.sql import SqlStore

MESSAGES = 40
#: At which requests, taken and never answered, the process is killed.
KILLS = (1, 7, 8, 20, 33)
WaitUntil = Callable[..., None]


def started(program: Path, database: Path, receiver: HttpReceiver) -> subprocess.Popen[bytes]:
    return subprocess.Popen([sys.executable, str(program), str(database), receiver.address, str(MESSAGES)])


def test_a_process_killed_again_and_again_loses_nothing_and_repeats_one_key_a_kill(
    tmp_path: Path, wait_until: WaitUntil
) -> None:
    program = Path(__file__).parent.parent / "support" / "outbox_program.py"
    database = tmp_path / "wardian.db"
    with http_receiver() as receiver:
        for receiver.silent_at in KILLS:
            process = started(program, database, receiver)
            wait_until(lambda: len(receiver.requests) == receiver.silent_at, "the next request", 30.0)
            process.kill()
            process.wait(10)
        assert started(program, database, receiver).wait(30) == 0
        keys = [request.headers["Idempotency-Key"] for request in receiver.requests]
    assert list(dict.fromkeys(keys)) == [f"key-{number}" for number in range(MESSAGES)]
    assert len(keys) == MESSAGES + len(KILLS)
    store = SqlStore.open(database)
    assert store.waiting() == []
    assert store.counts()["sent"] == MESSAGES
    store.close()
