"""Wherever an alarm's life stands when the process is killed, there it goes on."""

import subprocess
import sys
from pathlib import Path

import pytest
from led_lives import TOO_WARM, fields_of

from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.lives import Lives
from wardian.rules import life

#: A way to every state.
WAYS = {
    life.NORMAL: (life.RAISED, life.ACKNOWLEDGE, life.RETURNED),
    life.UNACKNOWLEDGED: (life.RAISED,),
    life.ACKNOWLEDGED: (life.RAISED, life.ACKNOWLEDGE),
    life.RETURNED_UNACKNOWLEDGED: (life.RAISED, life.RETURNED),
    life.LATCHED_UNACKNOWLEDGED: ("latches", life.RAISED, life.RETURNED),
    life.LATCHED_ACKNOWLEDGED: ("latches", life.RAISED, life.RETURNED, life.ACKNOWLEDGE),
    life.SHELVED: (life.RAISED, life.SHELVE),
    life.SUPPRESSED: (life.RAISED, life.SUPPRESS),
    life.OUT_OF_SERVICE: (life.RAISED, life.REMOVE),
}
PROGRAM = Path(__file__).parent.parent / "support" / "lives_program.py"


def test_there_is_a_way_to_every_state() -> None:
    assert set(WAYS) == set(life.STATES)


@pytest.mark.parametrize("state", WAYS)
def test_a_life_goes_on_where_it_stood_when_the_process_was_killed(tmp_path: Path, state: str) -> None:
    database = tmp_path / "wardian.db"
    command = [sys.executable, str(PROGRAM), str(database), *WAYS[state]]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == "there\n"
        process.kill()
    store = SqlStore.open(database)
    again = Lives(store.last_of_alarms(), names=fields_of).of(TOO_WARM)
    store.close()
    is_over = life.RETURNED in WAYS[state]
    assert (again.state, again.is_abnormal) == (state, not is_over)
    assert again.fields.get("until_ms") is not None or state not in (life.SHELVED, life.SUPPRESSED)
