"""A truth goes to a file and back, and every mistake in one is told with its place."""

import json
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wardian.adapters.truth_file import MOST_BYTES, read_truth, write_truth
from wardian.rules.errors import BadReading
from wardian.rules.faults import FAULTS
from wardian.rules.truth import CARE_EVENTS, TrueCare, TrueFault, Truth

START_MS = 1_772_409_600_000  # 2026-03-02T00:00:00Z
WEEK_MS = 7 * 86_400_000

instants = st.integers(START_MS, START_MS + WEEK_MS)
names = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=8)


@st.composite
def truths(draw: st.DrawFn) -> Truth:
    spans = st.tuples(instants, instants).map(lambda span: (min(span), max(span)))
    faults = [
        TrueFault(draw(names), draw(st.sampled_from(sorted(FAULTS))), *draw(spans), quantity=draw(of))
        for of in draw(st.lists(st.just(st.sampled_from((None, "ppfd", "tray_mass"))), max_size=4))
    ]
    care = [
        TrueCare(draw(names), event, *draw(spans))
        for event in draw(st.lists(st.sampled_from(CARE_EVENTS), max_size=4))
    ]
    return Truth(draw(st.integers()), START_MS, START_MS + WEEK_MS, tuple(faults), tuple(care))


def document(**changes: Any) -> dict[str, Any]:
    whole: dict[str, Any] = {
        "seed": 7,
        "start": "2026-03-02T00:00:00Z",
        "end": "2026-03-09T00:00:00Z",
        "faults": [
            {
                "tray": "tray-a",
                "fault": "heater dead",
                "from": "2026-03-04T06:00:00Z",
                "to": "2026-03-04T12:00:00Z",
            }
        ],
        "care": [
            {
                "tray": "tray-a",
                "event": "misted",
                "from": "2026-03-03T08:00:00+01:00",
                "to": "2026-03-03T08:01:00+01:00",
            }
        ],
    }
    return {name: value for name, value in (whole | changes).items() if value is not ...}


def fault(**changes: Any) -> dict[str, Any]:
    whole = document()["faults"][0] | changes
    return {"faults": [document()["faults"][0], {n: v for n, v in whole.items() if v is not ...}]}


def care(**changes: Any) -> dict[str, Any]:
    whole = document()["care"][0] | changes
    return {"care": [{n: v for n, v in whole.items() if v is not ...}]}


def read(folder: Path, text: str | bytes) -> Truth:
    path = folder / "truth.json"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_truth(path)


def why_not(folder: Path, text: str | bytes) -> str:
    with pytest.raises(BadReading) as caught:
        read(folder, text)
    assert caught.value.source == str(folder / "truth.json")
    return caught.value.why


@given(truths())
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_truth_comes_back_as_it_was_written(tmp_path: Path, truth: Truth) -> None:
    write_truth(tmp_path / "truth.json", truth)
    assert read_truth(tmp_path / "truth.json") == truth


def test_a_truth_is_written_as_promised(tmp_path: Path) -> None:
    write_truth(tmp_path / "truth.json", read(tmp_path, json.dumps(document())))
    written = json.loads((tmp_path / "truth.json").read_text())
    assert list(written) == ["seed", "start", "end", "faults", "care"]
    assert written["start"] == "2026-03-02T00:00:00.000Z"
    assert written["faults"] == [
        {
            "tray": "tray-a",
            "fault": "heater dead",
            "from": "2026-03-04T06:00:00.000Z",
            "to": "2026-03-04T12:00:00.000Z",
        }
    ]
    assert written["care"][0]["from"] == "2026-03-03T07:00:00.000Z"


def test_a_fault_of_a_sensor_says_what_it_measures(tmp_path: Path) -> None:
    truth = read(tmp_path, json.dumps(document(**fault(fault="sensor stuck", quantity="ppfd"))))
    assert truth.faults[1].quantity == "ppfd"
    write_truth(tmp_path / "again.json", truth)
    assert [one.get("quantity") for one in json.loads((tmp_path / "again.json").read_text())["faults"]] == [
        None,
        "ppfd",
    ]


