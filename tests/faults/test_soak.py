"""Days on end through the whole daemon: what it takes does not grow, but the database as promised."""

from pathlib import Path

import pytest
from soaked import Outcome, Soaking, middle, soak

MIB = 1024 * 1024
#: With four trays of five probes, each every minute: an hour of a probe takes about 140 bytes once it is folded,
#: and about as much for its pieces of five minutes. [bytes a day]
MOST_STORE_A_DAY = 0.35 * MIB
MOST_LOG_A_DAY = 16 * 1024
MOST_WAL = 16 * MIB
MOST_RESIDENT_MIB = 128


def test_two_days_take_no_more_than_is_promised(tmp_path: Path) -> None:
    outcome = soak(tmp_path, Soaking(days=2.4, speed=14_400, every_s=60), sample_s=0.5)
    holds(outcome, days=2.4)


@pytest.mark.long
def test_a_month_takes_no_more_at_its_end_than_when_all_was_learnt(tmp_path: Path) -> None:
    outcome = soak(tmp_path, Soaking(days=30, speed=8_640, every_s=60))
    holds(outcome, days=30)
    settled = 10
    assert outcome.growth_of_a_usual_day("resident_mib", settled) < 0.5
    assert outcome.growth_a_day("used_bytes", settled) < MOST_STORE_A_DAY
    middles = [one for one in outcome.samples if 10 <= one.day < 20]
    ends = outcome.after(20)
    assert middle(ends, "handles") <= middle(middles, "handles") + 1
    assert middle(ends, "threads") <= middle(middles, "threads") + 1
    assert outcome.messages >= 30, "a summary a day at least"


def holds(outcome: Outcome, days: float) -> None:
    """Bounds that hold at any time."""
    assert outcome.exit_status == 0, outcome.log
    assert not [line for line in outcome.log.splitlines() if line.startswith(("ERROR", "CRITICAL"))]
    assert outcome.samples[-1].day >= days
    assert outcome.messages > 0
    assert outcome.pages > 0
    # 20 probes a minute; what each misreads is missing, and days that a busy machine let the pretended bench sleep through.
    assert outcome.readings >= 0.5 * days * 20 * 1440
    assert max(one.resident_mib for one in outcome.samples) <= MOST_RESIDENT_MIB
    assert max(one.wal_bytes for one in outcome.samples) < MOST_WAL
    assert max(one.handles for one in outcome.samples) <= 24
    assert max(one.threads for one in outcome.samples) <= 16
    assert outcome.samples[-1].log_bytes <= MOST_LOG_A_DAY * days
