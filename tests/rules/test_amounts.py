"""Amounts are exactly what a person wrote, and what is none is refused with what is accepted."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from wardian.rules.amounts import (
    LONGEST_DURATION_MS,
    NotAnAmount,
    Written,
    duration_ms,
    duration_words,
    exact_amount,
    split_amount,
)
from wardian.rules.documents import dotted, shown
from wardian.rules.units import UNITS


@pytest.mark.parametrize(
    ("written", "parts"),
    [
        ("75 °F", ("75", "°F")),
        ("75°F", ("75", "°F")),
        (" 75\N{NO-BREAK SPACE}°F ", ("75", "°F")),
        ("-0.5 K", ("-0.5", "K")),
        ("\N{MINUS SIGN}0.5 K", ("-0.5", "K")),
        ("1e3 lx", ("1e3", "lx")),
        ("100 µmol m⁻² s⁻¹", ("100", "µmol m⁻² s⁻¹")),
        (".5", (".5", "")),
        (24, ("24", "")),
        (Decimal("0.40"), ("0.40", "")),
    ],
)
def test_an_amount_is_a_number_and_mostly_a_unit(written: Written, parts: tuple[str, str]) -> None:
    assert split_amount(written) == parts


@pytest.mark.parametrize(
    "written", ["", " ", "°F", "75 75", "1.2.3", "--1", "nan", "inf", "1_0 K", "٣ K", "9" * 31]
)
def test_what_is_no_amount_is_refused(written: str) -> None:
    with pytest.raises(NotAnAmount):
        split_amount(written)


def test_a_decimal_comma_is_named() -> None:
    with pytest.raises(NotAnAmount, match="has a decimal comma; write a decimal point"):
        split_amount("23,9 °C")


def test_a_difference_of_temperatures_is_no_temperature() -> None:
    assert exact_amount("9 °F", "temperature difference") == 5
    assert exact_amount("9 °F", "temperature") == Fraction(-115, 9)


@pytest.mark.parametrize(
    ("written", "dimension", "told"),
    [
        (
            "75 F",
            "temperature",
            "has the unit 'F', which measures no temperature; did you mean °F? accepted: °C",
        ),
        ("1 lx", "pressure", "has the unit 'lx', which measures no pressure; accepted: kPa, hPa, Pa"),
        ("1e99 kg", "mass", "is beyond anything measured"),
    ],
)
def test_a_unit_of_another_kind_is_refused_with_those_that_fit(
    written: str, dimension: str, told: str
) -> None:
    with pytest.raises(NotAnAmount) as caught:
        exact_amount(written, dimension)
    assert str(caught.value).startswith(told)


@given(
    st.decimals(-1000, 1000, allow_nan=False, places=3),
    st.sampled_from([(dimension, unit) for dimension, units in UNITS.items() for unit in units]),
)
def test_every_unit_is_read_exactly(number: Decimal, place: tuple[str, str]) -> None:
    dimension, name = place
    unit = UNITS[dimension][name]
    assert exact_amount(f"{number} {name}", dimension) == (Fraction(number) + unit.offset) * unit.factor


@pytest.mark.parametrize("written", ["-1", "1.0005", "0.1 ms", "367 d", "1 lx", "often"])
def test_what_is_no_duration_is_refused(written: str) -> None:
    with pytest.raises(NotAnAmount):
        duration_ms(written)


@pytest.mark.parametrize(
    ("milliseconds", "words"),
    [
        (0, "0 s"),
        (1, "1 ms"),
        (1500, "1500 ms"),
        (45_000, "45 s"),
        (5_400_000, "90 min"),
        (86_400_000, "1 d"),
    ],
)
def test_a_duration_in_words_is_what_a_person_would_write(milliseconds: int, words: str) -> None:
    assert duration_words(milliseconds) == words


@given(st.integers(0, LONGEST_DURATION_MS))
def test_words_of_a_duration_mean_the_duration(milliseconds: int) -> None:
    assert duration_ms(duration_words(milliseconds)) == milliseconds


def test_a_path_is_written_as_people_write_it() -> None:
    assert dotted(("trays", 0, "light", "lit_above")) == "trays[0].light.lit_above"
    assert dotted(("crops", "New Guinea", "stages", 1)) == "crops.'New Guinea'.stages[1]"
    assert dotted(()) == ""


@given(st.one_of(st.text(), st.integers(), st.lists(st.text())))
def test_what_is_shown_is_short_and_moves_no_cursor(value: object) -> None:
    text = shown(value)
    assert text.isprintable()
    assert len(text) <= 60
