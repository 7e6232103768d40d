import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules import life

ACTS = sorted({step.event for step in life.TABLE} - {life.RAISED, life.RETURNED})


def lived(events: list[str]) -> tuple[str, bool]:
    state, is_abnormal = life.NORMAL, False
    for event in events:
        is_abnormal = {life.RAISED: True, life.RETURNED: False}.get(event, is_abnormal)
        try:
            state = life.after(state, event, latches=False, is_abnormal=is_abnormal)
        except life.Impossible:
            assert event in ACTS
    return state, is_abnormal


@given(st.lists(st.sampled_from([life.RAISED, life.RETURNED, *ACTS]), max_size=30))
def test_a_life_never_leaves_the_table_and_never_forgets_what_stands(events: list[str]) -> None:
    state, is_abnormal = lived(events)
    assert state in life.STATES
    if state not in life.SET_ASIDE:
        assert (state in (life.UNACKNOWLEDGED, life.ACKNOWLEDGED)) == is_abnormal


def test_what_is_set_aside_comes_back_as_its_condition_is() -> None:
    for aside, back in (
        (life.SHELVE, life.UNSHELVE),
        (life.SUPPRESS, life.RELEASE),
        (life.REMOVE, life.RESTORE),
    ):
        assert lived([life.RAISED, life.ACKNOWLEDGE, aside, back])[0] == life.UNACKNOWLEDGED
        assert lived([life.RAISED, aside, life.RETURNED, back])[0] == life.NORMAL


def test_an_alarm_that_latches_waits_for_its_reset() -> None:
    latched = life.after(life.ACKNOWLEDGED, life.RETURNED, latches=True, is_abnormal=False)
    assert latched == life.LATCHED_ACKNOWLEDGED
    assert life.after(latched, life.RESET, latches=True, is_abnormal=False) == life.NORMAL


def test_an_act_without_effect_is_refused_with_the_state_in_words() -> None:
    with pytest.raises(life.Impossible, match="acknowledge: the alarm is normal"):
        life.after(life.NORMAL, life.ACKNOWLEDGE, latches=False, is_abnormal=False)


def test_the_diagram_shows_every_step_once() -> None:
    lines = life.diagram().splitlines()
    assert lines[0] == "stateDiagram-v2"
    assert len(set(lines)) == len(lines) == 2 + len(life.STATES) + len(life.TABLE)
