from decimal import Decimal
from typing import Any

import pytest
from decoding import NOW_MS, TRAYS, decoded, values, why

from wardian.adapters.json_payloads import JsonForm
from wardian.adapters.payloads import Address, NumberForm, Target
from wardian.adapters.strict_json import NOTHING, document, found, tokens
from wardian.rules.ports import Decoded, Measured

TEMPERATURE = Target("air_temperature")
HUMIDITY = Target("relative_humidity")


# ------------------------------------------------------------------------------ a plain number


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("21.5", 21.5),
        (" 21.5\r\n", 21.5),
        ("\t-3", -3.0),
        ("+4", 4.0),
        ("007.50", 7.5),
        ("2.15e1", 21.5),
        ("0", 0.0),
    ],
)
def test_a_decimal_number_is_read(text: str, value: float) -> None:
    assert decoded(NumberForm(TEMPERATURE), text).measured == [
        Measured(NOW_MS, "tray-a", "air_temperature", value, "")
    ]


@pytest.mark.parametrize(
    "payload",
    [
        b"",
        b"   ",
        b"nan",
        b"NaN",
        b"inf",
        b"-Infinity",
        b"1_0",
        b"0x15",
        b"21,5",
        b"21.5 C",
        b"2 1",
        b"21.",
        b".5",
        b"--1",
        b"true",
        b"null",
        b'"21"',
        b"[21]",
        b"1e400",
        b"1e999999999999",
        "\N{FULLWIDTH DIGIT TWO}1".encode(),
        "\N{ARABIC-INDIC DIGIT TWO}1".encode(),
        b"\xa021",
        "\N{NO-BREAK SPACE}21".encode(),
        b"\xff\xfe",
        b"2" * 65,
        b"\x00",
    ],
)
def test_anything_else_is_no_number_and_is_refused(payload: bytes) -> None:
    assert "number" in why(NumberForm(TEMPERATURE), payload)


def test_a_number_whose_age_is_unknown_is_left_out_and_not_refused() -> None:
    assert decoded(NumberForm(TEMPERATURE), "21.5", received_ms=None) == Decoded()


def test_a_refused_number_says_what_came_and_which_sensor_it_casts_doubt_on() -> None:
    (refused,) = decoded(NumberForm(TEMPERATURE), b"err\x1b[31m\r\n\xe2\x80\xae").refused
    assert refused.raw == "err\\x1b[31m\\r\\n\\u202e"
    assert (refused.tray, refused.quantity, refused.time_ms) == ("tray-a", "air_temperature", NOW_MS)


def test_only_the_beginning_of_a_long_payload_is_kept() -> None:
    (refused,) = decoded(NumberForm(TEMPERATURE), b"x" * 100_000).refused
    assert refused.raw == "x" * 200


# ------------------------------------------------------------- where a value belongs


def test_what_the_target_does_not_say_the_address_says() -> None:
    address = Address("t", TRAYS, tray="tray-a", quantity="ppfd")
    outcome = NumberForm(Target()).at(address).decode(b"60", NOW_MS)
    assert outcome.measured == [Measured(NOW_MS, "tray-a", "ppfd", 60.0, "")]


def test_the_target_prevails_over_the_address() -> None:
    address = Address("t", TRAYS, tray="tray-a", quantity="ppfd")
    form = NumberForm(Target("illuminance", tray="tray-b", unit="klx"))
    assert form.at(address).decode(b"6", NOW_MS).measured == [
        Measured(NOW_MS, "tray-b", "illuminance", 6.0, "klx")
    ]


def test_an_unknown_tray_is_refused_and_the_known_ones_are_named() -> None:
    outcome = NumberForm(TEMPERATURE).at(Address("t", TRAYS, tray="tray-z")).decode(b"21", NOW_MS)
    assert outcome.measured == []
    assert outcome.refused[0].why == "unknown tray 'tray-z'; known: tray-a, tray-b"


@pytest.mark.parametrize(
    ("quantity", "reason"),
    [("temp", "unknown quantity 'temp'; known: air_temperature"), ("dew_point", "no sensor measures")],
)
def test_a_quantity_that_no_sensor_measures_is_refused_and_the_known_ones_are_named(
    quantity: str, reason: str
) -> None:
    address = Address("t", TRAYS, tray="tray-a", quantity=quantity)
    assert reason in NumberForm(Target()).at(address).decode(b"21", NOW_MS).refused[0].why
    with pytest.raises(ValueError, match=reason):
        Target(quantity)


