"""What can be said of care: each amount in its own unit, and everything else refused with what is accepted."""

import string
from decimal import Decimal
from typing import Any, Final

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.care_given import (
    EVENTS,
    LOOKS,
    Given,
    care_fields,
    cares_of,
    found_roots_ms,
    rot_seen_ms,
)
from wardian.rules.records import CARE, NOTE, Record

SIGNS: Final = string.printable + "°µ٣🌱"


@pytest.mark.parametrize(
    ("event", "amounts", "fields"),
    [
        ("lifted", {"minutes": "10"}, {"minutes": 10.0}),
        ("lifted", {"minutes": "1.5 h"}, {"minutes": 90.0}),
        ("misted", {"grams": "20"}, {"grams": 20.0}),
        ("misted", {"grams": "0.02 kg"}, {"grams": 20.0}),
        ("misted", {"grams": 20, "minutes": Decimal("2.5")}, {"grams": 20.0, "minutes": 2.5}),
        ("watered", {"temperature": "68 °F", "ph": "5.8"}, {"temperature_c": 20.0, "ph": 5.8}),
        ("fed", {"ec": "900 µS/cm"}, {"ec": 0.9}),
        ("looked", {"look": "turgid, no-roots"}, {"look": ["turgid", "no-roots"]}),
        ("wiped", {}, {}),
        ("alcohol", {}, {}),
    ],
)
def test_what_was_done_is_put_down_in_one_unit_each(
    event: str, amounts: dict[str, Any], fields: dict[str, Any]
) -> None:
    assert care_fields(event, amounts) == {"event": event, **fields}


@pytest.mark.parametrize(
    ("event", "amounts", "why"),
    [
        ("mistd", {}, "'mistd' is nothing that is done at a tray; did you mean misted?"),
        ("wiped", {"grams": "5"}, "wiped takes no grams; accepted: minutes"),
        ("alcohol", {"grams": "5"}, "alcohol takes no grams; none is accepted"),
        ("misted", {"grams": "0"}, "grams '0' cannot be meant; 1 g to 10 kg is accepted"),
        ("misted", {"grams": "-20"}, "cannot be meant"),
        ("misted", {"grams": "20 °C"}, "measures no mass"),
        ("misted", {"grams": "some"}, "grams 'some' is no number"),
        ("misted", {"grams": "nan"}, "is no number"),
        ("misted", {"grams": "20,5"}, "has a decimal comma"),
        ("lifted", {"minutes": "2 d"}, "1 min to 24 h is accepted"),
        ("fed", {"ph": "15"}, "ph '15' cannot be meant; 2 to 12 is accepted"),
        ("fed", {"ec": "900"}, "0 to 20 mS/cm is accepted"),
        ("fed", {"temperature": "68"}, "0 °C to 40 °C is accepted"),
        ("looked", {}, "look is missing"),
        ("looked", {"look": "mold"}, "did you mean mould?"),
        ("looked", {"look": ""}, "is nothing that can be found"),
        ("looked", {"look": "limp,turgid"}, "cannot both be"),
        ("looked", {"look": "roots,no-roots"}, "cannot both be"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_what_is_accepted(
    event: str, amounts: dict[str, Any], why: str
) -> None:
    with pytest.raises(ValueError, match=r".") as refused:
        care_fields(event, amounts)
    assert why in str(refused.value)


@given(
    st.sampled_from([*EVENTS, "sung to"]),
    st.dictionaries(st.text(SIGNS, max_size=12), st.text(SIGNS, max_size=12)),
)
def test_any_text_is_put_down_or_refused_in_one_line(event: str, amounts: dict[str, str]) -> None:
    try:
        fields = care_fields(event, amounts)
    except ValueError as error:
        assert "\n" not in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert fields["event"] == event


@given(st.sampled_from(["grams", "minutes", "ph", "ec", "temperature"]), st.text(SIGNS, max_size=12))
def test_any_amount_of_a_misting_is_a_number_or_refused(name: str, written: str) -> None:
    try:
        fields = care_fields("misted", {name: written})
    except ValueError as error:
        assert name in str(error)  # noqa: PT017 - either outcome is right
    else:
        assert all(isinstance(value, float) for key, value in fields.items() if key != "event")


def looked(at_ms: int, *looks: str) -> Given:
    return Given("looked", at_ms, looks=looks)


def test_rot_stands_from_when_it_was_first_seen_until_a_look_at_the_leaves_finds_it_gone() -> None:
    assert rot_seen_ms([]) is None
    assert rot_seen_ms([looked(1, "mould"), looked(2, "rot", "limp")]) == 1
    assert rot_seen_ms([looked(1, "mould"), looked(2, "turgid")]) is None
    assert rot_seen_ms([looked(1, "mould"), looked(2, "turgid"), looked(3, "rot")]) == 3


@pytest.mark.parametrize("look", LOOKS)
def test_a_look_for_roots_alone_says_nothing_of_rot(look: str) -> None:
    is_of_leaves = look not in ("roots", "no-roots", "mould", "rot")
    assert (rot_seen_ms([looked(1, "mould"), looked(2, look)]) is None) == is_of_leaves


def test_only_records_of_care_are_care_and_roots_count_from_the_first_look_that_found_them() -> None:
    records = [
        Record(CARE, 5, 5, "tray-a", fields={"event": "misted", "grams": 20.0}),
        Record(NOTE, 6, 6, "tray-a"),
        Record(CARE, 7, 7, "tray-a", fields={"event": "looked", "look": ["roots"]}),
        Record(CARE, 8, 8, "tray-a", fields={"event": "looked", "look": ["roots", "limp"]}),
    ]
    care = cares_of(records)
    assert [(one.event, one.from_ms) for one in care] == [("misted", 5), ("looked", 7), ("looked", 8)]
    assert found_roots_ms(care) == 7
    assert found_roots_ms(care[:1]) is None
