"""``wardian water``: what is shown of the water in the trays, and what is put down and refused."""

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from base_config import BASE, SENSORS
from minute_by_minute import course, ramp

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.daemon.wiring import CLOCK_NOTE
from wardian.rules.ports import Round
from wardian.rules.readings import Reading
from wardian.rules.records import CARE, MASSES, Record

#: 2026-03-05T12:00Z, day 3 of tray-a.
NOW_MS = 1_772_712_000_000
MINUTE_MS = 60_000
HOUR = 60
BANDS = "          light_hours: {low: 17 h, high: 19 h}\n"
LOST = "          water_lost: {high: 33 %, high_high: 0.6 /}\n"
MOIST = "          medium_moisture: {low: 67 %}\n"
#: A day at 1 g/h, ending at 2700 g: a sixth of 1800 g is gone, 294 g more are left to a third.
DRYING = ramp(24 * HOUR, 2724, 2700)


def config(mass: str = "{saturated: 3000 g, dry: 1200 g}", band: str = LOST) -> str:
    text = BASE.replace(SENSORS, "sensors:\n  - {name: pretended, kind: simulator}\n")
    text = text.replace(BANDS, BANDS + band)
    return text.replace("stuck: 2026-03-02}", f"stuck: 2026-03-02, mass: {mass}}}") if mass else text


def bench(folder: Path, text: str, *records: Record, **traces: list[float]) -> Path:
    """Return a configuration whose store holds traces of tray-a that end now."""
    path = folder / "config.yaml"
    path.write_text(text, encoding="utf-8")
    readings = [
        Reading(NOW_MS - (len(trace) - minute) * MINUTE_MS + 1000, "tray-a", quantity, value)
        for quantity, trace in traces.items()
        for minute, value in enumerate(trace)
        if not np.isnan(value)
    ]
    clock = {"time_ms": NOW_MS, "machine_ms": 0, "speed": 1}
    store = open_store(f"sqlite:///{folder / 'wardian.db'}", folder)
    store.keep(Round(NOW_MS, readings=readings, records=list(records), notes={CLOCK_NOTE: clock}))
    store.close()
    return path


def records_in(folder: Path) -> list[Record]:
    store = open_store(f"sqlite:///{folder / 'wardian.db'}", folder, read_only=True)
    found = store.records()
    store.close()
    return found


