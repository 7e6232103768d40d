"""Worked examples of sensors that fall silent or bring what cannot be."""

from case_terms import Case, air, high, minutes, plan, raised, returned, stage, warm

from wardian.rules.plans import TrayPlan

HOUR = minutes(60)
SILENT = "sensor-silent"
IMPLAUSIBLE = "sensor-implausible"


def listened(delay_ms: int) -> TrayPlan:
    """A tray without bands that a sensor of air temperature should be heard from."""
    return plan((0, stage("callusing")), silent={"air_temperature": delay_ms})


def refused(*at_minutes: float) -> list[tuple[int, str, str]]:
    return [(minutes(minute), "tray-a", "air_temperature") for minute in at_minutes]


SILENT_CASES = [
    Case(
        "silent at the instant the value turned unknown plus the delay",
        [listened(minutes(10))],
        air((0, 20)),
        HOUR,
        [raised(minutes(15), SILENT)],
        details=[(None, None, "callusing", minutes(5))],
    ),
    Case(
        "heard again with the next reading",
        [listened(minutes(10))],
        air((0, 20), (20, 20)),
        minutes(20),
        [raised(minutes(15), SILENT), returned(minutes(20), SILENT)],
        details=[(None, None, "callusing", minutes(5)), (None, None, "callusing", minutes(20))],
    ),
    Case(
        "a reading before the delay is over keeps it from being silent",
        [listened(minutes(10))],
        air((0, 20), (15 - 1 / 60_000, 20)),
        minutes(20, -1),
    ),
    Case(
        "a reading exactly as the delay is over comes with both",
        [listened(minutes(10))],
        air((0, 20), (15, 20)),
        minutes(15),
        [raised(minutes(15), SILENT), returned(minutes(15), SILENT)],
    ),
    Case(
        "without a delay a reading at exactly the hold leaves no silence",
        [listened(0)],
        air((0, 20), (5, 20)),
        minutes(10, -1),
    ),
    Case(
        "without a delay a millisecond of silence is printed",
        [listened(0)],
        air((0, 20), (5 + 1 / 60_000, 20)),
        minutes(10),
        [raised(minutes(5), SILENT), returned(minutes(5, 1), SILENT)],
    ),
    Case(
        "silent twice",
        [listened(minutes(1))],
        air((0, 20), (10, 20), (20, 20)),
        minutes(20),
        [
            raised(minutes(6), SILENT),
            returned(minutes(10), SILENT),
            raised(minutes(16), SILENT),
            returned(minutes(20), SILENT),
        ],
    ),
    Case("a sensor never heard is not silent", [listened(minutes(1))], [], HOUR),
    Case("only configured sensors fall silent", [plan((0, stage("callusing")))], air((0, 20)), HOUR),
    Case(
        "silence is judged before day 0 too",
        [plan((HOUR, stage("callusing")), silent={"air_temperature": minutes(1)})],
        air((0, 20), (59, 20)),
        minutes(65),
        [raised(minutes(6), SILENT), returned(minutes(59), SILENT), raised(minutes(65), SILENT)],
        details=[
            (None, None, None, minutes(5)),
            (None, None, None, minutes(59)),
            (None, None, "callusing", minutes(64)),
        ],
    ),
    Case(
        "at a stage's start a silent sensor belongs to the new stage",
        [
            plan(
                (0, stage("callusing")),
                (minutes(6), stage("rooting")),
                silent={"air_temperature": minutes(1)},
            )
        ],
        air((0, 20)),
        HOUR,
        [raised(minutes(6), SILENT)],
        details=[(None, None, "rooting", minutes(5))],
    ),
    Case(
        "a limit is printed before silence of the same instant",
        [
            plan(
                (0, stage("callusing", air_temperature=high(26, on_ms=minutes(5)))),
                silent={"air_temperature": 0},
            )
        ],
        air((0, 27)),
        HOUR,
        [raised(minutes(5)), raised(minutes(5), SILENT)],
    ),
]

REFUSED_CASES = [
    Case(
        "a refused reading is implausible at once and ends no standing reading",
        [warm(high(26, on_ms=minutes(5)))],
        air((0, 27)),
        HOUR,
        [raised(minutes(2), IMPLAUSIBLE), raised(minutes(5))],
        refused(2),
        details=[(None, None, "callusing", minutes(2)), (27, 26, "callusing", 0)],
    ),
    Case(
        "believed again ten minutes after the last refused reading, raised once",
        [warm(high(26))],
        air((10, 20), (14, 20), (16, 20)),
        HOUR,
        [raised(0, IMPLAUSIBLE), returned(minutes(16), IMPLAUSIBLE)],
        refused(0, 5),
        details=[(None, None, "callusing", 0), (None, None, "callusing", minutes(16))],
    ),
    Case(
        "exactly ten minutes are enough",
        [warm(high(26))],
        air((10, 20)),
        HOUR,
        [raised(0, IMPLAUSIBLE), returned(minutes(10), IMPLAUSIBLE)],
        refused(0),
    ),
    Case(
        "one millisecond less is not enough",
        [warm(high(26))],
        air((10 - 1 / 60_000, 20)),
        HOUR,
        [raised(0, IMPLAUSIBLE)],
        refused(0),
    ),
    Case(
        "only its own series makes a sensor believed again",
        [warm(high(26)), plan((0, stage("callusing")), tray="tray-b")],
        air((11, 20), tray="tray-b"),
        HOUR,
        [raised(0, IMPLAUSIBLE)],
        refused(0),
    ),
    Case(
        "implausible again after it was believed",
        [warm(high(26))],
        air((10, 20), (21, 20), (30, 20)),
        HOUR,
        [
            raised(0, IMPLAUSIBLE),
            returned(minutes(10), IMPLAUSIBLE),
            raised(minutes(20), IMPLAUSIBLE),
            returned(minutes(30), IMPLAUSIBLE),
        ],
        refused(20, 0),
    ),
    Case(
        "a refused reading is not the first of a repeat",
        [warm(high(26))],
        air((0, 27)),
        HOUR,
        [raised(0), raised(0, IMPLAUSIBLE)],
        refused(0),
    ),
    Case(
        "a refused reading breaks no silence",
        [listened(minutes(10))],
        air((0, 20)),
        HOUR,
        [raised(minutes(7), IMPLAUSIBLE), raised(minutes(15), SILENT)],
        refused(7),
    ),
    Case(
        "implausible before day 0 and without a band",
        [plan((HOUR, stage("callusing")))],
        [],
        HOUR,
        [raised(minutes(1), IMPLAUSIBLE)],
        refused(1, 61),
        details=[(None, None, None, minutes(1))],
    ),
]

CASES_OF_SENSORS = [*SILENT_CASES, *REFUSED_CASES]
