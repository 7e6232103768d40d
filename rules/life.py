"""The life of an alarm: what becomes of it as its condition comes and goes and people act.

The rule of this file: the table says all. Its states and events are those of ANSI/ISA-18.2-2016 and
IEC 62682 (state diagram as two public texts reproduce it; latching, and what follows shelving, from memory);
the documentation's diagram is made from it.
"""

from typing import Final, NamedTuple

NORMAL: Final = "normal"
UNACKNOWLEDGED: Final = "unacknowledged"
ACKNOWLEDGED: Final = "acknowledged"
RETURNED_UNACKNOWLEDGED: Final = "returned unacknowledged"
LATCHED_UNACKNOWLEDGED: Final = "latched unacknowledged"
LATCHED_ACKNOWLEDGED: Final = "latched acknowledged"
SHELVED: Final = "shelved"
SUPPRESSED: Final = "suppressed by design"
OUT_OF_SERVICE: Final = "out of service"

#: Who is told nothing of an alarm: a person for a time, a rule, or people at work on the tray or its sensor.
SET_ASIDE: Final = (SHELVED, SUPPRESSED, OUT_OF_SERVICE)
#: Over, and kept until somebody resets it.
LATCHED: Final = (LATCHED_UNACKNOWLEDGED, LATCHED_ACKNOWLEDGED)
STATES: Final = (
    NORMAL,
    UNACKNOWLEDGED,
    ACKNOWLEDGED,
    RETURNED_UNACKNOWLEDGED,
    *LATCHED,
    *SET_ASIDE,
)

RAISED: Final = "raised"
RETURNED: Final = "returned"
ACKNOWLEDGE: Final = "acknowledge"
RESET: Final = "reset"
SHELVE: Final = "shelve"
UNSHELVE: Final = "unshelve"
SUPPRESS: Final = "suppress"
RELEASE: Final = "release"
REMOVE: Final = "remove from service"
RESTORE: Final = "return to service"
ALARM_AGAIN: Final = "alarm again"

#: How an alarm set aside comes back, by what set it aside.
_COMES_BACK: Final = {SHELVED: UNSHELVE, SUPPRESSED: RELEASE, OUT_OF_SERVICE: RESTORE}


class Step(NamedTuple):
    """One line of the table: a state, what happens, and the state after it.

    ``when`` narrows it: whether the alarm latches, or whether its condition is abnormal at that moment.
    """

    state: str
    event: str
    after: str
    when: str = ""


LATCHES: Final = "it latches"
ABNORMAL: Final = "its condition is abnormal"
NOT_ABNORMAL: Final = "its condition is normal"

_LIVING: Final = tuple(state for state in STATES if state not in SET_ASIDE)

TABLE: Final = (
    Step(NORMAL, RAISED, UNACKNOWLEDGED),
    Step(UNACKNOWLEDGED, ACKNOWLEDGE, ACKNOWLEDGED),
    Step(UNACKNOWLEDGED, RETURNED, RETURNED_UNACKNOWLEDGED),
    Step(UNACKNOWLEDGED, RETURNED, LATCHED_UNACKNOWLEDGED, LATCHES),
    Step(ACKNOWLEDGED, RETURNED, NORMAL),
    Step(ACKNOWLEDGED, RETURNED, LATCHED_ACKNOWLEDGED, LATCHES),
    Step(ACKNOWLEDGED, ALARM_AGAIN, UNACKNOWLEDGED),
    Step(RETURNED_UNACKNOWLEDGED, ACKNOWLEDGE, NORMAL),
    Step(RETURNED_UNACKNOWLEDGED, RAISED, UNACKNOWLEDGED),
    Step(LATCHED_UNACKNOWLEDGED, ACKNOWLEDGE, LATCHED_ACKNOWLEDGED),
    Step(LATCHED_UNACKNOWLEDGED, RAISED, UNACKNOWLEDGED),
    Step(LATCHED_ACKNOWLEDGED, RESET, NORMAL),
    Step(LATCHED_ACKNOWLEDGED, RAISED, UNACKNOWLEDGED),
    *(Step(state, SHELVE, SHELVED) for state in _LIVING),
    *(Step(state, SUPPRESS, SUPPRESSED) for state in _LIVING),
    *(Step(state, REMOVE, OUT_OF_SERVICE) for state in _LIVING),
    *(
        step
        for state, event in _COMES_BACK.items()
        for step in (Step(state, event, UNACKNOWLEDGED, ABNORMAL), Step(state, event, NORMAL, NOT_ABNORMAL))
    ),
)


class Impossible(ValueError):
    """What somebody wants of an alarm cannot be done in its present state."""


def after(state: str, event: str, *, latches: bool, is_abnormal: bool) -> str:
    """Return the state of an alarm after an event.

    Args:
        state: One of ``STATES``.
        event: What happens.
        latches: Whether the alarm stays until somebody resets it.
        is_abnormal: Whether its condition is abnormal once the event has happened.

    Raises:
        Impossible: Somebody's act has no place in this state. What the condition does always has one: where
            the table is silent, the state stays.
    """
    holds = {"": True, LATCHES: latches, ABNORMAL: is_abnormal, NOT_ABNORMAL: not is_abnormal}
    found = [step for step in TABLE if (step.state, step.event) == (state, event) and holds[step.when]]
    if found:
        # The narrower line goes before the general one.
        return max(found, key=lambda step: bool(step.when)).after
    if event in (RAISED, RETURNED):
        return state
    raise Impossible(f"{event}: the alarm is {state}")


def diagram() -> str:
    """Return the table as a Mermaid state diagram."""
    lines = ["stateDiagram-v2", f"    [*] --> {_name(NORMAL)}"]
    lines += [f"    {_name(state)}: {state}" for state in STATES]
    lines += [
        f"    {_name(one.state)} --> {_name(one.after)}: {one.event}{f' [{one.when}]' if one.when else ''}"
        for one in TABLE
    ]
    return "\n".join(lines)


def _name(state: str) -> str:
    return state.replace(" ", "_")
