"""What people read: units, times, and messages that name everything needed to act."""

from dataclasses import replace
from datetime import date
from zoneinfo import ZoneInfo

import pytest

from wardian.daemon.library import Advice
from wardian.daemon.tongue import Tongue, span_words, utc_text
from wardian.daemon.words import Teller, TrayWords
from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.plans import Masses, TrayPlan
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition

LISBON = ZoneInfo("Europe/Lisbon")
#: 2026-07-06T04:12:00Z: 05:12 on a summer's morning in Lisbon.
RAISED_MS = 1_783_311_120_000
HOUR_MS = 3_600_000
BAND = Band("medium_temperature", (Limit("low", 20.0, 20.5, 0, 0), Limit("high", 25.0, 24.5, 0, 0)))
PLAN = TrayPlan("tray-c", (StageSpan(0, Stage("callusing", 0, {"medium_temperature": BAND})),), 300_000)
ADVICE = Advice(
    "medium-too-cold", "medium", "the mat is off", "callus stalls", "check the thermostat", "within 4 h"
)


def teller(*, fahrenheit: bool = True, channels: tuple[str, ...] = ("mail", "bell")) -> Teller:
    trays = {"tray-c": TrayWords(PLAN, "coleus", date(2026, 7, 3))}
    return Teller(
        Tongue(LISBON, fahrenheit=fahrenheit), trays, lambda _quantity, _condition: ADVICE, channels
    )


def transition(**changes: object) -> Transition:
    one = Transition(
        time_ms=RAISED_MS,
        tray="tray-c",
        quantity="medium_temperature",
        limit="low",
        event="raised",
        condition="low",
        value=18.5,
        threshold=20.0,
        stage="callusing",
        since_ms=RAISED_MS - HOUR_MS,
    )
    return one._replace(**changes)  # type: ignore[arg-type]  # each test names fields that are there


def test_a_raised_message_says_all_that_is_needed_to_act() -> None:
    told = teller()
    fields = told.fields(transition())
    due = told.messages(told.message(fields))
    assert [one.channel for one in due] == ["mail", "bell"]
    message = due[0].message
    assert message.subject == "tray-c: medium too cold"
    for part in (
        "coleus, day 3, callusing",
        "Priority medium",
        "medium is at 65.3 °F, 2.7 °F below 68.0 °F",
        "since Mon 6 Jul 04:12 (60 min)",
        "Band: 68.0 to 77.0 °F",
        "Likely: the mat is off",
        "If nothing is done: callus stalls",
        "To do within 4 h: check the thermostat",
    ):
        assert part in message.body
    assert message.fields["time"] == "2026-07-06T04:12:00.000Z"


@pytest.mark.parametrize(("is_estimated", "value"), [(True, "34 % (estimated), "), (False, "34 %, ")])
def test_lost_water_says_that_it_hangs_on_a_mass_that_nobody_weighed(
    *, is_estimated: bool, value: str
) -> None:
    told = teller()
    plan = replace(PLAN, masses=(Masses(0, 3000, 1035, is_estimated),))
    told.trays["tray-c"] = replace(told.trays["tray-c"], plan=plan)
    lost = transition(quantity="water_lost", limit="high", condition="high", value=34.0, threshold=33.0)
    assert f"water lost is at {value}1 % above 33 %" in told.fields(lost)["message"]


def test_where_people_read_celsius_a_difference_of_temperatures_is_in_kelvin() -> None:
    line = teller(fahrenheit=False).fields(transition())["message"]
    assert "at 18.5 °C, 1.5 K below 20.0 °C" in line


def test_a_value_on_the_better_side_that_is_not_clear_yet_is_not_said_to_be_beyond() -> None:
    """A reading between limit and deadband keeps a run going: 20.2 °C is not "0.2 K below 20.0 °C"."""
    line = teller(fahrenheit=False).fields(transition(value=20.2))["message"]
    assert "medium is at 20.2 °C, not yet clear of 20.0 °C, since" in line
    assert "below" not in line


def test_a_return_says_what_is_normal_again_and_asks_for_nothing() -> None:
    back = transition(event="returned", value=20.75)
    told = teller()
    (message, _) = told.messages(told.message(told.fields(back)))
    assert message.message.subject == "tray-c: medium too cold, returned to normal"
    assert "back at 69.3 °F" in message.message.body
    assert "To do" not in message.message.body


def test_a_return_because_the_stage_has_no_such_limit_says_so() -> None:
    back = transition(event="returned", limit="high_high", condition="high_high", value=None)
    assert "no such limit" in teller().fields(back)["message"]


@pytest.mark.parametrize(
    ("condition", "event", "phrase"),
    [
        (SENSOR_SILENT, "raised", "nothing is known of medium since"),
        (SENSOR_SILENT, "returned", "is read again"),
        (SENSOR_IMPLAUSIBLE, "raised", "cannot be true"),
        (SENSOR_IMPLAUSIBLE, "returned", "is read again"),
    ],
)
def test_an_alarm_about_a_sensor_is_in_words_of_its_own(condition: str, event: str, phrase: str) -> None:
    about = transition(limit=None, condition=condition, event=event, value=None, threshold=None)
    assert phrase in teller().fields(about)["message"]


def test_two_changes_never_share_a_key_and_a_repeat_has_the_same_one() -> None:
    told = teller(channels=("mail",))
    changes = [
        transition(),
        transition(event="returned"),
        transition(time_ms=RAISED_MS + 1),
        transition(limit="high", condition="high"),
        transition(limit=None, condition=SENSOR_SILENT),
    ]
    keys = [told.message(told.fields(one)).key for one in changes]
    assert len(set(keys)) == len(keys)
    assert told.message(told.fields(transition())).key == keys[0]


@pytest.mark.parametrize(
    ("milliseconds", "words"),
    [
        (0, "0 s"),
        (89_000, "89 s"),
        (90_000, "2 min"),
        (3_540_000, "59 min"),
        (7_200_000, "2 h"),
        (7_800_000, "2 h 10 min"),
        (3 * 86_400_000, "3 days"),
    ],
)
def test_spans_of_time_are_said_as_people_say_them(milliseconds: int, words: str) -> None:
    assert span_words(milliseconds) == words


def test_bands_are_said_with_one_or_two_ends() -> None:
    site, quantity = Tongue(LISBON), QUANTITIES["relative_humidity"]
    one_ended = Band("relative_humidity", (Limit("low", 90.0, 93.0, 0, 0),))
    assert site.band(quantity, one_ended) == "at least 90 %"
    assert site.band(quantity, None) == "no band"
    assert site.band(QUANTITIES["medium_temperature"], BAND) == "20.0 to 25.0 °C"


def test_an_instant_is_told_in_utc_with_milliseconds() -> None:
    assert utc_text(RAISED_MS + 7) == "2026-07-06T04:12:00.007Z"
