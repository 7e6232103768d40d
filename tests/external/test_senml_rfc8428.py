"""SenML packs, times and units: RFC 8428 (2018), sections 4 and 5.1, and RFC 8798 (2020).

The packs and what they resolve to are in data/senml_packs.json, each with its mark: read in the RFC's text, or
computed by a resolver that is not ours. The rules of section 4 and table 6 of RFC 8428 were read in the same text,
/100 in the last draft of RFC 8798.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from wardian.adapters.payloads import Address, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.timestamps import parse_ms
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import in_own_unit, unit_named

PACKS = json.loads((Path(__file__).parent / "data" / "senml_packs.json").read_text(encoding="utf-8"))["packs"]

#: What the examples measure that is a quantity here; the rest (volts, places) must be refused for its unit.
QUANTITY_OF = {"Cel": "air_temperature", "%RH": "relative_humidity", "lx": "illuminance"}

#: The rule (section of RFC 8428), a pack that breaks it, what the refusal says.
BROKEN = [
    ("4.4: a label ending in _ must be understood", '[{"n": "x", "v": 1, "foo_": 2}]', "must be understood"),
    ("4.1, 4.4: a newer version", '[{"bver": 11, "n": "x", "v": 1}]', "newer than 10"),
    ("4.5.1: no space in a name", '[{"n": "tray 1", "v": 1}]', "no SenML name"),
    ("4.5.1: a letter or digit first", '[{"n": ":tray", "v": 1}]', "no SenML name"),
    ("4.2, 4.5.1: a name or a base name", '[{"v": 1}]', "neither a name nor a base name"),
    ("4.2: one value", '[{"n": "x", "v": 1, "vs": "1"}]', "more than one value"),
    ("4.2: a value or a sum", '[{"n": "x", "u": "Cel"}]', "has no value"),
    ("5: a pack is an array", '{"n": "x", "v": 1}', "is an array"),
]

#: Base time plus time in seconds, the instant meant, None for as many seconds from now (section 4.5.3).
TIME_EDGES = [
    (0, None),
    (-60, None),
    (60, None),
    (268435455, None),
    (268435456, "1978-07-04T21:24:16Z"),
    (1767225600, "2026-01-01T00:00:00Z"),
]

#: Unit (table 6 of RFC 8428, of which pH and S/m from memory; /100: RFC 8798), quantity, value, the same in the quantity's own unit.
UNITS = [
    ("Cel", "air_temperature", 23.5, 23.5),
    ("K", "air_temperature", 296.65, 23.5),
    ("%RH", "relative_humidity", 91.4, 91.4),
    ("/", "relative_humidity", 0.914, 91.4),
    ("%", "relative_humidity", 0.914, 91.4),  # the deprecated name of a ratio 0 to 1, not a percentage
    ("%", "medium_moisture", 0.6, 60.0),
    ("/100", "medium_moisture", 60, 60.0),
    ("lx", "illuminance", 4200, 4200.0),
    ("kg", "tray_mass", 1.523, 1523.0),
    ("pH", "water_ph", 6.1, 6.1),
    ("S/m", "water_ec", 0.12, 1.2),
]

#: Units of table 6 in which nothing here is measured.
FOREIGN_UNITS = ["W/m2", "%EL", "EL", "count", "V", "mol", "kg/m3", "lon", "lat", "A"]


@pytest.mark.parametrize("case", PACKS, ids=[case["case"] for case in PACKS])
def test_a_pack_resolves_to_the_records_given(case: dict[str, Any]) -> None:
    names = sorted({record["n"] for record in case["resolved"]})
    trays = {name: f"tray-{number}" for number, name in enumerate(names)}
    form = SenmlForm({name: Target(_quantity(name, case["resolved"]), trays[name]) for name in names})
    outcome = form.at(Address("topic", frozenset(trays.values()))).decode(
        json.dumps(case["pack"]).encode(), case["arrival_s"] * 1000
    )
    readable = [one for one in case["resolved"] if one.get("u") in QUANTITY_OF and "v" in one]
    assert sorted((one.time_ms, one.tray, one.value, one.unit) for one in outcome.measured) == sorted(
        (int(one["t"] * 1000), trays[one["n"]], float(one["v"]), one["u"]) for one in readable
    )
    others = [one for one in case["resolved"] if one not in readable]
    assert sorted((one.time_ms, one.tray) for one in outcome.refused) == sorted(
        (int(one["t"] * 1000), trays[one["n"]]) for one in others
    )


def _quantity(name: str, resolved: list[dict[str, Any]]) -> str:
    units = [one.get("u") for one in resolved if one["n"] == name]
    return next((QUANTITY_OF[unit] for unit in units if unit in QUANTITY_OF), "air_temperature")


@pytest.mark.parametrize(("pack", "reason"), [row[1:] for row in BROKEN], ids=[row[0] for row in BROKEN])
def test_a_broken_rule_is_refused_with_its_reason(pack: str, reason: str) -> None:
    form = SenmlForm({"x": Target("air_temperature", "tray-a")})
    outcome = form.at(Address("topic", frozenset({"tray-a"}))).decode(pack.encode(), 0)
    assert outcome.measured == []
    assert reason in outcome.refused[0].why


@pytest.mark.parametrize("pack", ['[{"n": "x", "v": 1, "foo": 2}]', '[{"n": "x", "v": 1}]'])
def test_an_unknown_field_and_a_missing_unit_are_accepted(pack: str) -> None:
    form = SenmlForm({"x": Target("air_temperature", "tray-a")})
    outcome = form.at(Address("topic", frozenset({"tray-a"}))).decode(pack.encode(), 0)
    assert [one.value for one in outcome.measured] == [1.0]


@pytest.mark.parametrize(("seconds", "instant"), TIME_EDGES)
@pytest.mark.parametrize("is_base", [True, False])
def test_times_below_two_to_the_28_count_from_now(seconds: int, instant: str | None, is_base: bool) -> None:
    now_ms = parse_ms("2026-01-01T00:00:00.250Z")
    record = {"n": "x", "v": 1, ("bt" if is_base else "t"): seconds}
    form = SenmlForm({"x": Target("air_temperature", "tray-a")})
    outcome = form.at(Address("topic", frozenset({"tray-a"}))).decode(json.dumps([record]).encode(), now_ms)
    expected_ms = now_ms + seconds * 1000 if instant is None else parse_ms(instant)
    assert [one.time_ms for one in outcome.measured] == [expected_ms]


@pytest.mark.parametrize(("unit", "quantity", "value", "own"), UNITS)
def test_a_unit_of_senml_becomes_the_quantitys_own(
    unit: str, quantity: str, value: float, own: float
) -> None:
    form = SenmlForm({"x": Target(quantity, "tray-a")})
    record = {"n": "x", "u": unit, "v": value}
    (one,) = (
        form.at(Address("topic", frozenset({"tray-a"}))).decode(json.dumps([record]).encode(), 0).measured
    )
    known = unit_named(QUANTITIES[quantity].dimension, one.unit)
    assert known is not None
    assert in_own_unit(one.value, known) == own


@pytest.mark.parametrize("unit", FOREIGN_UNITS)
@pytest.mark.parametrize("quantity", [one.name for one in QUANTITIES.values() if not one.derived])
def test_a_unit_in_which_nothing_here_is_measured_is_refused(unit: str, quantity: str) -> None:
    form = SenmlForm({"x": Target(quantity, "tray-a")})
    record = {"n": "x", "u": unit, "v": 1}
    outcome = form.at(Address("topic", frozenset({"tray-a"}))).decode(json.dumps([record]).encode(), 0)
    assert outcome.measured == []
    assert f"unit '{unit}' is none of {quantity}" in outcome.refused[0].why
