"""Whatever comes and goes, is acknowledged or set aside, and wherever the daemon is cut: what people may rely on."""

from datetime import time
from typing import NamedTuple

from hypothesis import given, settings
from hypothesis import strategies as st
from told_people import (
    COLD,
    COLD_MEDIUM,
    DIM,
    DRY,
    FAR_COLD,
    HOUR_MS,
    LISBON,
    LIT_LONG,
    MINUTE_MS,
    Bench,
    Kind,
    at,
    person,
)

from wardian.daemon.people import HIGH
from wardian.daemon.quiet import Quiet
from wardian.rules import life
from wardian.rules.ports import Alarm

BEGIN_MS = at("03-28 12:00")
KINDS = (COLD, COLD_MEDIUM, FAR_COLD, DRY, DIM, LIT_LONG)
NIGHT = Quiet(time(22), time(6, 30), LISBON)
PEOPLE = (
    person("awake"),
    person("sleeper", quiet=NIGHT),
    person("caller", hears=HIGH),
    person("second", after_ms=HOUR_MS, quiet=NIGHT),
)
ACTS = (life.ACKNOWLEDGE, life.SHELVE, life.UNSHELVE, life.REMOVE, life.RESTORE)


class Step(NamedTuple):
    """Some time passes, and an alarm comes or goes, or somebody does something to it, if it can be done."""

    pause_s: int
    tray: str
    kind: Kind
    act: str


STEPS = st.lists(
    st.builds(
        Step,
        st.sampled_from([0, 0, 10, 30, 60, 300, 1000, 7200, 20_000]),
        st.sampled_from(["tray-a", "tray-b", "tray-c", "tray-d"]),
        st.sampled_from(KINDS),
        st.sampled_from(["", "", "", *ACTS]),
    ),
    min_size=1,
    max_size=30,
)


#: Known of, and told once more because something of it came back from where it was set aside.
TO_BE_TOLD_ANEW = -1


def alarm_of(step: Step) -> Alarm:
    return Alarm(step.tray, step.kind.quantity, step.kind.condition)


def take(bench: Bench, step: Step, now_ms: int) -> None:
    before = bench.lives.of(alarm_of(step))
    if not step.act:
        (bench.goes if before.is_abnormal else bench.comes)(step.kind, now_ms, step.tray)
        return
    try:
        life.after(before.state, step.act, latches=False, is_abnormal=before.is_abnormal)
    except life.Impossible:
        return
    until_ms = now_ms + 3 * HOUR_MS if step.act == life.SHELVE else None
    bench.do(step.act, step.kind, now_ms, step.tray, until_ms)


def gone_through(steps: list[Step], *, cuts: bool = False, looks: bool = False) -> Bench:
    """Return a bench on which all that happened, and on which every promise was looked at on the way."""
    bench, now_ms = Bench(PEOPLE, cuts=cuts), BEGIN_MS
    for step in steps:
        now_ms += step.pause_s * 1000
        take(bench, step, now_ms)
        bench.until(now_ms)
        if looks:
            bench.look(now_ms)
        bench.end_shelves(now_ms)
        look_at_what_is_urgent(bench, now_ms)
    bench.until(now_ms + 20 * HOUR_MS)
    look_at_what_is_urgent(bench, now_ms + 20 * HOUR_MS)
    return bench


def look_at_what_is_urgent(bench: Bench, now_ms: int) -> None:
    """What stands, is urgent and waits to be acknowledged has been told within a minute, or is known of."""
    told = {
        (trouble.tray, name): trouble.told
        for trouble in bench.telling._troubles
        for name, part in trouble.parts.items()
        if part.stands and part.raised_ms + MINUTE_MS <= now_ms
    }
    for trouble in bench.telling._troubles:
        for kind in (FAR_COLD, DRY):
            name = f"{kind.quantity}/{kind.condition}"
            alarm = Alarm(trouble.tray, kind.quantity, kind.condition)
            if bench.lives.of(alarm).state == life.UNACKNOWLEDGED and (trouble.tray, name) in told:
                known = told[trouble.tray, name]
                assert {"awake", "sleeper", "caller"} <= known.keys()
                ranks = {known[who].rank for who in ("awake", "sleeper", "caller")}
                assert ranks <= {HIGH, TO_BE_TOLD_ANEW}


def test_what_an_act_lets_go_is_told_at_once_though_it_was_due_before() -> None:
    of_a, of_b, of_d = ("tray-a", COLD), ("tray-b", FAR_COLD), ("tray-d", FAR_COLD)
    steps = [
        Step(0, *of_a, ""),
        Step(0, *of_a, life.SHELVE),
        Step(0, "tray-a", FAR_COLD, ""),
        Step(0, *of_b, ""),
        Step(0, "tray-d", COLD, ""),
        Step(0, *of_d, ""),
        Step(0, *of_d, life.SHELVE),
        Step(20_000, *of_a, life.ACKNOWLEDGE),
    ]
    assert gone_through(steps, cuts=True).got == gone_through(steps).got


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_wherever_it_is_cut_and_however_often_it_looks_the_same_messages_come(steps: list[Step]) -> None:
    whole = gone_through(steps)
    assert gone_through(steps, cuts=True).got == whole.got
    assert gone_through(steps, looks=True).got == whole.got


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_no_two_messages_share_a_key_and_nothing_is_told_to_people_who_did_not_ask_for_it(
    steps: list[Step],
) -> None:
    bench = gone_through(steps)
    keys = [got.message.key for got in bench.got]
    assert len(keys) == len(set(keys))
    for got in bench.got:
        fields = got.message.fields
        if got.person == "caller":
            assert fields["priority"] == "high"
        if got.person in ("sleeper", "second") and NIGHT.until_ms(got.time_ms) is not None:
            assert fields["priority"] == "high"


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_that_it_is_over_is_told_only_to_who_was_told_that_it_began(steps: list[Step]) -> None:
    spoken_of: set[tuple[str, str]] = set()
    for got in gone_through(steps).got:
        message = got.message
        if message.subject.endswith("returned to normal"):
            assert (got.person, message.fields["tray"]) in spoken_of
        spoken_of |= {(got.person, one["tray"]) for one in (message.fields, *message.fields["also"])}


@settings(max_examples=100, deadline=None)
@given(STEPS)
def test_what_stands_for_people_stands_in_a_trouble_and_nothing_else_does(steps: list[Step]) -> None:
    bench = gone_through(steps)
    standing = {
        Alarm(trouble.tray, *name.split("/"))
        for trouble in bench.telling._troubles
        for name, part in trouble.parts.items()
        if part.stands
    }
    alarms = [
        Alarm(tray, kind.quantity, kind.condition)
        for tray in ("tray-a", "tray-b", "tray-c", "tray-d")
        for kind in KINDS
    ]
    lives = {alarm: bench.lives.of(alarm) for alarm in alarms}
    assert standing == {alarm for alarm, one in lives.items() if one.is_abnormal and not one.is_set_aside}
