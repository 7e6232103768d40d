"""Worked examples of what stands, what is beyond, when an alarm is raised and when it returns."""

from math import inf, nextafter

from case_terms import Case, air, high, low, minutes, raised, returned, stage, urgent, warm
from case_terms import plan as tray_plan

HOUR = minutes(60)

STANDING = [
    Case(
        "a reading stands for the hold and no longer",
        [warm(high(26, on_ms=minutes(5)))],
        air((0, 27)),
        HOUR,
        [raised(minutes(5))],
        details=[(27, 26, "callusing", 0)],
    ),
    Case(
        "a delay one millisecond longer than the hold needs a second reading",
        [warm(high(26, on_ms=minutes(5, 1)))],
        air((0, 27)),
        HOUR,
    ),
    Case(
        "a next reading at exactly time plus hold leaves no unknown time",
        [warm(high(26, on_ms=minutes(10)))],
        air((0, 27), (5, 28)),
        HOUR,
        [raised(minutes(10))],
        details=[(28, 26, "callusing", 0)],
    ),
    Case(
        "a next reading one millisecond after the hold leaves a millisecond unknown",
        [warm(high(26, on_ms=minutes(8)))],
        air((0, 27), (5 + 1 / 60_000, 28)),
        HOUR,
    ),
    Case(
        "a next reading ends the one before it",
        [warm(high(26, on_ms=minutes(3)))],
        air((0, 27), (2, 20)),
        HOUR,
    ),
    Case(
        "each tray has a hold of its own",
        [
            warm(high(26, on_ms=minutes(8))),
            tray_plan(
                (0, stage("callusing", air_temperature=high(26, on_ms=minutes(8)))),
                tray="tray-b",
                hold_ms=minutes(10),
            ),
        ],
        air((0, 27)) + air((0, 27), tray="tray-b"),
        HOUR,
        [raised(minutes(8), tray="tray-b")],
    ),
    Case(
        "a reading of another quantity ends nothing",
        [warm(high(26, on_ms=minutes(5)))],
        [*air((0, 27)), *[one._replace(quantity="medium_temperature") for one in air((2, 20))]],
        HOUR,
        [raised(minutes(5))],
    ),
]

BEYOND = [
    Case("a value exactly on a high limit is not beyond it", [warm(high(26))], air((0, 26)), HOUR),
    Case(
        "the next number above a high limit is beyond it",
        [warm(high(26))],
        air((0, nextafter(26, inf))),
        HOUR,
        [raised(0)],
        details=[(nextafter(26, inf), 26, "callusing", 0)],
    ),
    Case("a value exactly on a low limit is not beyond it", [warm(low(20))], air((0, 20)), HOUR),
    Case(
        "the next number below a low limit is beyond it",
        [warm(low(20))],
        air((0, nextafter(20, -inf))),
        HOUR,
        [raised(0, "low")],
    ),
    Case(
        "a value exactly a deadband under a high limit is within",
        [warm(high(26))],
        air((0, 27), (1, 25)),
        HOUR,
        [raised(0), returned(minutes(1))],
        details=[(27, 26, "callusing", 0), (25, 26, "callusing", minutes(1))],
    ),
    Case(
        "the next number above that is still beyond",
        [warm(high(26))],
        air((0, 27), (1, nextafter(25, inf))),
        HOUR,
        [raised(0)],
    ),
    Case(
        "a value exactly a deadband over a low limit is within",
        [warm(low(20))],
        air((0, 19.75), (1, 20.75), (2, 21)),
        HOUR,
        [raised(0, "low"), returned(minutes(2), "low")],
    ),
    Case("in the deadband before any verdict is within", [warm(high(26))], air((0, 25.5)), HOUR),
    Case(
        "in the deadband the verdict beyond stays",
        [warm(high(26, on_ms=minutes(3)))],
        air((0, 27), (1, 25.5)),
        HOUR,
        [raised(minutes(3))],
        details=[(25.5, 26, "callusing", 0)],
    ),
    Case(
        "the verdict beyond stays through unknown time",
        [warm(high(26, on_ms=minutes(6)))],
        air((0, 27), (20, 25.5), (24, 25.5)),
        HOUR,
        [raised(minutes(26))],
        details=[(25.5, 26, "callusing", minutes(20))],
    ),
    Case(
        "the verdict within stays through unknown time",
        [warm(high(26))],
        air((0, 20), (20, 25.5), (24, 26)),
        HOUR,
    ),
    Case(
        "without a deadband a value on the limit is within",
        [warm(high(26, 0))],
        air((0, 26.25), (1, 26)),
        HOUR,
        [raised(0), returned(minutes(1))],
    ),
    Case(
        "each limit of a band has a verdict of its own",
        [warm(urgent(low(18)), low(20), high(26), urgent(high(28)))],
        air((0, 27), (1, 28.25), (2, 27), (3, 25)),
        HOUR,
        [
            raised(0),
            raised(minutes(1), "high_high"),
            returned(minutes(2), "high_high"),
            returned(minutes(3)),
        ],
    ),
]

