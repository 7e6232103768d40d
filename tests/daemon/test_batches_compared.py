"""Batches and groups of them compared on the command line: what the numbers tell, and what they do not."""

import json
from pathlib import Path

import pytest
from batch_bench import BatchBench


@pytest.fixture
def bench(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> BatchBench:
    return BatchBench(tmp_path, capsys)


@pytest.fixture
def seasons(bench: BatchBench) -> None:
    past = bench.folder / "past.csv"
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
    assert bench.say("import", str(past))[0] == 0


def test_groups_are_compared_with_what_the_numbers_cannot_tell(bench: BatchBench, seasons: None) -> None:
    status, out, err = bench.say("compare", "--by", "medium")
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


def test_of_two_batches_too_small_to_tell_it_is_said_how_many_it_takes(
    bench: BatchBench, seasons: None
) -> None:
    _, out, _ = bench.say("compare", "batch 2", "batch 1")
    assert "batch 2 less batch 1: +10 points, 95 % interval -19 to +37 points." in out
    assert "That cannot tell batch 2 from batch 1: too few cuttings, or no difference." in out
    assert (
        "of 10 points, it takes about 388 cuttings in each group to see it in four trials of five; here are 20 and 20"
        in out
    )


def test_groups_may_be_of_one_crop_and_of_late(bench: BatchBench, seasons: None) -> None:
    groups = bench.said("compare", "--by", "medium", "--crop", "coleus")["groups"]
    assert [(one["group"], one["batches"]) for one in groups] == [
        ("bark", ["batch 3"]),
        ("peat", ["batch 1"]),
        ("sand", ["batch 0"]),
    ]
    late = bench.said("compare", "--by", "medium", "--since", "2020-02-20")
    assert [one["group"] for one in late["groups"]] == ["bark", "peat"]
    assert late["comparisons"][0]["differed"] == ["stuck", "crop"]
    assert [
        json.loads(line)["batch"] for line in bench.say("list", "--crop", "mint", "--json")[1].splitlines()
    ] == ["batch 2"]


def test_an_open_batch_is_not_compared(bench: BatchBench, seasons: None) -> None:
    status, _, err = bench.say("compare", "open", "batch 1")
    assert (status, "batch open is not closed" in err) == (2, True)
