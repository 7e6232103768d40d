"""What people say of batches on the command line: put on record where it can be true, refused clearly where not.

All days are of the past of any clock that this is run with.
"""

import shutil
from pathlib import Path
from typing import Any

import pytest
from batch_bench import CONFIG, BatchBench

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.daemon.cli_batch_options import GROUPED_BY, LOSSES
from wardian.rules.batch_compare import BY
from wardian.rules.batches import REASONS
from wardian.rules.records import BATCH

NEW = ("new", "spring", "--tray", "tray-a", "--stuck-count", "40")
OLD = ("--stuck", "2020-03-02")


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> BatchBench:
    return BatchBench(tmp_path, capsys)


def test_what_the_options_offer_is_what_the_rules_know() -> None:
    assert LOSSES == REASONS
    assert sorted(BY) == list(GROUPED_BY)


def test_a_batch_goes_from_sticking_to_potting(bench: BatchBench) -> None:
    begun = bench.said(
        *NEW, *OLD, "--taken", "2020-03-02T08:00:00Z", "--length", "7 cm", "--concentration", "0.3 %"
    )
    assert (begun["record"], begun["crop"], begun["stuck"]) == (1, "coleus", "2020-03-02T12:00:00.000Z")
    assert begun["details"] == {
        "length_mm": 70.0,
        "taken": "2020-03-02T08:00:00.000Z",
        "hormone_mg_l": 3000.0,
    }
    assert begun["held_h"] == 4
    bench.said("remove", "spring", "3", "rot", "--at", "2020-03-06", "--who", "helper")
    scored = bench.said("score", "spring", "0=2,1=3,2=5,3=6,4=3,5=1", "--at", "2020-03-12")
    assert scored["outcome"]["rooted_of_looked_at"]["count"] == 10
    bench.said("note", "spring", "pale leaves", "--at", "2020-03-13")
    closed = bench.said(
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
    assert bench.said("show", "spring") == {name: closed[name] for name in bench.said("show", "spring")}
    assert [record.kind for record in bench.kept()] == ["batch", "removal", "scores", "note", "closed"]


def test_all_of_it_is_shown_to_people(bench: BatchBench) -> None:
    bench.said(
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
    bench.said(
        "remove", "spring", "3", "rot", "--at", "2020-03-06", "--who", "helper", "--why", "in a corner"
    )
    bench.said("score", "spring", "2=1,4=3", "--at", "2020-03-12", "--who", "helper")
    status, out, err = bench.say("show", "spring")
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
    _, listed, _ = bench.say("list", "--open")
    assert listed.splitlines()[1].split("  ")[-1] == "so far 3 of 4 seen with roots"


def test_what_is_put_on_record_is_told_with_its_number(bench: BatchBench) -> None:
    status, out, _ = bench.say(*NEW, *OLD)
    assert (status, out) == (
        0,
        "Batch spring: 40 cuttings of coleus stuck Mon 2 Mar 12:00, put on record as 1\n",
    )


def test_an_open_batch_other_than_its_tray_is_watched_as_is_warned_about(bench: BatchBench) -> None:
    status, _, err = bench.say(*NEW, "--stuck", "2020-02-29", "--crop", "mint")
    assert status == 0
    assert err == (
        "warning: tray tray-a is watched as coleus, not mint; change its crop in the configuration\n"
        "warning: tray tray-a is watched as stuck on 2020-03-02, 2 days after this batch; change its stuck in the "
        "configuration\n"
    )
    bench.said("close", "spring", "--potted", "40", "--fit", "40", "--at", "2020-03-25")
    assert bench.said("correct", "spring", "--stuck-count", "41")["warnings"] == []


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
def spring(bench: BatchBench, begun: Path) -> int:
    """Put that database on the bench and return the number of its last record."""
    shutil.copy(begun, bench.folder)
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
    bench: BatchBench, spring: int, words: tuple[str, ...], why: str
) -> None:
    status, out, err = bench.say(*words)
    assert (status, out) == (2, "")
    assert why in err
    assert "Traceback" not in err
    assert bench.kept()[-1].number == spring


def test_a_correction_is_a_record_of_its_own_and_names_what_it_corrects(
    bench: BatchBench, spring: int
) -> None:
    assert bench.said("score", "spring", "2=10,3=10", "--corrects", "3")["scores"][0]["rooted"] == 10
    assert (
        bench.said("correct", "spring", "--stuck-count", "41", "--medium", "sand", "--who", "helper")[
            "count_stuck"
        ]
        == 41
    )
    after = bench.said("correct", "spring", "--medium", "")
    assert (after["count_stuck"], after["details"]) == (41, {"stuck_by": bench.kept()[0].who})
    corrections = [(record.kind, record.corrects) for record in bench.kept()[spring:]]
    assert corrections == [("scores", 3), ("batch", 1), ("batch", 5)]
    assert bench.kept()[spring].time_ms == bench.kept()[spring - 1].time_ms


def test_what_happened_to_a_batch_goes_along_into_the_tray_that_it_is_really_in(
    bench: BatchBench, spring: int
) -> None:
    before = bench.said("show", "spring")
    after = bench.said("correct", "spring", "--tray", "tray-b", "--who", "helper")
    assert after["tray"] == "tray-b"
    assert [(one.kind, one.tray, one.corrects) for one in bench.kept()[spring:]] == [
        ("batch", "tray-b", 1),
        ("removal", "tray-b", 2),
        ("scores", "tray-b", 3),
    ]
    assert without_numbers(after["scores"]) == without_numbers(before["scores"])
    assert bench.said("new", "next", "--tray", "tray-a", "--stuck-count", "5")["tray"] == "tray-a"


def test_what_is_closed_is_added_to_by_notes_and_corrections_only(bench: BatchBench, spring: int) -> None:
    bench.said("close", "spring", "--potted", "20", "--fit", "20", "--at", "2020-03-23")
    for words in (
        ("remove", "spring", "1", "rot"),
        ("score", "spring", "3=1"),
        ("close", "spring", "--potted", "1", "--fit", "1"),
    ):
        status, _, err = bench.say(*words)
        assert (status, "batch spring is closed" in err) == (2, True)
    bench.said("note", "spring", "they sold well")
    assert bench.said("remove", "spring", "9", "rot", "--corrects", str(spring - 1))["outcome"]["losses"] == {
        "rot": 9
    }
    corrected = bench.said("close", "spring", "--potted", "19", "--fit", "18", "--corrects", str(spring + 1))
    assert corrected["outcome"]["rooted_and_fit"]["count"] == 18
    bench.said("new", "summer", "--tray", "tray-a", "--stuck-count", "5", "--stuck", "2020-03-24")


def test_a_correction_that_would_not_hold_of_another_batch_is_refused(bench: BatchBench, spring: int) -> None:
    bench.said("new", "mint", "--tray", "tray-b", "--stuck-count", "5", *OLD)
    status, _, err = bench.say("score", "mint", "3=1", "--corrects", str(spring))
    assert (status, f"record {spring} is about batch spring, not mint" in err) == (2, True)


def test_a_batch_is_withdrawn_last_of_all_that_is_on_record_of_it(bench: BatchBench, spring: int) -> None:
    status, _, err = bench.say("withdraw", "1", command="records")
    assert (status, "record 2, 3 is about batch spring as well" in err) == (2, True)
    for number in ("3", "2", "1"):
        assert bench.say("withdraw", number, command="records")[0] == 0
    assert bench.say("list")[1] == "there is no such batch\n"
    assert bench.said(*NEW, *OLD)["outcome"]["left"] == 40


def test_a_batch_is_not_opened_again_where_another_is_now(bench: BatchBench, spring: int) -> None:
    closed = bench.said("close", "spring", "--potted", "9", "--fit", "9", "--at", "2020-03-23")["number"]
    bench.said("new", "next", "--tray", "tray-a", "--stuck-count", "5", "--stuck", "2020-03-24")
    status, _, err = bench.say("withdraw", str(closed), command="records")
    assert (status, "batch next is in tray tray-a now; batch spring cannot be, too" in err) == (2, True)
    assert bench.said("show", "spring")["closed"] is not None


def test_a_name_that_records_are_about_is_not_given_again(bench: BatchBench, spring: int) -> None:
    store = open_store(f"sqlite:///{bench.folder / 'wardian.db'}", bench.folder, read_only=True)
    store.record(lambda known: [known[0]._replace(kind="withdrawn", fields={}, corrects=1)])
    store.close()
    status, _, err = bench.say(*NEW, *OLD)
    assert (status, "record 2, 3 is about a batch spring already" in err) == (2, True)


def test_crop_and_day_are_those_of_the_tray_where_nobody_says(bench: BatchBench) -> None:
    begun = bench.said(
        "new", "mint", "--tray", "tray-b", "--stuck-count", "5", "--taken", "2020-03-01T15:00:00Z"
    )
    assert (begun["crop"], begun["stuck"], begun["warnings"]) == ("mint", "2020-03-01T15:00:00.000Z", [])
    assert (
        bench.said("new", "noon", "--tray", "tray-a", "--stuck-count", "5")["stuck"]
        == "2020-03-02T12:00:00.000Z"
    )


def test_a_table_comes_back_into_an_empty_store_as_it_was(bench: BatchBench, spring: int) -> None:
    bench.said("close", "spring", "--potted", "20", "--fit", "20", "--at", "2020-03-23")
    out = bench.folder / "past.csv"
    assert bench.said("export", "--out", str(out)) == {"file": str(out), "batches": 1}
    before = bench.said("show", "spring")
    (bench.folder / "wardian.db").rename(bench.folder / "old.db")
    assert bench.said("import", str(out)) == {"file": str(out), "batches": 1}
    after = bench.said("show", "spring")
    assert without_numbers(after) == without_numbers(before)
    first = out.read_bytes()
    bench.said("export", "--out", str(out))
    assert out.read_bytes() == first


def without_numbers(told: Any) -> Any:
    if isinstance(told, dict):
        return {name: without_numbers(value) for name, value in told.items() if name != "record"}
    return [without_numbers(one) for one in told] if isinstance(told, list) else told


def test_one_bad_row_keeps_all_others_out(bench: BatchBench) -> None:
    past = bench.folder / "past.csv"
    past.write_text(
        "batch,tray,crop,stuck,count_stuck\ngood,tray-a,coleus,2020-03-02,5\nbad,tray-b,pelargonum,2020-03-02,x\n"
    )
    status, out, err = bench.say("import", str(past))
    assert (status, out) == (2, "")
    assert [line.removeprefix(f"{past}:") for line in err.splitlines()] == [
        "3: crop: 'pelargonum' is no crop here; did you mean pelargonium?",
        "3: count_stuck: 'x' is no whole number; 0 to 1000000 is accepted",
    ]
    assert bench.kept() == []


def test_the_beginning_is_kept_with_who_said_it(bench: BatchBench) -> None:
    bench.said(*NEW, *OLD, "--who", " evening\tclass ")
    (record,) = bench.kept()
    assert (record.kind, record.who, record.batch, record.tray) == (
        BATCH,
        "evening class",
        "spring",
        "tray-a",
    )
