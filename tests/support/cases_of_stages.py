"""Worked examples of what a change of stage does to verdicts, runs and alarms."""

from case_terms import Case, air, high, humid, low, minutes, plan, raised, returned, stage

from wardian.rules.crops import Limit
from wardian.rules.plans import TrayPlan

HOUR = minutes(60)


def two_stages(old: Limit | None, new: Limit | None, at_ms: int) -> TrayPlan:
    """A tray that goes from callusing to rooting, each with a band of air temperature or none."""
    limits = [{} if one is None else {"air_temperature": one} for one in (old, new)]
    return plan((0, stage("callusing", **limits[0])), (at_ms, stage("rooting", **limits[1])))


DAY_ZERO = [
    Case(
        "before day 0 nothing is judged and a run starts at day 0",
        [plan((minutes(10), stage("callusing", air_temperature=high(26, on_ms=minutes(5)))))],
        air((0, 27), (4, 27), (8, 27), (12, 27)),
        HOUR,
        [raised(minutes(15))],
        details=[(27, 26, "callusing", minutes(10))],
    ),
    Case(
        "a verdict from before day 0 is no former verdict",
        [plan((minutes(3), stage("callusing", air_temperature=high(26))))],
        air((0, 27), (2, 25.5)),
        HOUR,
    ),
    Case(
        "what stands at day 0 and is beyond raises at once without a delay",
        [plan((minutes(3), stage("callusing", air_temperature=high(26))))],
        air((0, 27)),
        HOUR,
        [raised(minutes(3))],
        details=[(27, 26, "callusing", minutes(3))],
    ),
    Case(
        "what turned unknown exactly at day 0 is not judged",
        [plan((minutes(5), stage("callusing", air_temperature=high(26))))],
        air((0, 27)),
        HOUR,
    ),
    Case(
        "what is derived before day 0 is judged at day 0",
        [plan((minutes(3), stage("callusing", vapour_pressure_deficit=high(0.4, 0.05))))],
        air((0, 25)) + humid((0, 80)),
        HOUR,
        [raised(minutes(3), quantity="vapour_pressure_deficit")],
    ),
]

AT_THE_START = [
    Case(
        "what matures exactly at a stage's start does so under the old stage, then the new one judges",
        [two_stages(high(26, on_ms=minutes(10)), high(30), minutes(10))],
        air((0, 27), (5, 27), (9, 27.5)),
        HOUR,
        [raised(minutes(10)), returned(minutes(10))],
        details=[(27.5, 26, "callusing", 0), (27.5, 30, "rooting", minutes(10))],
    ),
    Case(
        "a return matures exactly at a stage's start under the old stage too",
        [two_stages(high(26, off_ms=minutes(4)), high(20, on_ms=minutes(1)), minutes(5))],
        air((0, 27), (1, 25), (5, 25)),
        HOUR,
        [raised(0), returned(minutes(5)), raised(minutes(6))],
        details=[
            (27, 26, "callusing", 0),
            (25, 26, "callusing", minutes(1)),
            (25, 20, "rooting", minutes(5)),
        ],
    ),
    Case(
        "a reading at a stage's start is judged under the new stage only",
        [two_stages(high(26), high(30), minutes(3))],
        air((0, 20), (3, 28)),
        HOUR,
    ),
    Case(
        "the value that a reading at the start replaces is not judged under the new stage",
        [two_stages(high(26), high(24), minutes(3))],
        air((0, 25), (3, 23.5)),
        HOUR,
    ),
    Case(
        "one millisecond before the start a reading is judged under both stages",
        [two_stages(high(26), high(30, off_ms=minutes(2)), minutes(3, 1))],
        air((0, 20), (3, 28)),
        HOUR,
        [raised(minutes(3)), returned(minutes(5, 1))],
        details=[(28, 26, "callusing", minutes(3)), (28, 30, "rooting", minutes(3, 1))],
    ),
]