def test_a_target_with_a_unit_of_another_dimension_is_refused() -> None:
    with pytest.raises(ValueError, match=r"unit 'lx' is none of air_temperature; accepted: °C, Cel"):
        Target("air_temperature", unit="lx")


# --------------------------------------------------------------------------------------- JSON


CLIMATE = JsonForm({"/air/t": TEMPERATURE, "/air/h": HUMIDITY}, "/at", "rfc3339")


def test_a_document_gives_the_values_at_its_pointers_and_its_own_time() -> None:
    text = '{"at": "2026-01-01T01:00:00.25+01:00", "air": {"t": 21.5, "h": 90}, "battery": "low"}'
    assert decoded(CLIMATE, text) == Decoded(
        [
            Measured(1_767_225_600_250, "tray-a", "air_temperature", 21.5, ""),
            Measured(1_767_225_600_250, "tray-a", "relative_humidity", 90.0, ""),
        ]
    )


def test_a_document_with_its_own_time_is_read_even_where_its_arrival_says_nothing() -> None:
    text = '{"at": "2026-01-01T00:00:00Z", "air": {"t": 21.5}}'
    assert decoded(CLIMATE, text, received_ms=None).measured[0].time_ms == 1_767_225_600_000


def test_a_document_without_time_pointer_means_its_arrival_and_needs_one() -> None:
    form = JsonForm({"/t": TEMPERATURE})
    assert decoded(form, '{"t": 21}').measured[0].time_ms == NOW_MS
    assert decoded(form, '{"t": 21}', received_ms=None) == Decoded()


@pytest.mark.parametrize(
    ("time_form", "written", "time_ms"),
    [
        ("unix_s", "1767225600", 1_767_225_600_000),
        ("unix_s", "1767225600.2509", 1_767_225_600_250),
        ("unix_s", "1.7672256e9", 1_767_225_600_000),
        ("unix_s", "0", 0),
        ("unix_s", "-0.0001", -1),
        ("unix_ms", "1767225600250", 1_767_225_600_250),
        ("unix_ms", "1767225600250.9", 1_767_225_600_250),
        ("unix_ms", "1767225600", 1_767_225_600),
        ("rfc3339", '"2026-01-01T00:00:00Z"', 1_767_225_600_000),
    ],
)
def test_a_time_means_what_its_configured_form_says_and_is_never_guessed(
    time_form: str, written: str, time_ms: int
) -> None:
    form = JsonForm({"/v": TEMPERATURE}, "/time", time_form)
    assert decoded(form, f'{{"time": {written}, "v": 1}}').measured[0].time_ms == time_ms


@pytest.mark.parametrize(
    ("time_form", "written", "reason"),
    [
        ("rfc3339", '"2026-01-01T00:00:00"', "has no offset"),
        ("rfc3339", "1767225600", "not a text of RFC 3339"),
        ("unix_s", '"1767225600"', "a text is not a number"),
        ("unix_s", "true", "true or false is not a number"),
        ("unix_s", "253402300800", "outside the years 1 to 9999"),
        ("unix_s", "1e300", "outside the years 1 to 9999"),
        ("unix_s", "1e999999", "too large"),
        ("unix_ms", "null", "null is not a number"),
    ],
)
def test_a_time_in_another_form_refuses_the_document(time_form: str, written: str, reason: str) -> None:
    form = JsonForm({"/v": TEMPERATURE}, "/time", time_form)
    assert reason in why(form, f'{{"time": {written}, "v": 1}}')


def test_a_document_without_the_time_it_should_have_is_refused() -> None:
    assert why(CLIMATE, '{"air": {"t": 21.5}}') == "no time stands at /at"


@pytest.mark.parametrize(
    ("element", "reason"),
    [
        ('"21.5"', "/air/t: a text is not a number"),
        ("true", "/air/t: true or false is not a number"),
        ("null", "/air/t: null is not a number"),
        ("[21.5]", "/air/t: an array is not a number"),
        ("{}", "/air/t: an object is not a number"),
        ("1e999", "/air/t: the number is too large"),
        ("1" + "0" * 400, "/air/t: the number is too large"),
    ],
)
def test_a_wrong_element_refuses_itself_alone(element: str, reason: str) -> None:
    outcome = decoded(CLIMATE, f'{{"at": "2026-01-01T00:00:00Z", "air": {{"t": {element}, "h": 90}}}}')
    assert [one.quantity for one in outcome.measured] == ["relative_humidity"]
    (refused,) = outcome.refused
    assert refused.why == reason
    assert (refused.tray, refused.quantity, refused.time_ms) == (
        "tray-a",
        "air_temperature",
        1_767_225_600_000,
    )


