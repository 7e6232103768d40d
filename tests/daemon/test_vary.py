"""Keys that take several values in turn: where they are, what they become, and how they are written down."""

from collections.abc import Mapping
from decimal import Decimal
from typing import Any

import pytest
from base_config import BASE
from hypothesis import given
from hypothesis import strategies as st

from wardian.adapters.yaml_file import parse
from wardian.daemon.vary import Choice, Vary, blamed, changed, choices, flow, fragment, read_vary
from wardian.rules.documents import Document
from wardian.rules.errors import BadConfig, Mistake

BENCH = """\
trays:
  - {name: tray-a, crop: coleus}
  - {name: tray-b, crop: coleus}
crops:
  coleus:
    stages:
      - name: callusing
        bands:
          air_temperature: {low: 75 °F, high: 80 °F, on_delay: 10 min}
      - name: rooting
        bands: {}
  "New Guinea impatiens": {stages: [{name: callusing, bands: {}}]}
  v1.5: {stages: [{name: callusing, bands: {}}]}
sensors:
  - {name: probes, channels: [{tray: tray-a, file: one}, {tray: tray-b, file: two}]}
"""
AIR = "crops.coleus.stages.callusing.bands.air_temperature"


def document(text: str = BENCH) -> Document:
    return parse(text.encode(), "c.yaml")


def vary(text: str) -> Vary:
    return read_vary(text, document(), parse)


def one_choice(text: str) -> Choice:
    (chosen,) = choices([vary(text)])
    return chosen[0]


# Places and values.


@pytest.mark.parametrize(
    ("written", "path"),
    [
        (f"{AIR}.on_delay", ("crops", "coleus", "stages", 0, "bands", "air_temperature", "on_delay")),
        ("crops.coleus.stages[1].bands", ("crops", "coleus", "stages", 1, "bands")),
        ("crops.coleus.stages.1.bands", ("crops", "coleus", "stages", 1, "bands")),
        ("trays.tray-b.crop", ("trays", 1, "crop")),
        ("trays[1]", ("trays", 1)),
        ("crops.'New Guinea impatiens'.stages", ("crops", "New Guinea impatiens", "stages")),
        ("crops.New Guinea impatiens.stages", ("crops", "New Guinea impatiens", "stages")),
        ('crops."v1.5".stages', ("crops", "v1.5", "stages")),
        ("sensors.probes.channels[1].file", ("sensors", 0, "channels", 1, "file")),
        ("readings.hold", ("readings", "hold")),  # a section that the file leaves out
        (f"{AIR}.deadband", ("crops", "coleus", "stages", 0, "bands", "air_temperature", "deadband")),
        # A crop of the library, of which the file says nothing.
        ("crops.mint.stages.toning.from_day", ("crops", "mint", "stages", "toning", "from_day")),
    ],
)
def test_a_path_is_written_as_messages_print_it_or_with_names(written: str, path: tuple[Any, ...]) -> None:
    assert vary(f"{written}=1").path == path


@pytest.mark.parametrize(
    ("values", "read"),
    [
        ("1min,5min, 10 min", ("1min", "5min", "10 min")),
        ("75 °F", ("75 °F",)),
        ("0.5,2", (Decimal("0.5"), 2)),
        ("05:00,no", ("05:00", "no")),
        ('"a, b",c', ("a, b", "c")),
        ("{low: 70 °F, high: 80 °F},{low: 1}", ({"low": "70 °F", "high": "80 °F"}, {"low": 1})),
        ("[a, b]", (["a", "b"],)),
        ("a=b", ("a=b",)),
    ],
)
def test_values_are_what_would_stand_in_the_file(values: str, read: tuple[Any, ...]) -> None:
    assert vary(f"{AIR}.on_delay={values}").values == read


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("x", "--vary x: is no PATH=VALUE,VALUE; such as light.lit_above=500 lx,1000 lx"),
        ("=1", "--vary =1: is no PATH=VALUE,VALUE; such as light.lit_above=500 lx,1000 lx"),
        ("crops.colius.stages=1", "--vary crops.colius.stages: crops.colius: is not in the file; did you mean coleus?"),
        (
            "crops.coleus.stages.calusing.bands=1",
            "--vary crops.coleus.stages.calusing.bands: crops.coleus.stages: has no 'calusing'; did you mean callusing?",
        ),
        (
            "trays[2].crop=1",
            "--vary trays[2].crop: trays: has no 2; accepted: tray-a, tray-b",
        ),
        (
            "sensors.probes.channels[2].file=1",
            "--vary sensors.probes.channels[2].file: sensors[0].channels: has no 2; a place from 0 to 1 is accepted",
        ),
        (
            f"{AIR}.low.unit=1",
            f"--vary {AIR}.low.unit: crops.coleus.stages[0].bands.air_temperature.low: is the text '75 °F' and holds no 'unit'",
        ),
        ("crops[0]=1", "--vary crops[0]: crops: is a mapping of keys; accepted: New Guinea impatiens, coleus, v1.5"),
        ("crops..a=1", "--vary crops..a: is no path from '..a' on; keys are accepted as messages print them: trays[0].crop"),
        ("readings.hold=", "--vary readings.hold: names no value; PATH=VALUE,VALUE is accepted"),
    ],
)  # fmt: skip
def test_a_path_that_means_nothing_is_told_with_what_is_near(text: str, message: str) -> None:
    with pytest.raises(BadConfig) as caught:
        vary(text)
    assert str(caught.value) == message


@pytest.mark.parametrize("values", ["[1", "1],[2", "1]", "1,,2", "*a", "&a 1", "!t 1", "\udcff"])
def test_values_that_are_no_yaml_are_told_as_such(values: str) -> None:
    with pytest.raises(BadConfig) as caught:
        vary(f"readings.hold={values}")
    assert str(caught.value).startswith("--vary readings.hold: ")
    assert "\n" not in str(caught.value)