RAISED_CASES = [
    Case(
        "raised between two readings at exactly the run's start plus the delay",
        [warm(high(26, on_ms=minutes(10)))],
        air((1, 27), (5, 28), (9, 29), (13, 30)),
        HOUR,
        [raised(minutes(11))],
        details=[(29, 26, "callusing", minutes(1))],
    ),
    Case(
        "a reading at the very instant that stays beyond is the value printed",
        [warm(high(26, on_ms=minutes(10)))],
        air((0, 27), (5, 28), (10, 29)),
        HOUR,
        [raised(minutes(10))],
        details=[(29, 26, "callusing", 0)],
    ),
    Case(
        "a run that a reading ends at the very instant still counts",
        [warm(high(26, on_ms=minutes(10), off_ms=minutes(9)))],
        air((0, 27), (5, 28), (10, 20)),
        HOUR,
        [raised(minutes(10))],
        details=[(28, 26, "callusing", 0)],
    ),
    Case(
        "a run that a reading ends one millisecond earlier does not count",
        [warm(high(26, on_ms=minutes(10, 1), off_ms=minutes(9)))],
        air((0, 27), (5, 28), (10, 20)),
        HOUR,
    ),
    Case(
        "unknown time breaks the run, which starts anew at the next reading beyond",
        [warm(high(26, on_ms=minutes(7)))],
        air((0, 27), (6, 27), (11, 27)),
        HOUR,
        [raised(minutes(13))],
        details=[(27, 26, "callusing", minutes(6))],
    ),
    Case(
        "a reading within breaks the run",
        [warm(high(26, on_ms=minutes(5)))],
        air((0, 27), (4, 25), (4.5, 27), (8, 27)),
        HOUR,
        [raised(minutes(9.5))],
    ),
    Case(
        "raised once, however long it lasts",
        [warm(high(26, on_ms=minutes(1)))],
        air((0, 27), (4, 27), (20, 28), (24, 28)),
        HOUR,
        [raised(minutes(1))],
    ),
]

RETURNED_CASES = [
    Case(
        "returned at exactly the within run's start plus the delay",
        [warm(high(26, off_ms=minutes(6)))],
        air((0, 27), (1, 25), (5, 24)),
        HOUR,
        [raised(0), returned(minutes(7))],
        details=[(27, 26, "callusing", 0), (24, 26, "callusing", minutes(1))],
    ),
    Case(
        "a within run that silence ends at the very instant counts too",
        [warm(high(26, off_ms=minutes(5)))],
        air((0, 27), (1, 25)),
        HOUR,
        [raised(0), returned(minutes(6))],
    ),
    Case(
        "a reading beyond breaks the within run",
        [warm(high(26, off_ms=minutes(5)))],
        air((0, 27), (1, 25), (3, 27), (4, 25), (8, 25)),
        HOUR,
        [raised(0), returned(minutes(9))],
    ),
    Case(
        "a reading in the deadband carries the within run on",
        [warm(high(26, off_ms=minutes(5)))],
        air((0, 27), (1, 25), (3, 25.75)),
        HOUR,
        [raised(0), returned(minutes(6))],
        details=[(27, 26, "callusing", 0), (25.75, 26, "callusing", minutes(1))],
    ),
    Case(
        "unknown time breaks the within run",
        [warm(high(26, off_ms=minutes(6)))],
        air((0, 27), (1, 25), (10, 25), (14, 25)),
        HOUR,
        [raised(0), returned(minutes(16))],
    ),
    Case(
        "silence never returns an alarm",
        [warm(high(26))],
        air((0, 27)),
        minutes(10_000),
        [raised(0)],
    ),
    Case(
        "without an off-delay a return shares the instant of its raise",
        [warm(high(26, on_ms=minutes(5)))],
        air((0, 27), (5, 20)),
        HOUR,
        [raised(minutes(5)), returned(minutes(5))],
        details=[(27, 26, "callusing", 0), (20, 26, "callusing", minutes(5))],
    ),
    Case(
        "an alarm that returned can be raised again",
        [warm(high(26))],
        air((0, 27), (1, 25), (2, 27)),
        HOUR,
        [raised(0), returned(minutes(1)), raised(minutes(2))],
    ),
    Case(
        "raised is printed before returned though the return matured first",
        [warm(high(26, off_ms=minutes(2)))],
        air((0, 27), (1, 25), (3, 27)),
        HOUR,
        [raised(0), raised(minutes(3)), returned(minutes(3))],
    ),
    Case(
        "printed in order of time, tray, quantity and limit",
        [
            tray_plan(
                (
                    0,
                    stage(
                        "callusing",
                        relative_humidity=[urgent(low(80)), low(90)],
                        air_temperature=[high(26), urgent(high(28))],
                    ),
                ),
                tray=tray,
            )
            for tray in ("tray-b", "tray-a")
        ],
        [
            reading
            for tray in ("tray-b", "tray-a")
            for reading in (
                *[one._replace(quantity="relative_humidity") for one in air((0, 50), tray=tray)],
                *air((0, 30), tray=tray),
            )
        ],
        HOUR,
        [
            raised(0, what, quantity, tray)
            for tray in ("tray-a", "tray-b")
            for quantity, what in (
                ("air_temperature", "high"),
                ("air_temperature", "high_high"),
                ("relative_humidity", "low"),
                ("relative_humidity", "low_low"),
            )
        ],
    ),
]

END = [
    Case(
        "what matures exactly at the end is printed",
        [warm(high(26, on_ms=minutes(4)))],
        air((0, 27), (4, 27)),
        minutes(4),
        [raised(minutes(4))],
    ),
    Case(
        "what matures after the end is not printed",
        [warm(high(26, on_ms=minutes(4)))],
        air((0, 27), (3, 27)),
        minutes(4, -1),
    ),
    Case(
        "a reading at the very end is judged",
        [warm(high(26))],
        air((0, 20), (4, 27)),
        minutes(4),
        [raised(minutes(4))],
    ),
]

CASES_OF_LIMITS = [*STANDING, *BEYOND, *RAISED_CASES, *RETURNED_CASES, *END]
