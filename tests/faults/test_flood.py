"""A hostile publisher beside true sensors: theirs are all kept, and judged in time, and memory stays within bounds."""

import re
from pathlib import Path

import hostile
import pytest
from flooded import TRUE_TRAYS, FloodedBench, Outcome, broker

from wardian.adapters.shares import BURST, LASTING_PER_S, LONGEST_BACKLOG

pytestmark = [pytest.mark.fault(38), pytest.mark.needs_broker]

#: 10,000 messages a second of every form, those of a megabyte excepted, which no loopback carries so often.
MIXED = {
    "impostor": 3_000.0,
    "impostor_acknowledged": 3_000.0,
    "rubbish": 1_000.0,
    "made_up": 2_948.0,
    "strange": 50.0,
    "huge": 2.0,
}
JUDGED_WITHIN_S = 60
MOST_MIB = 128


@pytest.mark.threat(3)
def test_what_is_true_is_kept_and_judged_beside_a_flood_of_seconds(tmp_path: Path) -> None:
    with broker(tmp_path) as port:
        holds(FloodedBench(tmp_path, port, commit_every="1 s").run(5, MIXED))


@pytest.mark.long
@pytest.mark.parametrize("protocol", ["5", "3.1.1"])
def test_what_is_true_is_kept_and_judged_beside_a_flood_of_a_minute(tmp_path: Path, protocol: str) -> None:
    with broker(tmp_path) as port:
        outcome = FloodedBench(tmp_path, port, protocol).run(60, MIXED)
    holds(outcome)
    assert outcome.hostile_messages >= 550_000


def holds(outcome: Outcome) -> None:
    assert outcome.exit_status == 0, outcome.log
    assert outcome.lost == set()
    assert set(outcome.judged_after_s) == set(TRUE_TRAYS)
    assert max(outcome.judged_after_s.values()) <= JUDGED_WITHIN_S
    assert 0 < outcome.peak_mib <= MOST_MIB
    is_bounded(outcome)
    is_told(outcome)


def is_bounded(outcome: Outcome) -> None:
    lasting = LASTING_PER_S * (outcome.seconds + 90)
    assert 0 < outcome.kept_of_attacked <= BURST + LONGEST_BACKLOG + lasting
    assert 0 < len(outcome.refused) <= 240 * (outcome.seconds + 90) / 60 + 50


def is_told(outcome: Outcome) -> None:
    assert re.search(r"Flood: about [\d,]+ messages a second come on topic", outcome.log)
    assert f"'class/{hostile.ATTACKED}/probes'" in outcome.log
    over = [source for source, why in outcome.refused if why.startswith("more than a share")]
    assert any(hostile.ATTACKED in source for source in over)
    shown = outcome.log + "".join(source + why for source, why in outcome.refused)
    assert not set(shown) & {"\x1b", "\r", "\0", "\u202e"}
