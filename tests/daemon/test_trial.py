import json
from pathlib import Path

import pytest
from receivers import http_receiver

from wardian.daemon.cli import main


def config(folder: Path, notifiers: str) -> str:
    path = folder / "config.yaml"
    path.write_text(
        f"""\
site: {{name: Evening propagation class, timezone: Europe/Lisbon}}
store: {{url: "sqlite:///bench.db"}}
trays: [{{name: tray-a, crop: coleus, stuck: 2026-03-02}}]
crops: {{coleus: {{stages: [{{name: callusing, from_day: 0, bands: {{air_temperature: {{high: 27 °C}}}}}}]}}}}
notifiers: [{notifiers}]
""",
        encoding="utf-8",
    )
    return str(path)


def test_a_test_message_is_received_and_says_that_it_is_none(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with http_receiver() as receiver:
        notifiers = f'{{name: office, kind: webhook, url: "{receiver.address}/alarms"}}, {{name: here, kind: console}}'
        assert main(["alarms", "--test", "--config", config(tmp_path, notifiers)]) == 0
    told = capsys.readouterr()
    assert told.out == "office: taken\nhere: taken\n"
    assert "This is a test from Evening propagation class" in told.err
    (request,) = receiver.requests
    fields = json.loads(request.body)
    assert (fields["event"], fields["alarm"], fields["priority"]) == ("test", "test", "low")


def test_a_channel_that_takes_nothing_is_named_and_keeps_no_other_from_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with http_receiver() as receiver:
        receiver.status = 503
        notifiers = f'{{name: office, kind: webhook, url: "{receiver.address}/alarms"}}, {{name: here, kind: console}}'
        path = config(tmp_path, notifiers)
        assert main(["alarms", "--test", "--json", "--config", path]) == 1
    office, here = json.loads(capsys.readouterr().out)["channels"]
    assert (office["channel"], office["taken"]) == ("office", False)
    assert "503" in office["why"]
    assert here == {"channel": "here", "taken": True, "why": None}


def test_without_a_channel_nobody_can_be_told_and_that_is_said(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["alarms", "--test", "--config", config(tmp_path, "")]) == 1
    assert capsys.readouterr().out == "there is no channel: name one under `notifiers`\n"


def test_a_test_message_leaves_no_trace_in_the_store(tmp_path: Path) -> None:
    main(["alarms", "--test", "--config", config(tmp_path, "{name: here, kind: console}")])
    assert sorted(path.name for path in tmp_path.iterdir()) == ["config.yaml"]
