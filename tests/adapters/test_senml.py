import json
from collections.abc import Mapping
from decimal import Decimal

import pytest
from decoding import ADDRESS, NOW_MS, decoded, values, why
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.payloads import Target
from wardian.adapters.senml import SenmlForm
from wardian.rules.ports import Decoded, Measured

TEMPERATURE = Target("air_temperature")
HUMIDITY = Target("relative_humidity")
NAMES: Mapping[str, Target | None] = {
    "bench:a:temp": TEMPERATURE,
    "bench:a:rh": HUMIDITY,
    "bench:a:light": Target("illuminance"),
    "bench:a:moist": Target("medium_moisture"),
    "bench:a:mass": Target("tray_mass", unit="kg"),
    "bench:a:battery": None,
}
PACK = SenmlForm(NAMES)


def pack(*records: Mapping[str, object]) -> str:
    return json.dumps(records)


def test_a_pack_with_base_fields_gives_each_record_its_name_time_and_unit() -> None:
    text = pack(
        {"bn": "bench:a:", "bt": 1767225600.25, "bu": "Cel", "n": "temp", "v": 23.5},
        {"n": "rh", "u": "%RH", "v": 91},
        {"n": "temp", "t": -60, "v": 23.25},
    )
    assert decoded(PACK, text).measured == [
        Measured(1_767_225_600_250, "tray-a", "air_temperature", 23.5, "Cel"),
        Measured(1_767_225_600_250, "tray-a", "relative_humidity", 91.0, "%RH"),
        Measured(1_767_225_540_250, "tray-a", "air_temperature", 23.25, "Cel"),
    ]


def test_the_second_pack_of_the_same_shape_means_the_same_as_the_first() -> None:
    reader = PACK.at(ADDRESS)
    text = pack(
        {"bn": "bench:a:", "bt": 1767225600, "n": "temp", "u": "K", "v": 296.5},
        {"n": "rh", "u": "%", "v": 0.91},
        {"u": "lx", "v": 4200, "n": "light"},
        {"n": "battery", "u": "%EL", "v": 98.5},
        {"n": "mass", "v": 1.5},
        {"n": "moist", "u": "/100", "v": 60.5},
    ).encode()
    first = reader.decode(text, NOW_MS)
    assert [(one.quantity, one.value, one.unit) for one in first.measured] == [
        ("air_temperature", 296.5, "K"),
        ("relative_humidity", 0.91, "/"),
        ("illuminance", 4200.0, "lx"),
        ("tray_mass", 1.5, "kg"),
        ("medium_moisture", 60.5, "%"),
    ]
    assert first.refused == []
    assert reader.decode(text, NOW_MS) == first


def test_known_names_do_not_hide_a_base_value_or_an_unknown_age() -> None:
    reader = PACK.at(ADDRESS)
    text = pack(
        {"n": "bench:a:temp", "u": "Cel", "v": 1.5}, {"n": "bench:a:temp", "u": "Cel", "v": 2.5}
    ).encode()
    assert len(reader.decode(text, NOW_MS).measured) == 2
    assert reader.decode(text, None) == Decoded()
    with_base = text.replace(b"[{", b'[{"bv": 20, ')
    assert [one.value for one in reader.decode(with_base, NOW_MS).measured] == [21.5, 22.5]


def test_times_keep_their_milliseconds_exactly_and_drop_finer_digits() -> None:
    text = '[{"bn":"bench:a:temp","bt":1767225600.123' + "9" * 90 + ',"v":1},{"t":0.1,"v":2},{"t":0.7,"v":3}]'
    assert [one.time_ms for one in decoded(PACK, text).measured] == [
        1_767_225_600_123,
        1_767_225_600_223,
        1_767_225_600_823,
    ]


def test_relative_times_count_from_the_arrival() -> None:
    text = pack(
        {"n": "bench:a:temp", "v": 1},
        {"n": "bench:a:temp", "t": -60.0004, "v": 2},
        {"n": "bench:a:temp", "t": 2**28 - 1, "v": 3},
        {"n": "bench:a:temp", "t": 2**28, "v": 4},
    )
    assert [one.time_ms for one in decoded(PACK, text).measured] == [
        NOW_MS,
        NOW_MS - 60_001,
        NOW_MS + (2**28 - 1) * 1000,
        2**28 * 1000,
    ]