def test_further_keys_are_left_alone(tmp_path: Path) -> None:
    more = document(scenarios=["steady"], **fault(quantity=None, words={"deep": [1.5]}))
    assert read(tmp_path, json.dumps(more)).faults[1] == read(tmp_path, json.dumps(document())).faults[0]


@pytest.mark.parametrize(
    ("changes", "place"),
    [
        ({"seed": ...}, "seed is missing; a whole number is accepted"),
        ({"seed": True}, "seed is True; "),
        ({"seed": 1.5}, "seed is 1.5; a whole number"),
        ({"start": ...}, "start is missing; a time is accepted"),
        ({"start": "2026-03-02T00:00:00"}, "start: time '2026-03-02T00:00:00' has no offset; RFC 3339"),
        ({"end": 12}, "end is 12; a time is accepted"),
        ({"end": "2026-03-01T00:00:00Z"}, "end is before start; "),
        ({"faults": ...}, "faults is missing; a list is accepted"),
        ({"faults": {}}, "faults is {}; a list is accepted"),
        ({"care": ...}, "care is missing; a list is accepted"),
        ({"faults": ["heater dead"]}, "faults[0] is 'heater dead'; an object with tray"),
        (fault(tray=...), "faults[1].tray is missing; the name of a tray"),
        (fault(tray=""), "faults[1].tray is ''; the name of a tray"),
        (fault(tray=5), "faults[1].tray is 5; the name of a tray"),
        (fault(fault="heater ded"), "faults[1].fault is 'heater ded'; did you mean heater dead?"),
        (fault(fault="dragons"), "faults[1].fault is 'dragons'; accepted: heater dead, heater stuck on"),
        (fault(**{"from": "noon"}), "faults[1].from: time 'noon' is not readable; RFC 3339"),
        (fault(to="2026-03-04T05:59:59Z"), "faults[1].to is before from; "),
        (fault(quantity="dew_point"), "faults[1].quantity is 'dew_point'; accepted: "),
        (fault(quantity="illuminanc"), "faults[1].quantity is 'illuminanc'; did you mean illuminance?"),
        (care(event="sung"), "care[0].event is 'sung'; accepted: lifted, misted, watered"),
        (care(to=...), "care[0].to is missing; a time is accepted"),
    ],
)
def test_a_mistake_is_told_with_its_place(tmp_path: Path, changes: dict[str, Any], place: str) -> None:
    assert why_not(tmp_path, json.dumps(document(**changes))).startswith(place)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("", "is not JSON"),
        ("[]", "is []; an object with seed, start, end, faults, care is accepted"),
        ('{"seed": 1, "seed": 2}', "names the key 'seed' twice"),
        ('{"seed": NaN}', "holds NaN, which is not JSON"),
        ("[" * 100_000, "is nested deeper than 8 levels"),
        (b"\xff", "is not UTF-8"),
        ("time,tray,quantity,value,unit\n", "is not JSON"),
    ],
)
def test_what_is_no_truth_is_refused(tmp_path: Path, text: str | bytes, why: str) -> None:
    assert why_not(tmp_path, text).startswith(why)


def test_a_file_that_is_not_there_is_told(tmp_path: Path) -> None:
    with pytest.raises(BadReading, match=r"truth\.json: cannot be read: No such file"):
        read_truth(tmp_path / "truth.json")


def test_a_truth_of_many_weeks_is_read(tmp_path: Path) -> None:
    many = document(faults=document()["faults"] * 40_000)
    assert len(read(tmp_path, json.dumps(many)).faults) == 40_000


def test_a_file_beyond_all_measure_is_refused(tmp_path: Path) -> None:
    assert why_not(tmp_path, b" " * (MOST_BYTES + 1)) == f"has more than {MOST_BYTES} bytes"


def test_a_truth_that_cannot_be_written_leaves_nothing_behind(tmp_path: Path) -> None:
    (tmp_path / "truth.json").mkdir()
    with pytest.raises(OSError, match=r"truth\.json"):
        write_truth(tmp_path / "truth.json", Truth(1, START_MS, START_MS, (), ()))
    assert [one.name for one in tmp_path.iterdir()] == ["truth.json"]
