"""The life of an alarm beside the state diagram of ANSI/ISA-18.2-2016 and IEC 62682.

The lines of the data are from two public texts that reproduce the diagram, or from memory where marked;
the standards' own pages were not seen.
"""

import csv
from pathlib import Path

import pytest

from wardian.rules import life

DATA = Path(__file__).parent / "data/alarm_transitions.csv"
LINES = list(csv.DictReader(DATA.read_text(encoding="utf-8").splitlines()))
STATES = {
    "rtn_unacknowledged": life.RETURNED_UNACKNOWLEDGED,
    **{state.replace(" ", "_"): state for state in life.STATES},
}
EVENTS = {
    "condition_becomes_abnormal": life.RAISED,
    "condition_returns_to_normal": life.RETURNED,
    "acknowledge": life.ACKNOWLEDGE,
    "re_alarm": life.ALARM_AGAIN,
    "reset": life.RESET,
    "shelve": life.SHELVE,
    "unshelve": life.UNSHELVE,
    "shelf_time_expires": life.UNSHELVE,
    "suppress_by_design": life.SUPPRESS,
    "design_suppression_ends": life.RELEASE,
    "remove_from_service": life.REMOVE,
    "return_to_service": life.RESTORE,
}
#: An optional variant of the standard that is not ours: every alarm waits for its acknowledgement.
NOT_TAKEN = {("unacknowledged", "condition_returns_to_normal [no acknowledgement required]")}


@pytest.mark.parametrize("line", LINES, ids=lambda line: f"{line['state']}: {line['event']}")
def test_every_step_of_the_standard_is_ours(line: dict[str, str]) -> None:
    is_ours = (line["state"], line["event"]) not in NOT_TAKEN
    event, _, when = line["event"].partition(" [")
    latches, is_abnormal = when == "latching alarm]", when == "condition abnormal]"
    state, after = STATES[line["state"]], STATES[line["next_state"]]
    try:
        ends = life.after(state, EVENTS[event], latches=latches, is_abnormal=is_abnormal)
        assert (ends == after) == is_ours
    except life.Impossible:
        # An act without effect is refused, and the person told so.
        assert "no effect" in line["mark"]
        assert state == after


def test_our_table_has_no_step_that_the_standard_lacks() -> None:
    theirs = {
        (STATES[line["state"]], EVENTS[line["event"].partition(" [")[0]], STATES[line["next_state"]])
        for line in LINES
    }
    assert {(step.state, step.event, step.after) for step in life.TABLE} <= theirs