def test_in_a_pack_of_unknown_age_only_records_with_absolute_time_are_readings() -> None:
    text = pack(
        {"bn": "bench:a:", "n": "temp", "v": 1},
        {"n": "temp", "t": -5, "v": 2},
        {"n": "temp", "t": 1767225600, "v": 3},
    )
    outcome = decoded(PACK, text, received_ms=None)
    assert [one.value for one in outcome.measured] == [3.0]
    assert outcome.refused == []


def test_base_values_are_added_in_decimal() -> None:
    text = pack({"bn": "bench:a:temp", "bv": 20.1, "v": 0.2}, {"t": -1}, {"v": -0.5})
    assert values(PACK, text) == [20.3, 20.1, 19.6]


def test_names_with_placeholders_tell_tray_and_quantity() -> None:
    form = SenmlForm({"bench:{tray}:temp": TEMPERATURE, "{tray}/{quantity}": Target()})
    text = pack(
        {"n": "bench:tray-b:temp", "v": 21},
        {"n": "tray-a/ppfd", "v": 60},
        {"n": "bench:tray-z:temp", "v": 22},
    )
    outcome = decoded(form, text)
    assert [(one.tray, one.quantity) for one in outcome.measured] == [
        ("tray-b", "air_temperature"),
        ("tray-a", "ppfd"),
    ]
    assert outcome.refused[0].why == "unknown tray 'tray-z'; known: tray-a, tray-b"


@pytest.mark.parametrize(
    ("record", "reason"),
    [
        ({"n": "bench:a:temp", "v": "21"}, "a text is not a number"),
        ({"n": "bench:a:temp", "v": True}, "true or false is not a number"),
        ({"n": "bench:a:temp", "v": None}, "null is not a number"),
        ({"n": "bench:a:temp", "vs": "21"}, "its value is a text, not a number"),
        ({"n": "bench:a:temp", "vb": True}, "its value is true or false, not a number"),
        ({"n": "bench:a:temp", "vd": "aGkgCg"}, "its value is data, not a number"),
        ({"n": "bench:a:temp", "v": 1, "vs": "1"}, "has more than one value: v, vs"),
        ({"n": "bench:a:temp", "u": "Cel"}, "has no value"),
        ({"n": "bench:a:temp", "s": 5}, "a sum alone is no reading"),
        ({"n": "bench:a:temp", "u": "V", "v": 1}, "unit 'V' is none of air_temperature"),
        ({"n": "bench:a:temp", "u": 5, "v": 1}, "u is not a text"),
        ({"n": "bench:a:temp", "u": ["Cel"], "v": 1}, "u is not a text"),
        ({"n": "bench:a:temp", "v": 1, "t": "1767225600"}, "a text is not a number"),
        ({"n": "bench:a:temp", "v": 1, "t": 1e12}, "outside the years 1 to 9999"),
        ({"n": "bench:a:temp", "v": 10**400}, "the number is too large"),
        ({"n": 5, "v": 1}, "n is not a text"),
        ({"n": "bench:a:fan", "v": 1}, "name 'bench:a:fan' is not configured; known: bench:a:temp"),
        ({"n": "tray 1", "v": 1}, "'tray 1' is no SenML name"),
        ({"n": ":tray", "v": 1}, "':tray' is no SenML name"),
        ({"v": 1}, "neither a name nor a base name"),
    ],
)
def test_a_wrong_record_refuses_itself_alone(record: Mapping[str, object], reason: str) -> None:
    outcome = decoded(PACK, pack({"n": "bench:a:rh", "v": 90}, record, {"n": "bench:a:rh", "t": -1, "v": 91}))
    assert [one.value for one in outcome.measured] == [90.0, 91.0]
    assert reason in outcome.refused[0].why
    assert len(outcome.refused) == 1


