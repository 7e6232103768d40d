"""What people say of batches on the command line: put on record where it can be true, refused clearly where not.

All days are of the past of any clock that this is run with.
"""

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from base_config import BASE

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.rules.records import BATCH, Record

CONFIG = BASE.replace("2026-", "2020-")
NEW = ("new", "spring", "--tray", "tray-a", "--stuck-count", "40")
OLD = ("--stuck", "2020-03-02")


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "config.yaml"
    path.write_text(CONFIG, encoding="utf-8")
    return path


@pytest.fixture
def say(bench: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    """Return what runs an act and returns its status, what it printed and what it complained of."""

    def run(*words: str) -> tuple[int, str, str]:
        try:
            status = main(["batch", *words, "--config", str(bench)])
        except SystemExit as wrong_usage:
            status = int(wrong_usage.code or 0)
        return (status, *capsys.readouterr())

    return run


@pytest.fixture
def said(say: Any) -> Any:
    """Return what runs an act that must succeed and returns what it printed for programs."""

    def run(*words: str) -> dict[str, Any]:
        status, out, err = say(*words, "--json")
        assert (status, err) == (0, "")
        told: dict[str, Any] = json.loads(out)
        return told

    return run


def kept(bench: Path) -> list[Record]:
    if not (bench.parent / "wardian.db").exists():
        return []
    store = open_store(f"sqlite:///{bench.parent / 'wardian.db'}", bench.parent, read_only=True)
    records = store.records()
    store.close()
    return records


def test_a_batch_goes_from_sticking_to_potting(said: Any, bench: Path) -> None:
    begun = said(
        *NEW, *OLD, "--taken", "2020-03-02T08:00:00Z", "--length", "7 cm", "--concentration", "0.3 %"
    )
    assert (begun["record"], begun["crop"], begun["stuck"]) == (1, "coleus", "2020-03-02T12:00:00.000Z")
    assert begun["details"] == {
        "length_mm": 70.0,
        "taken": "2020-03-02T08:00:00.000Z",
        "hormone_mg_l": 3000.0,
    }
    assert begun["held_h"] == 4
    said("remove", "spring", "3", "rot", "--at", "2020-03-06", "--who", "helper")
    scored = said("score", "spring", "0=2,1=3,2=5,3=6,4=3,5=1", "--at", "2020-03-12")
    assert scored["outcome"]["rooted_of_looked_at"]["count"] == 10
    said("note", "spring", "pale leaves", "--at", "2020-03-13")
    closed = said(
        "close",
        "spring",
        "--potted",
        "30",
        "--fit",
        "28",
        "--discarded",
        "rot=3,wilt=4",
        "--at",
        "2020-03-23",
    )
    success = closed["outcome"]["rooted_and_fit"]
    assert (success["count"], success["of"], closed["outcome"]["left"]) == (28, 40, 0)
    assert closed["outcome"]["losses"] == {"rot": 6, "wilt": 4}
    assert said("show", "spring") == {name: closed[name] for name in said("show", "spring")}
    assert [record.kind for record in kept(bench)] == ["batch", "removal", "scores", "note", "closed"]


def test_all_of_it_is_shown_to_people(say: Any, said: Any) -> None:
    said(
        *NEW,
        *OLD,
        "--hormone",
        "IBA",
        "--who",
        "evening class",
        "--held-temperature",
        "50 °F",
        "--why",
        "for the sale",
    )
    said("remove", "spring", "3", "rot", "--at", "2020-03-06", "--who", "helper", "--why", "in a corner")
    said("score", "spring", "2=1,4=3", "--at", "2020-03-12", "--who", "helper")
    status, out, err = say("show", "spring")
    assert (status, err) == (0, "")
    assert out == (
        "batch spring: 40 cuttings of coleus in tray tray-a\n"
        "  stuck             2020-03-02 12:00 by evening class, for the sale\n"
        "  held temperature  50.0 °F\n"
        "  hormone           IBA\n"
        "  2020-03-06 12:00  [2]  helper  3 taken out: rot (in a corner)\n"
        "  2020-03-12 12:00  [3]  helper  3 of 4 with roots: 1 callus or swelling; 3 roots on several sides, the plug "
        "holds partly\n"
        "lost: 3 rot\n"
        "left in the tray: 37 of 40\n"
        "with roots: 3 of 4, 75 % (30 to 95 %) of those looked at, which may not stand for all\n"
    )
    _, listed, _ = say("list", "--open")
    assert listed.splitlines()[1].split("  ")[-1] == "so far 3 of 4 seen with roots"


def test_what_is_put_on_record_is_told_with_its_number(say: Any) -> None:
    status, out, _ = say(*NEW, *OLD)
    assert (status, out) == (
        0,
        "Batch spring: 40 cuttings of coleus stuck Mon 2 Mar 12:00, put on record as 1\n",
    )


def test_an_open_batch_other_than_its_tray_is_watched_as_is_warned_about(said: Any, say: Any) -> None:
    status, _, err = say(*NEW, "--stuck", "2020-02-29", "--crop", "mint")
    assert status == 0
    assert err == (
        "warning: tray tray-a is watched as coleus, not mint; change its crop in the configuration\n"
        "warning: tray tray-a is watched as stuck on 2020-03-02, 2 days after this batch; change its stuck in the "
        "configuration\n"
    )
    said("close", "spring", "--potted", "40", "--fit", "40", "--at", "2020-03-25")
    assert said("correct", "spring", "--stuck-count", "41")["warnings"] == []


@pytest.fixture(scope="module")
def begun(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a database with a batch of which some were taken out and some scored, all in three records."""
    folder = tmp_path_factory.mktemp("begun")
    (folder / "config.yaml").write_text(CONFIG, encoding="utf-8")
    removed = ("remove", "spring", "10", "rot", "--at", "2020-03-06")
    for words in ((*NEW, *OLD), removed, ("score", "spring", "2=20", "--at", "2020-03-12")):
        assert main(["batch", *words, "--config", str(folder / "config.yaml")]) == 0
    return folder / "wardian.db"


@pytest.fixture
def spring(begun: Path, bench: Path) -> int:
    """Put that database on the bench and return the number of its last record."""
    shutil.copy(begun, bench.parent)
    return 3


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("new", "spring", "--tray", "tray-b", "--stuck-count", "4"), "there is a batch spring already"),
        (("new", "next", "--tray", "tray-a", "--stuck-count", "4"), "batch spring is in tray tray-a; close it first"),
        (("new", "next", "--tray", "tray-z", "--stuck-count", "4"), "there is no tray 'tray-z'; did you mean tray-"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "0"), "0 cuttings cannot be stuck"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "x"), "--stuck-count 'x' is no whole number"),
        (("new", "next!", "--tray", "tray-b", "--stuck-count", "4"), "NAME 'next!' contains '!'"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--crop", "colius"), "did you mean coleus?"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--stuck", "2020-03-02", "--taken", "2020-03-03"), "stuck before they were taken"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--stuck", "9999-01-01"), "--stuck '9999-01-01' "),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--stuck", "noon"), "--stuck 'noon' "),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--medium-ph", "55"), "--medium-ph '55' is out of reach; 0 to 14 pH"),
        (("new", "next", "--tray", "tray-b", "--stuck-count", "4", "--length", "7 kg"), "--length '7 kg' has the unit 'kg'"),
        (("remove", "spring", "31", "rot"), "31 would be taken out where 30 are left"),
        (("remove", "spring", "0", "rot"), "0 cannot be taken out"),
        (("remove", "spring", "1", "rott"), "'rott' is no reason; did you mean rot?"),
        (("remove", "spring", "1", "rot", "--at", "2020-03-01"), "before it was stuck"),
        (("remove", "sprung", "1", "rot"), "there is no batch 'sprung'; did you mean spring?"),
        (("score", "spring", "3=31"), "31 would be scored where 30 are left"),
        (("score", "spring", "6=1"), "SCORES '6=1' has '6=1', which is no count of anything here"),
        (("score", "spring", "3"), "SCORES '3' has '3', which is no count of anything here"),
        (("score", "spring", "3=0"), "no cutting would be scored"),
        (("score", "spring", "3=1", "--corrects", "1"), "record 1 is about batch, not scores"),
        (("score", "spring", "3=1", "--corrects", "9"), "there is no record 9"),
        (("score", "spring", "3=1", "--at", "9000-01-01"), "--at '9000-01-01' lies ahead of the clock"),
        (("close", "spring", "--potted", "31", "--fit", "1"), "31 would be potted or discarded where 30 are left"),
        (("close", "spring", "--potted", "3", "--fit", "4"), "4 would be fit of 3 potted"),
        (("close", "spring", "--potted", "3", "--fit", "3", "--discarded", "gone=1"), "has 'gone=1', which is no count"),
        (("correct", "spring"), "nothing to correct was named"),
        (("correct", "spring", "--stuck-count", "29"), "20 would be scored where 19 are left"),
        (("correct", "spring", "--stuck", "2020-03-07"), "before it was stuck"),
        (("note", "spring", " "), "TEXT '' is too long or says nothing"),
        (("show", "summer"), "there is no batch 'summer'"),
        (("list", "--crop", "colius"), "--crop 'colius' is no crop here; did you mean coleus?"),
        (("compare", "spring"), "the names of two batches are accepted, or --by"),
        (("compare", "spring", "spring"), "the names of two batches are accepted, or --by"),
        (("compare", "spring", "summer"), "there is no batch 'summer'"),
        (("compare", "--by", "medium"), "two kinds of medium are needed; here are 0"),
        (("compare", "--by", "weather"), "invalid choice: 'weather'"),
        (("import", "nowhere.csv"), "nowhere.csv: No such file or directory"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_refused_and_nothing_recorded(
    say: Any, spring: int, bench: Path, words: tuple[str, ...], why: str
) -> None:
    status, out, err = say(*words)
    assert (status, out) == (2, "")
    assert why in err
    assert "Traceback" not in err
    assert kept(bench)[-1].number == spring


def test_a_correction_is_a_record_of_its_own_and_names_what_it_corrects(
    said: Any, spring: int, bench: Path
) -> None:
    assert said("score", "spring", "2=10,3=10", "--corrects", "3")["scores"][0]["rooted"] == 10
    assert (
        said("correct", "spring", "--stuck-count", "41", "--medium", "sand", "--who", "helper")["count_stuck"]
        == 41
    )
    after = said("correct", "spring", "--medium", "")
    assert (after["count_stuck"], after["details"]) == (41, {"stuck_by": kept(bench)[0].who})
    corrections = [(record.kind, record.corrects) for record in kept(bench)[spring:]]
    assert corrections == [("scores", 3), ("batch", 1), ("batch", 5)]
    assert kept(bench)[spring].time_ms == kept(bench)[spring - 1].time_ms


def test_what_happened_to_a_batch_goes_along_into_the_tray_that_it_is_really_in(
    said: Any, spring: int, bench: Path
) -> None:
    before = said("show", "spring")
    after = said("correct", "spring", "--tray", "tray-b", "--who", "helper")
    assert after["tray"] == "tray-b"
    assert [(one.kind, one.tray, one.corrects) for one in kept(bench)[spring:]] == [
        ("batch", "tray-b", 1),
        ("removal", "tray-b", 2),
        ("scores", "tray-b", 3),
    ]
    assert without_numbers(after["scores"]) == without_numbers(before["scores"])
    assert said("new", "next", "--tray", "tray-a", "--stuck-count", "5")["tray"] == "tray-a"


def test_what_is_closed_is_added_to_by_notes_and_corrections_only(say: Any, said: Any, spring: int) -> None:
    said("close", "spring", "--potted", "20", "--fit", "20", "--at", "2020-03-23")
    for words in (
        ("remove", "spring", "1", "rot"),
        ("score", "spring", "3=1"),
        ("close", "spring", "--potted", "1", "--fit", "1"),
    ):
        status, _, err = say(*words)
        assert (status, "batch spring is closed" in err) == (2, True)
    said("note", "spring", "they sold well")
    assert said("remove", "spring", "9", "rot", "--corrects", str(spring - 1))["outcome"]["losses"] == {
        "rot": 9
    }
    corrected = said("close", "spring", "--potted", "19", "--fit", "18", "--corrects", str(spring + 1))
    assert corrected["outcome"]["rooted_and_fit"]["count"] == 18
    said("new", "summer", "--tray", "tray-a", "--stuck-count", "5", "--stuck", "2020-03-24")


def test_a_correction_that_would_not_hold_of_another_batch_is_refused(
    say: Any, said: Any, spring: int
) -> None:
    said("new", "mint", "--tray", "tray-b", "--stuck-count", "5", *OLD)
    status, _, err = say("score", "mint", "3=1", "--corrects", str(spring))
    assert (status, f"record {spring} is about batch spring, not mint" in err) == (2, True)


def test_a_name_that_records_are_about_is_not_given_again(bench: Path, say: Any, spring: int) -> None:
    store = open_store(f"sqlite:///{bench.parent / 'wardian.db'}", bench.parent, read_only=True)
    store.record(lambda known: [known[0]._replace(kind="withdrawn", fields={}, corrects=1)])
    store.close()
    status, _, err = say(*NEW, *OLD)
    assert (status, "record 2, 3 is about a batch spring already" in err) == (2, True)


def test_crop_and_day_are_those_of_the_tray_where_nobody_says(said: Any) -> None:
    begun = said("new", "mint", "--tray", "tray-b", "--stuck-count", "5", "--taken", "2020-03-01T15:00:00Z")
    assert (begun["crop"], begun["stuck"], begun["warnings"]) == ("mint", "2020-03-01T15:00:00.000Z", [])
    assert (
        said("new", "noon", "--tray", "tray-a", "--stuck-count", "5")["stuck"] == "2020-03-02T12:00:00.000Z"
    )


def test_a_table_comes_back_into_an_empty_store_as_it_was(said: Any, spring: int, bench: Path) -> None:
    said("close", "spring", "--potted", "20", "--fit", "20", "--at", "2020-03-23")
    out = bench.parent / "past.csv"
    assert said("export", "--out", str(out)) == {"file": str(out), "batches": 1}
    before = said("show", "spring")
    (bench.parent / "wardian.db").rename(bench.parent / "old.db")
    assert said("import", str(out)) == {"file": str(out), "batches": 1}
    after = said("show", "spring")
    assert without_numbers(after) == without_numbers(before)
    first = out.read_bytes()
    said("export", "--out", str(out))
    assert out.read_bytes() == first


def without_numbers(told: Any) -> Any:
    if isinstance(told, dict):
        return {name: without_numbers(value) for name, value in told.items() if name != "record"}
    return [without_numbers(one) for one in told] if isinstance(told, list) else told


def test_one_bad_row_keeps_all_others_out(say: Any, bench: Path) -> None:
    past = bench.parent / "past.csv"
    past.write_text(
        "batch,tray,crop,stuck,count_stuck\ngood,tray-a,coleus,2020-03-02,5\nbad,tray-b,pelargonum,2020-03-02,x\n"
    )
    status, out, err = say("import", str(past))
    assert (status, out) == (2, "")
    assert [line.removeprefix(f"{past}:") for line in err.splitlines()] == [
        "3: crop: 'pelargonum' is no crop here; did you mean pelargonium?",
        "3: count_stuck: 'x' is no whole number; 0 to 1000000 is accepted",
    ]
    assert kept(bench) == []


@pytest.fixture
def seasons(say: Any, bench: Path) -> None:
    past = bench.parent / "past.csv"
    rows = ["batch,tray,crop,stuck,count_stuck,medium,source,closed,potted,fit"]
    for number, (crop, medium, fit) in enumerate(
        [
            ("coleus", "sand", 19),
            ("coleus", "peat", 10),
            ("mint", "peat", 12),
            ("coleus", "bark", 20),
            ("coleus", "", 1),
        ]
    ):
        closed = f"2020-0{number + 1}-25"
        rows.append(f"batch {number},old,{crop},2020-0{number + 1}-01,20,{medium},plant,{closed},20,{fit}")
    past.write_text("\n".join([*rows, "open,tray-a,coleus,2020-03-01,20,sand,plant,,,"]))
    assert say("import", str(past))[0] == 0


def test_groups_are_compared_with_what_the_numbers_cannot_tell(say: Any, seasons: None) -> None:
    status, out, err = say("compare", "--by", "medium")
    assert (status, err) == (0, "")
    lines = out.splitlines()
    assert lines[1].split() == ["peat", "2", "22", "40", "55", "%", "40", "to", "69", "%"]
    assert "bark less peat: +45 points, 95 % interval +23 to +60 points." in lines
    assert (
        "That speaks for bark: chance alone would seldom make such a difference. Why, it does not say."
        in lines
    )
    assert "Also different, and perhaps the reason: when they were stuck, crop." in lines
    assert (
        "where nothing differs, chance alone makes at least one of so many look like a difference about 10 times"
        in out
    )
    assert "Nobody drew lots" in out
    assert lines[-2:] == ["Left out: 1, not closed.", "Left out: 1, closed, but nobody recorded the medium."]
    assert "prove" not in out


def test_of_two_batches_too_small_to_tell_it_is_said_how_many_it_takes(say: Any, seasons: None) -> None:
    _, out, _ = say("compare", "batch 2", "batch 1")
    assert "batch 2 less batch 1: +10 points, 95 % interval -19 to +37 points." in out
    assert "That cannot tell batch 2 from batch 1: too few cuttings, or no difference." in out
    assert (
        "of 10 points, it takes about 388 cuttings in each group to see it in four trials of five; here are 20 and 20"
        in out
    )


def test_groups_may_be_of_one_crop_and_of_late(said: Any, say: Any, seasons: None) -> None:
    groups = said("compare", "--by", "medium", "--crop", "coleus")["groups"]
    assert [(one["group"], one["batches"]) for one in groups] == [
        ("bark", ["batch 3"]),
        ("peat", ["batch 1"]),
        ("sand", ["batch 0"]),
    ]
    late = said("compare", "--by", "medium", "--since", "2020-02-20")
    assert [one["group"] for one in late["groups"]] == ["bark", "peat"]
    assert late["comparisons"][0]["differed"] == ["stuck", "crop"]
    assert [
        json.loads(line)["batch"] for line in say("list", "--crop", "mint", "--json")[1].splitlines()
    ] == ["batch 2"]


def test_an_open_batch_is_not_compared(say: Any, seasons: None) -> None:
    status, _, err = say("compare", "open", "batch 1")
    assert (status, "batch open is not closed" in err) == (2, True)


def test_the_beginning_is_kept_with_who_said_it(said: Any, bench: Path) -> None:
    said(*NEW, *OLD, "--who", " evening\tclass ")
    (record,) = kept(bench)
    assert (record.kind, record.who, record.batch, record.tray) == (
        BATCH,
        "evening class",
        "spring",
        "tray-a",
    )
