"""`wardian batch explain` from the store and from a file: the page, the JSON, the best batch beside, and what is refused."""

import json
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import numpy as np
import pytest

from wardian.adapters.reading_file import write_rows
from wardian.adapters.stores.opening import open_store
from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.rules.ports import Refused, Round
from wardian.rules.readings import Reading

MINUTE_MS: Final = 60_000
DAY_MS: Final = 24 * 60 * MINUTE_MS
EVERY_MS: Final = 10 * MINUTE_MS
CONFIG: Final = """\
site: {{name: Evening propagation class, timezone: UTC, units: SI}}
store: {{url: "sqlite:///wardian.db"}}
readings: {{hold: 15 min}}
trays:
  - {{name: tray-a, crop: coleus, stuck: {stuck}}}
  - {{name: tray-b, crop: basil, stuck: {stuck}}}
crops:
  coleus: &bands
    due: 14
    stages:
      - name: callusing
        from_day: 0
        bands:
          medium_temperature: {{low: 21 °C, high: 25 °C}}
          relative_humidity: {{low: 88 %}}
          vapour_pressure_deficit: {{high: 0.4 kPa}}
          light_hours: {{low: 16 h, high: 19 h}}
  basil:
    stages: [{{name: callusing, from_day: 0, bands: {{medium_temperature: {{low: 21 °C}}}}}}]
light: {{lit_above: 1000 lx, lit_deadband: 100 lx}}
notifiers: [{{name: terminal, kind: console}}]
""".replace("&bands", "")

Capture = pytest.CaptureFixture[str]


def midnight_ms(days_ago: int) -> int:
    now_ms = wiring.machine_clock().wall_ms()
    return now_ms - now_ms % DAY_MS - days_ago * DAY_MS


def day_text(days_ago: int) -> str:
    return (
        (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=midnight_ms(days_ago))).date().isoformat()
    )


def kept(days_ago: int, days: int, cold: slice = slice(0), tray: str = "tray-a") -> Iterator[Reading]:
    """Yield healthy readings of so many days, the medium too cold for some of them (in steps of ten minutes)."""
    begin_ms, count = midnight_ms(days_ago), days * DAY_MS // EVERY_MS
    medium = np.full(count, 23.0)
    medium[cold] = 16.0
    for step in range(count):
        time_ms, minute = begin_ms + step * EVERY_MS, step * 10 % 1440
        # No probe rests.
        more = step % 2 / 10
        yield Reading(time_ms, tray, "medium_temperature", float(medium[step]) + more)
        yield Reading(time_ms, tray, "air_temperature", 23.0 + more)
        yield Reading(time_ms, tray, "relative_humidity", (80.0 if 720 <= minute < 740 else 95.0) + more)
        yield Reading(time_ms, tray, "illuminance", 5500.0 if 300 <= minute < 1380 else 0.0)