def test_a_refused_record_says_what_it_was_and_when() -> None:
    text = pack({"bn": "bench:a:", "bt": 1767225600, "n": "temp", "u": "Cel", "v": "hot"})
    (refused,) = decoded(PACK, text).refused
    assert '"v": "hot"' in refused.raw
    assert (refused.time_ms, refused.tray, refused.quantity) == (
        1_767_225_600_000,
        "tray-a",
        "air_temperature",
    )


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ('{"n": "bench:a:temp", "v": 1}', "a SenML pack is an array"),
        ("[]", "an array of one record or more"),
        ("21.5", "a SenML pack is an array"),
        ('[{"n": "bench:a:temp", "v": 1}, 5]', "a SenML record is an object"),
        ('[{"n": "bench:a:temp", "v": 1}, []]', "a SenML record is an object"),
        ('[{"n": "bench:a:temp", "v": 1}, {"n": "x", "v": 1, "x_": 2}]', "'x_' must be understood"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bver": 11}]', "version is newer than 10"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bver": "10"}]', "a text is not a number"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bn": 5}]', "bn is not a text"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bu": 5}]', "bu is not a text"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bt": "now"}]', "a text is not a number"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bt": 1e12}]', "outside the years 1 to 9999"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bv": true}]', "true or false is not a number"),
        ('[{"n": "bench:a:temp", "v": 1}, {"bs": []}]', "an array is not a number"),
        ('[{"n": "bench:a:temp", "v": 1}, {"n": "x", "n": "y", "v": 1}]', "names the key 'n' twice"),
        ('[{"n": "bench:a:temp", "v": 1, "v": 2}]', "names the key 'v' twice"),
        ('[{"n": "bench:a:temp", "v": NaN}]', "holds NaN"),
        ('[{"n": "bench:a:temp", "v": 1, "x": [[[[[[[1]]]]]]]}]', "nested deeper than 8 levels"),
    ],
)
def test_what_makes_a_pack_doubtful_refuses_it_whole(text: str, reason: str) -> None:
    assert reason in why(PACK, text)


def test_version_10_and_unknown_fields_are_accepted() -> None:
    assert values(PACK, pack({"bver": 10, "n": "bench:a:temp", "v": 1, "x": 2, "ut": 5, "s": 1})) == [1.0]


def test_a_record_of_base_fields_alone_brings_nothing() -> None:
    assert decoded(PACK, pack({"bn": "bench:a:temp", "bv": 20, "bt": 1767225600}, {})) == Decoded()


@pytest.mark.parametrize(
    ("names", "reason"),
    [
        ({}, "no name"),
        ({"tray a": TEMPERATURE}, "no SenML name"),
        ({"{tray}{tray}": TEMPERATURE}, "more than once"),
        ({"{cover}": TEMPERATURE}, "a brace"),
    ],
)
def test_a_name_that_can_never_come_is_refused_when_the_form_is_made(
    names: Mapping[str, Target], reason: str
) -> None:
    with pytest.raises(ValueError, match=reason):
        SenmlForm(names)


def test_a_sender_that_makes_names_up_costs_no_memory() -> None:
    reader = SenmlForm({"x:{tray}:{quantity}": Target(), "y:{quantity}": None}).at(ADDRESS)
    for number in range(5000):
        reader.decode(pack({"n": f"y:{number}", "v": 1}, {"n": f"x:{number}:a", "v": 1}).encode(), NOW_MS)
    assert len(reader._known) <= 1000


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["bench:a:temp", "bench:a:rh"]),
            st.decimals(-1000, 1000, allow_nan=False, places=3),
            st.integers(2**28 * 1000, 2**42),
        ),
        min_size=1,
        max_size=20,
    )
)
def test_every_good_record_is_read_with_its_value_and_its_millisecond(
    records: list[tuple[str, Decimal, int]],
) -> None:
    written = [
        f'{{"n":"{name}","v":{value},"t":{time_ms // 1000}.{time_ms % 1000:03}}}'
        for name, value, time_ms in records
    ]
    outcome = decoded(PACK, f"[{','.join(written)}]")
    assert outcome.refused == []
    assert [(one.value, one.time_ms) for one in outcome.measured] == [
        (float(value), time_ms) for _, value, time_ms in records
    ]