def test_what_a_device_does_not_send_this_time_is_no_error_but_nothing_at_all_is() -> None:
    assert [
        one.quantity for one in decoded(CLIMATE, '{"at":"2026-01-01T00:00:00Z","air":{"h":9}}').measured
    ] == ["relative_humidity"]
    assert why(CLIMATE, '{"at":"2026-01-01T00:00:00Z"}') == "nothing stands at /air/t, /air/h"


@pytest.mark.parametrize(
    ("payload", "reason"),
    [
        (b"", "is not JSON"),
        (b"{", "is not JSON"),
        (b"21.5 21.5", "is not JSON"),
        (b'{"t": NaN}', "holds NaN"),
        (b'{"t": -Infinity}', "holds -Infinity"),
        (b'{"t": 1, "t": 2}', "names the key 't' twice"),
        (b'{"t": 1, "\\u0074": 2}', "names the key 't' twice"),
        (b'{"t": {"x": 1, "x": 1}}', "names the key 'x' twice"),
        (b"[" * 9 + b"]" * 9, "nested deeper than 8 levels"),
        (b"[" * 2000 + b"]" * 2000, "nested deeper than 8 levels"),
        (b'{"t": "' + b"x" * 4096 + b'"}', "has more than 4096 bytes"),
        (b'{"t": "\xff"}', "is not UTF-8"),
        (b'\xef\xbb\xbf{"t": 1}', "is not JSON"),
        (b'{"t": 1e99999999999999999999}', "impossible exponent"),
        (b'{"t": 01}', "is not JSON"),
        (b'{"t": 0x1}', "is not JSON"),
        (b"{'t': 1}", "is not JSON"),
    ],
)
def test_a_document_that_is_no_strict_json_is_refused_whole(payload: bytes, reason: str) -> None:
    assert reason in why(JsonForm({"/t": TEMPERATURE}), payload)


def test_eight_levels_are_not_too_deep() -> None:
    assert values(JsonForm({"/0/0/0/0/0/0/0/0": TEMPERATURE}), "[" * 8 + "21" + "]" * 8) == [21.0]
    assert values(JsonForm({"/8/t": TEMPERATURE}), "[[],[],[],[],[],[],[],[],{" + '"t": 21}]') == [21.0]


def test_a_whole_document_casts_doubt_on_a_sensor_only_where_no_other_can_be_meant() -> None:
    assert decoded(JsonForm({"/t": TEMPERATURE}), "x").refused[0].quantity == "air_temperature"
    assert decoded(CLIMATE, "x").refused[0].quantity is None


def test_a_longer_document_is_read_where_the_form_allows_it() -> None:
    text = '{"t": 21, "note": "' + "x" * 10_000 + '"}'
    assert values(JsonForm({"/t": TEMPERATURE}, most_bytes=20_000), text) == [21.0]


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", None),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_pointers_lead_where_section_5_of_rfc_6901_says(pointer: str, value: Any) -> None:
    text = rb'{"foo":["bar","baz"],"":0,"a/b":1,"c%d":2,"e^f":3,"g|h":4,"i\\j":5,"k\"l":6," ":7,"m~n":8}'
    whole = document(text, 4096)
    assert found(whole, pointer) == (whole if pointer == "" else value)


def test_an_escaped_tilde_is_not_unescaped_twice() -> None:
    assert tokens("/~01") == ("~1",)


@pytest.mark.parametrize(
    "pointer",
    ["/2", "/00", "/01", "/-1", "/-", "/+1", "/1.0", "/\N{ARABIC-INDIC DIGIT ZERO}", "/a", "/0/0", "/ 0"],
)
def test_an_index_beyond_the_array_or_not_written_plainly_leads_nowhere(pointer: str) -> None:
    assert found([Decimal("1.5"), 2], pointer) is NOTHING


@pytest.mark.parametrize("pointer", ["a", "a/b", "/~", "/a~2b", "#/a"])
def test_a_bad_pointer_is_refused_when_the_form_is_made(pointer: str) -> None:
    with pytest.raises(ValueError, match="pointer"):
        JsonForm({pointer: TEMPERATURE})


def test_a_form_without_pointers_or_with_an_unknown_form_of_time_is_refused() -> None:
    with pytest.raises(ValueError, match="no pointer"):
        JsonForm({})
    with pytest.raises(ValueError, match="accepted: rfc3339, unix_s, unix_ms"):
        JsonForm({"/t": TEMPERATURE}, "/at", "guess")