#: From the second day on, for two days.
COLD: Final = slice(144, 3 * 144)


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Return the folder of a bench on which a cold batch is in its 13th day, and a good one was before it."""
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=day_text(12)), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    store = open_store("sqlite:///wardian.db", Path())
    now_ms = wiring.machine_clock().wall_ms()
    store.keep(Round(now_ms, readings=[*kept(40, 20), *kept(12, 12, COLD)]))
    refused = Refused(
        "chips",
        "medium_temperature 85 is its value at power-on",
        "85",
        now_ms - DAY_MS,
        "tray-a",
        "medium_temperature",
    )
    store.keep(Round(now_ms, refused=[refused]))
    store.close()
    return tmp_path


def with_batches() -> None:
    assert (
        main(["batch", "new", "good", "--tray", "tray-a", "--stuck-count", "40", "--stuck", day_text(40)])
        == 0
    )
    assert main(["batch", "close", "good", "--potted", "38", "--fit", "37", "--at", day_text(20)]) == 0
    assert (
        main(["batch", "new", "cold", "--tray", "tray-a", "--stuck-count", "40", "--stuck", day_text(12)])
        == 0
    )
    assert main(["batch", "note", "cold", "two corners look pale"]) == 0


def explained(capsys: Capture, *arguments: str) -> dict[str, Any]:
    capsys.readouterr()
    assert main(["batch", "explain", *arguments, "--json"]) == 0
    told: dict[str, Any] = json.loads(capsys.readouterr().out)
    return told


def test_the_page_tells_the_facts_then_what_may_be_behind_it(bench: Path, capsys: Capture) -> None:
    assert main(["batch", "explain", "--tray", "tray-a"]) == 0
    page = capsys.readouterr().out
    order = [
        "tray-a: coleus",
        "callusing",
        "First 72 hours",
        "Light by day",
        "What may be behind it",
        "None of this is proof",
    ]
    assert [page.index(part) for part in order] == sorted(page.index(part) for part in order)
    assert " 1. Likely: the medium was too cold." in page
    assert "Next time: check the mat" in page
    assert "1 reading refused" in page


def test_the_same_stands_in_the_json_with_hours_that_add_up(bench: Path, capsys: Capture) -> None:
    told = explained(capsys, "--tray", "tray-a")
    assert [one["name"] for one in told["findings"]] == ["medium too cold"]
    assert told["findings"][0]["likelihood"] == "likely"
    (medium,) = [one for one in told["facts"]["stages"] if one["quantity"] == "medium_temperature"]
    assert (medium["below_h"], medium["above_h"]) == (48.0, 0.0)
    assert medium["longest"]["worst"] == 16.0
    assert told["facts"]["first_72_h"]["too_cold_h"] == 48.0
    assert told["batch"] is None


def test_the_best_batch_of_the_crop_stands_beside_it(bench: Path, capsys: Capture) -> None:
    with_batches()
    told = explained(capsys, "cold")
    assert told["best"]["batch"]["batch"] == "good"
    (medium,) = [one for one in told["best"]["facts"]["stages"] if one["quantity"] == "medium_temperature"]
    assert medium["below_h"] == 0.0
    assert main(["batch", "explain", "cold"]) == 0
    page = capsys.readouterr().out
    assert "Beside it: batch good, the surest success of this crop." in page
    assert "best: within" in page
    assert "two corners look pale" in page


def test_a_good_batch_names_nothing_and_has_none_beside_it(bench: Path, capsys: Capture) -> None:
    with_batches()
    told = explained(capsys, "good")
    assert told["findings"] == []
    assert told["best"] is None
    assert told["batch"]["batch"] == "good"


def test_a_tray_with_an_open_batch_is_explained_by_its_record(bench: Path, capsys: Capture) -> None:
    with_batches()
    assert explained(capsys, "--tray", "tray-a")["name"] == "cold"


def test_a_file_of_readings_is_explained_without_a_store(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=day_text(12)), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    write_rows(Path("week.csv.gz"), kept(12, 12, COLD))
    told = explained(capsys, "--tray", "tray-a", "--readings", "week.csv.gz")
    assert [one["name"] for one in told["findings"]] == ["medium too cold"]
    assert "medium-too-cold" in [one["alarm"] for one in told["facts"]["alarms"]]
    assert not Path("wardian.db").exists()


def test_late_readings_count_here_all_the_same(bench: Path, capsys: Capture) -> None:
    store = open_store("sqlite:///wardian.db", Path())
    extra = [
        one._replace(time_ms=one.time_ms + MINUTE_MS)
        for one in kept(6, 1)
        if one.quantity == "medium_temperature"
    ]
    before = explained(capsys, "--tray", "tray-a")["facts"]["readings"]
    store.keep(Round(wiring.machine_clock().wall_ms(), late=extra))
    store.close()
    assert explained(capsys, "--tray", "tray-a")["facts"]["readings"] == before + len(extra)


def test_a_tray_without_readings_says_so(bench: Path, capsys: Capture) -> None:
    assert main(["batch", "explain", "--tray", "tray-b"]) == 0
    page = capsys.readouterr().out
    assert "NO READINGS" in page
    assert "too little was seen to say" in page.lower()


@pytest.mark.parametrize(
    ("arguments", "why"),
    [
        ([], "the name of a batch, or --tray"),
        (["cold", "--tray", "tray-a"], "the name of a batch, or --tray"),
        (["spring"], "there is no batch 'spring'"),
        (["--tray", "tray-z"], "there is no tray 'tray-z'"),
        (["--tray", "tray-a", "--readings", "none.csv"], "none.csv"),
        (["--tray", "tray-b", "--readings", "week.csv"], "holds no reading of tray-b"),
    ],
)
def test_what_cannot_be_explained_is_refused_in_a_line(
    bench: Path, capsys: Capture, arguments: list[str], why: str
) -> None:
    write_rows(Path("week.csv"), kept(12, 1))
    capsys.readouterr()
    assert main(["batch", "explain", *arguments]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert why in captured.err
    assert len(captured.err.splitlines()) == 1


def test_cuttings_that_go_in_tomorrow_have_nothing_to_be_explained(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: Capture
) -> None:
    (tmp_path / "config.yaml").write_text(CONFIG.format(stuck=day_text(-1)), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    assert main(["batch", "explain", "--tray", "tray-a"]) == 2
    assert "nothing was seen before that" in capsys.readouterr().err
