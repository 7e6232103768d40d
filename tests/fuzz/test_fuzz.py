"""The fuzzing in small, as every run of the tests has it; in full: ``python tests/fuzz/run.py``."""

from pathlib import Path

import fuzz_configurations
import fuzz_other_files
import fuzz_payloads
import fuzz_reading_files
import fuzz_topics
import pytest
from base_config import BASE
from fuzz_golden import PUT_TOGETHER, golden

from wardian.adapters import json_payloads, senml, yaml_file
from wardian.daemon import intake
from wardian.daemon.wiring import load_config

SEED = 20_260_302
PAYLOADS = 3_000


def test_payloads_become_the_readings_they_mean_or_are_refused_with_a_reason() -> None:
    outcome = fuzz_payloads.run(SEED, PAYLOADS)
    assert outcome.wrong == []
    assert outcome.count["readings"] > PAYLOADS / 5
    assert outcome.count["refused"] > PAYLOADS / 5
    assert outcome.count["stored"] > PAYLOADS / 5
    assert outcome.count["refusals kept"] > PAYLOADS / 50


def test_the_payloads_find_a_time_that_is_rounded_up(monkeypatch: pytest.MonkeyPatch) -> None:
    exact = json_payloads.TIME_FORMS["unix_s"]
    monkeypatch.setitem(json_payloads.TIME_FORMS, "unix_s", lambda written: exact(written) + 1)
    assert any(what.startswith("wrong reading") for what in fuzz_payloads.run(SEED, 600).wrong)


def test_the_payloads_find_a_bound_that_is_not_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    plain = {key: one._replace(high=1e9) for key, one in intake._PLAIN.items()}
    monkeypatch.setattr(intake, "_PLAIN", plain)
    assert any(what.startswith("wrong reading") for what in fuzz_payloads.run(SEED, 1_500).wrong)


def test_the_payloads_find_a_good_one_that_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(senml, "_UNITS", {})
    assert any(what.startswith("good one refused") for what in fuzz_payloads.run(SEED, 600).wrong)


def test_the_payloads_find_a_decoder_that_raises(monkeypatch: pytest.MonkeyPatch) -> None:
    def falls_over(*_: object) -> None:
        raise TypeError

    monkeypatch.setattr(json_payloads, "document", falls_over)
    assert any(what.startswith("crash") for what in fuzz_payloads.run(SEED, 200).wrong)


@pytest.mark.threat(15)
def test_no_input_of_the_largest_size_takes_long() -> None:
    took_ms, payload = fuzz_payloads.slowest_large_ms(SEED, rounds=8)
    assert took_ms < 10, payload[:200]


def test_a_topic_is_that_of_its_tray_or_is_refused() -> None:
    count, wrong, _ = fuzz_topics.tried(SEED, 3_000)
    assert wrong == []
    assert count["readings"] > 200


def test_the_golden_configurations_hold(tmp_path: Path) -> None:
    path = tmp_path / "c.yaml"
    for text in golden().values():
        path.write_text(text, encoding="utf-8")
        assert load_config(path).trays
    assert len(golden()) == PUT_TOGETHER + 2


def test_a_mangled_configuration_is_told_with_its_line_or_means_what_it_says(tmp_path: Path) -> None:
    outcome = fuzz_configurations.Run(SEED, tmp_path).go(500)
    assert outcome.wrong == []
    assert outcome.count["refused"] > 200
    assert outcome.count["accepted"] > 20
    assert outcome.count["by the command"] > 10
    assert outcome.slowest_s < 2


def test_the_mangling_finds_a_key_that_stands_twice(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    whole = yaml_file._Builder._mistake

    def forgetful(
        builder: yaml_file._Builder, path: object, event: object, problem: str, hint: str = ""
    ) -> None:
        if "twice" not in problem:
            whole(builder, path, event, problem, hint)  # type: ignore[arg-type]  # as it came

    monkeypatch.setattr(yaml_file._Builder, "_mistake", forgetful)
    assert any("silent change" in what for what in fuzz_configurations.Run(SEED, tmp_path).go(300).wrong)


def test_a_configuration_cut_off_is_an_error_means_the_same_or_is_told(tmp_path: Path) -> None:
    outcome = fuzz_configurations.Run(SEED, tmp_path).cut(BASE, every=3)
    assert outcome.wrong == []
    assert outcome.count["cut off and still a configuration"] > 10


def test_a_row_that_is_spoiled_costs_no_other(tmp_path: Path) -> None:
    outcome = fuzz_reading_files.Run(SEED, tmp_path).go(150)
    assert outcome.wrong == []
    assert outcome.count["readings by the reader"] > 500
    assert outcome.count["readings by the sensor"] > 500
    assert outcome.count["rows refused"] > 100


def test_a_truth_or_a_table_is_taken_whole_or_refused_by_name() -> None:
    count, wrong = fuzz_other_files.tried(SEED, 150)
    assert wrong == []
    assert count["truths"] == count["tables"] == 150