def shown(capsys: pytest.CaptureFixture[str], path: Path, *words: str) -> str:
    assert main(["water", *words, "--config", str(path)]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    return out


def as_json(capsys: pytest.CaptureFixture[str], path: Path, *words: str) -> dict[str, Any]:
    told: dict[str, Any] = json.loads(shown(capsys, path, *words, "--json"))
    assert told["time"] == "2026-03-05T12:00:00.000Z"
    found: dict[str, Any] = told["trays"][0]
    return found


def test_a_tray_on_its_balance_is_shown_with_share_rate_and_days(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    tray = as_json(capsys, bench(tmp_path, config(), tray_mass=DRYING))
    assert (tray["tray"], tray["by"]) == ("tray-a", "tray_mass")
    assert tray["value"] == pytest.approx(2700, abs=0.1)
    assert (tray["saturated_g"], tray["dry_g"], tray["is_estimated"]) == (3000, 1200, False)
    assert tray["available_g"] == pytest.approx(1602)
    assert tray["lost_pct"] == pytest.approx(100 / 6, abs=0.05)
    assert tray["limit_pct"] == 33
    assert tray["per_h"]["per_h"] == pytest.approx(1.0, abs=0.01)
    days = tray["days_left"]
    assert days["likely"] == pytest.approx(294 / 24, abs=0.2)
    assert days["soonest"] <= days["likely"] <= days["latest"]
    assert (tray["last_watered"], tray["cover_is_off"], tray["seen"]) == (None, False, [])
    assert [(one["saturated_g"], one["who"], one["record"]) for one in tray["weighed"]] == [
        (3000, None, None)
    ]


def test_people_read_it_in_plain_words(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    watered = Record(CARE, NOW_MS - 30 * HOUR * MINUTE_MS, NOW_MS, "tray-a", fields={"event": "watered"})
    path = bench(tmp_path, config(), watered, tray_mass=DRYING)
    table = shown(capsys, path)
    assert [line.split()[0] for line in table.splitlines()] == ["tray", "tray-a", "tray-b"]
    assert " ".join(table.splitlines()[1].split()).startswith("tray-a 2700 g 17 % 33 % 1.0 g an hour")
    lines = shown(capsys, path, "tray-a").splitlines()
    assert lines[:7] == [
        "tray-a: 2700 g",
        "  weighs 3000 g full, 1200 g dry",
        "  of the water it holds, plants can take up 1602 g",
        "  water lost: 17 % (33 % in this stage)",
        "  dries by: 1.0 g an hour (1.0 to 1.0), seen in 24 h without care",
        "  next watering: in 12 days (12 to 12), if nobody mists",
        "  last watering: Wed 4 Mar 06:00",
    ]
    assert "    Mon 2 Mar 00:00  3000 g full, 1200 g dry, configuration" in lines
    assert "    Wed 4 Mar 06:00  Watered, recorded" in lines


def test_a_dry_mass_that_is_estimated_is_called_so_wherever_it_matters(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bench(tmp_path, config("{saturated: 3000 g, volume: 9 l}"), tray_mass=DRYING)
    assert "15 % estimated" in shown(capsys, path)
    lines = shown(capsys, path, "tray-a")
    assert lines.count("1035 g dry (estimated)") == 2
    assert "15 % estimated" in lines
    assert as_json(capsys, path)["is_estimated"] is True
    assert main(["status", "--config", str(path)]) == 0
    assert "water lost 15 % (estimated) at most 33 % within" in " ".join(capsys.readouterr().out.split())


def test_a_moisture_in_per_cent_needs_no_balance(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config("", MOIST), medium_moisture=ramp(24 * HOUR, 92, 80))
    tray = as_json(capsys, path)
    assert (tray["by"], tray["saturated_g"], tray["limit_pct"]) == ("medium_moisture", None, 33)
    assert tray["lost_pct"] == pytest.approx(20, abs=0.1)
    assert tray["per_h"]["per_h"] == pytest.approx(0.5, abs=0.01)
    assert tray["days_left"]["likely"] == pytest.approx(13 / 12, abs=0.05)
    assert "0.5 % an hour" in shown(capsys, path)


def test_what_nobody_knows_is_unknown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(""), tray_mass=DRYING)
    tray = as_json(capsys, path)
    assert [tray[name] for name in ("by", "value", "lost_pct", "per_h", "days_left")] == [None] * 5
    assert "nobody said what it weighs full and dry" in shown(capsys, path, "tray-a")


def test_no_day_is_named_without_a_limit_or_a_rate(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    no_limit = as_json(capsys, bench(tmp_path, config(band=""), tray_mass=DRYING))
    assert (no_limit["limit_pct"], no_limit["days_left"]) == (None, None)
    (tmp_path / "short").mkdir()
    no_rate = as_json(capsys, bench(tmp_path / "short", config(), tray_mass=DRYING[-5 * HOUR :]))
    assert (no_rate["per_h"], no_rate["days_left"]) == (None, None)
    assert no_rate["lost_pct"] is not None


def test_a_mass_that_is_hours_old_is_not_shown_as_present(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    old = [*DRYING, *[float("nan")] * HOUR]
    tray = as_json(capsys, bench(tmp_path, config(), tray_mass=old))
    assert (tray["value"], tray["lost_pct"], tray["days_left"]) == (None, None, None)
    assert tray["per_h"] is not None


def test_a_tray_that_is_dry_enough_is_due_now(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(), tray_mass=[mass - 400 for mass in DRYING])
    assert "due now" in shown(capsys, path)


def test_a_hair_above_full_is_no_minus_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(), tray_mass=course((60, 3001)))
    assert " 0 % " in shown(capsys, path)
    assert main(["status", "--config", str(path)]) == 0
    assert " 0 % " in capsys.readouterr().out


def test_while_the_cover_is_off_its_weight_is_missing_and_no_day_is_named(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bench(tmp_path, config(), tray_mass=[*DRYING, *course((30, 2400))])
    assert as_json(capsys, path)["cover_is_off"] is True
    assert as_json(capsys, path)["days_left"] is None
    assert "the cover is off: its weight is missing" in shown(capsys, path, "tray-a")


def test_care_pulled_cuttings_and_bumps_are_listed(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    mass = course((200, 2700), (200, 2900), (200, 2897), (2, 3400), (100, 2897))
    path = bench(tmp_path, config(), tray_mass=mass)
    assert [one["event"] for one in as_json(capsys, path)["seen"]] == ["watered", "pulled", "bumped"]
    out = shown(capsys, path, "tray-a")
    assert "Something light taken out, as a cutting, -3 g" in out
    assert "Bump, or a thing laid down, +503 g" in out


def test_status_shows_water_lost_as_any_quantity(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(), tray_mass=DRYING)
    assert main(["status", "--config", str(path), "--json"]) == 0
    lost = json.loads(capsys.readouterr().out)["trays"][0]["quantities"]["water_lost"]
    assert lost["value"] == pytest.approx(100 / 6, abs=0.05)
    assert (lost["state"], lost["high"], lost["high_high"], lost["unit"]) == ("within", 33, 60, "%")


def test_a_bench_that_nobody_watched_yet_shows_what_is_written(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "config.yaml"
    path.write_text(config(), encoding="utf-8")
    assert "unknown" in shown(capsys, path)
    assert not (tmp_path / "wardian.db").exists()


# Weighing


def weigh(path: Path, *words: str) -> int:
    return main(["water", "weigh", *words, "--config", str(path), "--who", "evening class"])


def test_a_weighing_is_put_on_record_and_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(), tray_mass=DRYING)
    assert weigh(path, "tray-a", "--saturated", "3.1 kg", "--why", "weighed after class") == 0
    assert "tray-a: Weighed saturated 3100 g Thu 5 Mar 12:00, put on record as 1" in capsys.readouterr().out
    (record,) = records_in(tmp_path)
    assert (record.kind, record.tray, record.fields) == (MASSES, "tray-a", {"saturated_g": 3100})
    assert (record.time_ms, record.who, record.why) == (NOW_MS, "evening class", "weighed after class")
    tray = as_json(capsys, path)
    assert (tray["saturated_g"], tray["dry_g"]) == (3100, 1200)
    assert [(one["saturated_g"], one["who"]) for one in tray["weighed"]] == [
        (3000, None),
        (3100, "evening class"),
    ]


def test_it_can_be_said_earlier_and_for_programs(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = bench(tmp_path, config(""), tray_mass=DRYING)
    words = ["--saturated", "3000g", "--dry", "1200g", "--at", "2026-03-05T08:00:00Z", "--json"]
    assert weigh(path, "tray-a", *words) == 0
    told = json.loads(capsys.readouterr().out)
    assert (told["record"], told["time"], told["is_watching"]) == (1, "2026-03-05T08:00:00.000Z", False)
    assert told["fields"] == {"saturated_g": 3000, "dry_g": 1200}


def test_a_weighing_that_others_rest_on_is_not_withdrawn(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bench(tmp_path, config(""), tray_mass=DRYING)
    assert (
        weigh(path, "tray-a", "--saturated", "3000g", "--dry", "1200g", "--at", "2026-03-05T08:00:00Z") == 0
    )
    assert weigh(path, "tray-a", "--saturated", "3100g") == 0
    capsys.readouterr()
    assert main(["records", "withdraw", "1", "--config", str(path)]) == 2
    assert "nobody said what tray-a weighs dry" in capsys.readouterr().err
    assert main(["records", "withdraw", "2", "--config", str(path)]) == 0
    capsys.readouterr()
    assert [one["saturated_g"] for one in as_json(capsys, path)["weighed"]] == [3000]


def test_a_correction_takes_the_place_of_a_weighing_at_its_own_time(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = bench(tmp_path, config(), tray_mass=DRYING)
    assert weigh(path, "tray-a", "--saturated", "3900g", "--at", "2026-03-05T08:00:00Z") == 0
    assert weigh(path, "tray-a", "--saturated", "3090g", "--corrects", "1") == 0
    capsys.readouterr()
    wrong, right = records_in(tmp_path)
    assert (right.corrects, right.time_ms) == (wrong.number, wrong.time_ms)
    assert [one["saturated_g"] for one in as_json(capsys, path)["weighed"]] == [3000, 3090]


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (("tray-a", "--dry", "3000g"), "dry 3000 g is not below saturated 3000 g"),
        (("tray-a", "--saturated", "1000g"), "dry 1200 g is not below saturated 1000 g"),
        (("tray-b", "--saturated", "3000g"), "nobody said what tray-b weighs dry"),
        (("tray-a", "--saturated", "3000 lb"), "accepted: g, kg"),
        (("tray-a", "--saturated", "-3 kg"), "more than 0 g"),
        (("tray-a", "--saturated", "much"), "--saturated 'much'"),
        (("tray-a",), "--saturated or --dry is needed"),
        (("tray-q", "--saturated", "3 kg"), "there is no tray 'tray-q'"),
        (("tray-a", "--saturated", "3 kg", "--at", "noon"), "noon"),
        (("tray-a", "--saturated", "3 kg", "--at", "2001-01-01T00:00:00Z"), "a time of the last 24 h"),
        (("tray-a", "--saturated", "3 kg", "--corrects", "9"), "there is no record 9"),
        (("tray-b", "--saturated", "3 kg", "--corrects", "1"), "record 1 is about tray-a, not tray-b"),
        (("tray-a", "--saturated", "3 kg", "--corrects", "2"), "record 2 is about care, not masses"),
        (("tray-a", "tray-b", "--saturated", "3 kg"), "accepted: wardian water"),
    ],
)
def test_what_cannot_be_meant_is_refused_and_nothing_is_put_down(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...], why: str
) -> None:
    known = [
        Record(MASSES, NOW_MS - MINUTE_MS, NOW_MS, "tray-a", who="a helper", fields={"saturated_g": 3000}),
        Record(CARE, NOW_MS - MINUTE_MS, NOW_MS, "tray-a", who="a helper", fields={"event": "misted"}),
    ]
    path = bench(tmp_path, config(), *known, tray_mass=DRYING)
    assert weigh(path, *words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert why in err
    assert len(err.splitlines()) == 1
    assert len(records_in(tmp_path)) == 2


@pytest.mark.parametrize("words", [("tray-a", "tray-b"), ("tray-a", "--saturated", "3 kg"), ("tray-q",)])
def test_wrong_usage_is_told_in_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    path = bench(tmp_path, config(), tray_mass=DRYING)
    assert main(["water", *words, "--config", str(path)]) == 2
    assert len(capsys.readouterr().err.splitlines()) == 1