# Combinations.


def test_two_keys_take_every_pair_of_their_values() -> None:
    one, other = vary(f"{AIR}.on_delay=1min,5min"), vary("readings.hold=2min,3min,4min")
    assert [tuple(choice.value for choice in chosen) for chosen in choices([one, other])] == [
        (delay, hold) for delay in ("1min", "5min") for hold in ("2min", "3min", "4min")
    ]


@pytest.mark.parametrize(
    ("texts", "words"),
    [
        (["readings.hold=1", "readings.settle=1", "site.name=a"], "is one key too many; 2 are accepted"),
        (["readings.hold=1", "readings.hold=2"], "lies within readings.hold, or holds it"),
        (["readings={hold: 1}", "readings.hold=2"], "lies within readings, or holds it"),
        (["trays[0].crop=a", "trays.tray-a=b"], "lies within trays[0].crop, or holds it"),
        ([f"readings.hold={','.join('1' * 101)}"], "makes 101 settings; 100 are accepted"),
    ],
)
def test_keys_that_cannot_be_varied_together_are_refused(texts: list[str], words: str) -> None:
    with pytest.raises(BadConfig, match="--vary") as caught:
        choices([vary(text) for text in texts])
    assert words in str(caught.value)


def test_a_changed_document_differs_in_that_place_alone_and_the_first_stays() -> None:
    before = document()
    after = changed(before, [one_choice(f"{AIR}.on_delay=5min"), one_choice("readings.hold=2min")])
    assert before == document()
    path = vary(f"{AIR}.on_delay=1").path
    assert (before.at(path), after.at(path)) == ("10 min", "5min")
    assert after.at(("readings",)) == {"hold": "2min"}
    text = BENCH.replace("on_delay: 10 min", "on_delay: 5min") + "readings: {hold: 2min}\n"
    assert after.value == document(text).value


def test_a_mistake_in_a_changed_document_names_the_option_and_no_line() -> None:
    error = BadConfig("c.yaml", [Mistake("readings.hold", 7, "is too long", "1 d is accepted")])
    assert str(blamed(error, [one_choice("readings.hold=9 h")])) == (
        "--vary readings.hold=9 h: readings.hold: is too long; 1 d is accepted"
    )


# As YAML.

leaves = st.one_of(
    st.booleans(),
    st.integers(-(10**20), 10**20),
    st.decimals(allow_nan=False, allow_infinity=False, places=3, min_value=-(10**9), max_value=10**9),
    st.text(st.characters(exclude_categories=("Cc", "Cs", "Cn", "Co", "Zl", "Zp")), max_size=12),
    st.sampled_from(["10 min", "75 °F", "90 %", "05:00", "no", "true", "null", "1e5", "12", "2026-03-02", "- a"]),
)  # fmt: skip
values = st.recursive(
    leaves,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text("abc 1.:", max_size=5), inner, max_size=3),
    max_leaves=6,
)  # fmt: skip


@given(values)
def test_a_value_written_down_is_read_as_the_same(value: Any) -> None:
    text = flow(value)
    assert "\n" not in text
    read = parse(f"key: {text}\nlist: [{text}]\n".encode(), "").value
    assert read == {"key": value, "list": [value]}
    assert type(read["key"]) is type(value)


@pytest.mark.parametrize(
    "text", ["10min", "10 min", "75 °F", "90 %", "0.4 kPa", "umol/m2/s", "New Guinea", "µS"]
)
def test_what_people_write_needs_no_quotes(text: str) -> None:
    assert (flow(text) == text) == (text != "umol/m2/s")


def test_a_fragment_shows_the_keys_that_lead_to_what_changes_and_nothing_else() -> None:
    chosen = [one_choice(f"{AIR}.on_delay=5min"), one_choice("crops.coleus.stages[1].bands={}")]
    assert "\n".join(fragment(document(), chosen)) == (
        "crops:\n"
        "  coleus:\n"
        "    stages:\n"
        "      - name: callusing\n"
        "        bands:\n"
        "          air_temperature:\n"
        "            on_delay: 5min\n"
        "      - name: rooting\n"
        "        bands: {}"
    )


def test_an_item_without_a_name_is_told_by_its_number() -> None:
    lines = list(fragment(document(), [one_choice("sensors.probes.channels[1].file=three")]))
    assert lines[3:] == ["      - # number 2 of this list", "        file: three"]
    assert parse("\n".join(lines).encode(), "").value == {
        "sensors": [{"name": "probes", "channels": [{"file": "three"}]}]
    }


def pasted(value: Any, piece: Any) -> Any:
    """What a person makes of a fragment: each key into the place of the same names."""
    if isinstance(piece, Mapping):
        return {**value, **{key: pasted(value.get(key, {}), one) for key, one in piece.items()}}
    if isinstance(piece, list):
        by_name = {one["name"]: one for one in piece}
        return [pasted(one, by_name.get(one["name"], {})) for one in value]
    return piece


@pytest.mark.parametrize(
    "text",
    [
        "crops.coleus.stages.callusing.bands.air_temperature.on_delay=5min",
        "crops.coleus.stages[0].bands.air_temperature.high=26.5",
        "trays.tray-a.stuck=2026-02-20",
        "readings.hold=90 s",
    ],
)
def test_a_pasted_fragment_is_the_changed_document(text: str) -> None:
    before = parse(BASE.encode(), "base.yaml")
    (chosen,) = choices([read_vary(text, before, parse)])
    lines = "".join(f"{line}\n" for line in fragment(before, chosen))
    assert pasted(before.value, parse(lines.encode(), "").value) == changed(before, chosen).value