CARRIED_OVER = [
    Case(
        "raised at the stage's start when the new delay is over already",
        [two_stages(high(26, on_ms=HOUR), high(25, on_ms=minutes(5)), minutes(9))],
        air((0, 27), (4, 27), (8, 28)),
        HOUR,
        [raised(minutes(9))],
        details=[(28, 25, "rooting", 0)],
    ),
    Case(
        "a longer delay of the new stage counts from the run's own start",
        [two_stages(high(26, on_ms=minutes(10)), high(26, on_ms=minutes(12)), minutes(9))],
        air((0, 27), (4, 27), (8, 27)),
        HOUR,
        [raised(minutes(12))],
        details=[(27, 26, "rooting", 0)],
    ),
    Case(
        "returned at the stage's start when the new delay is over already",
        [two_stages(high(26, off_ms=HOUR), high(26, off_ms=minutes(5)), minutes(9))],
        air((0, 27), (1, 25), (5, 25)),
        HOUR,
        [raised(0), returned(minutes(9))],
        details=[(27, 26, "callusing", 0), (25, 26, "rooting", minutes(1))],
    ),
    Case(
        "a run that ends at the stage's start does not go on under the new delay",
        [two_stages(high(26, on_ms=HOUR), high(26, on_ms=minutes(5)), minutes(10))],
        air((0, 27), (5, 27), (10, 20)),
        HOUR,
    ),
    Case(
        "a run that unknown time ends at the stage's start does not go on either",
        [two_stages(high(26, on_ms=HOUR), high(26, on_ms=minutes(5)), minutes(10))],
        air((0, 27), (5, 27)),
        HOUR,
    ),
    Case(
        "a former verdict stays in the new deadband, and its run goes on",
        [two_stages(high(26, on_ms=minutes(7)), high(28, 2, on_ms=minutes(7)), minutes(5))],
        air((0, 27), (4, 27)),
        HOUR,
        [raised(minutes(7))],
        details=[(27, 28, "rooting", 0)],
    ),
    Case(
        "a former verdict stays through unknown time and a change of stage",
        [two_stages(high(26, on_ms=HOUR), high(28, 2, on_ms=minutes(5)), minutes(10))],
        air((0, 27), (20, 27)),
        HOUR,
        [raised(minutes(25))],
        details=[(27, 28, "rooting", minutes(20))],
    ),
    Case(
        "a stricter limit starts a run at the stage's start",
        [two_stages(high(26), high(24, on_ms=minutes(3)), minutes(4))],
        air((0, 25), (4.5, 25)),
        HOUR,
        [raised(minutes(7))],
        details=[(25, 24, "rooting", minutes(4))],
    ),
    Case(
        "a wider limit starts a within run at the stage's start",
        [two_stages(high(26), high(30, off_ms=minutes(3)), minutes(4))],
        air((0, 27), (4.5, 27)),
        HOUR,
        [raised(0), returned(minutes(7))],
        details=[(27, 26, "callusing", 0), (27, 30, "rooting", minutes(4))],
    ),
    Case(
        "a raised alarm carries over in silence",
        [two_stages(high(26), high(26), minutes(10))],
        air((0, 27), (20, 27), (21, 25)),
        HOUR,
        [raised(0), returned(minutes(21))],
        details=[(27, 26, "callusing", 0), (25, 26, "rooting", minutes(21))],
    ),
]

APPEARING = [
    Case(
        "a limit that the former stage lacked has no former verdict",
        [two_stages(low(10), high(26), minutes(3))],
        air((0, 27), (2, 25.5)),
        HOUR,
    ),
    Case(
        "the run of a limit that the former stage lacked starts at the stage's start",
        [two_stages(None, high(26, on_ms=minutes(3)), minutes(4))],
        air((0, 27), (4.5, 27)),
        HOUR,
        [raised(minutes(7))],
        details=[(27, 26, "rooting", minutes(4))],
    ),
    Case(
        "a limit that the new stage lacks returns at that instant",
        [two_stages(high(26), low(10), minutes(3))],
        air((0, 27), (4, 28)),
        HOUR,
        [raised(0), returned(minutes(3))],
        details=[(27, 26, "callusing", 0), (27, 26, "rooting", minutes(3))],
    ),
    Case(
        "it returns in silence as well",
        [two_stages(high(26), None, minutes(10))],
        air((0, 27)),
        HOUR,
        [raised(0), returned(minutes(10))],
        details=[(27, 26, "callusing", 0), (None, 26, "rooting", minutes(10))],
    ),
    Case(
        "what matures as its limit goes is raised and returns",
        [two_stages(high(26, on_ms=minutes(5)), None, minutes(5))],
        air((0, 27)),
        HOUR,
        [raised(minutes(5)), returned(minutes(5))],
    ),
    Case(
        "a run that was not over when its limit went is forgotten",
        [two_stages(high(26, on_ms=minutes(5)), None, minutes(5, -1))],
        air((0, 27)),
        HOUR,
    ),
    Case(
        "a stage without the limit makes its verdict forgotten",
        [
            plan(
                (0, stage("callusing", air_temperature=high(26))),
                (minutes(3), stage("striking")),
                (minutes(4), stage("rooting", air_temperature=high(26))),
            )
        ],
        air((0, 27), (3.5, 25.5)),
        HOUR,
        [raised(0), returned(minutes(3))],
    ),
    Case(
        "a limit that comes back raises anew",
        [
            plan(
                (0, stage("callusing", air_temperature=high(26))),
                (minutes(2), stage("striking")),
                (minutes(4), stage("rooting", air_temperature=high(26))),
            )
        ],
        air((0, 27)),
        HOUR,
        [raised(0), returned(minutes(2)), raised(minutes(4))],
    ),
    Case(
        "a stage changes each limit on its own",
        [two_stages(low(20), low(22), minutes(3)), plan((0, stage("rooting")), tray="tray-b")],
        air((0, 21), (3, 21)) + air((0, 1), tray="tray-b"),
        HOUR,
        [raised(minutes(3), "low")],
    ),
]

CASES_OF_STAGES = [*DAY_ZERO, *AT_THE_START, *CARRIED_OVER, *APPEARING]
