"""What is said of a tray whose roots are past due: the short form of its page, by a whole daemon as well."""

from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any, Final

import pytest
from base_config import built
from loop_rig import BEGIN_MS, FlakyStore

from wardian.adapters.stores.opening import open_store
from wardian.adapters.yaml_file import parse
from wardian.daemon import wiring
from wardian.daemon.finding_words import finding_words
from wardian.daemon.opening_past_due import Around, open_past_due, past_due_message
from wardian.daemon.past_due import NOTE
from wardian.rules.ports import Round
from wardian.rules.postmortem.harm import FINDINGS
from wardian.rules.readings import Reading

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS

TEXT: Final = """\
site: {name: Evening propagation class, timezone: UTC, units: SI}
readings: {hold: 10 min}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-02-14}
crops:
  coleus:
    due: 14
    stages:
      - {name: callusing, from_day: 0, bands: {medium_temperature: {low: 21 °C, high: 25 °C}, relative_humidity: {low: 88 %}}}
notifiers:
  - {name: terminal, kind: console}
  - {name: display, kind: console}
people:
  - {name: evening teacher, channels: [terminal], quiet: {from: 22:00, to: 06:30}}
"""


def around(medium_c: float) -> Around:
    config, store = built(TEXT), FlakyStore()
    values = {"medium_temperature": medium_c, "air_temperature": 22.0, "relative_humidity": 95.0}
    begin_ms = config.trays[0].plan.spans[0].from_ms
    times = range(begin_ms, BEGIN_MS, 10 * MINUTE_MS)
    store.keep(
        Round(
            BEGIN_MS,
            # No probe rests.
            readings=[
                Reading(at, "tray-a", name, value + at // MINUTE_MS // 10 % 2 / 10)
                for at in times
                for name, value in values.items()
            ],
        )
    )
    return Around(config, store, ("terminal", "display"), lambda: finding_words(parse))


def test_the_message_has_up_to_three_findings_and_says_where_to_read_on() -> None:
    message = past_due_message(around(16.0), "tray-a", BEGIN_MS, "key")
    assert message.subject.startswith("tray-a: no roots yet? Likely: the medium was too cold")
    assert message.body.count("Next time:") <= 3
    assert "wardian batch explain --tray tray-a" in message.body
    assert message.fields["findings"][0]["name"] == "medium too cold"
    required = (
        "time",
        "tray",
        "quantity",
        "limit",
        "event",
        "alarm",
        "priority",
        "value",
        "threshold",
        "stage",
        "message",
    )
    assert all(name in message.fields for name in required)


def test_people_and_channels_that_are_nobodys_hear_it_each_in_their_hours() -> None:
    part = open_past_due(around(23.0))
    assert [(one.name, one.channels) for one in part._hearers] == [
        ("evening teacher", ("terminal",)),
        ("", ("display",)),
    ]
    assert part._hearers[0].quiet is not None


def test_every_finding_has_words_a_reading_what_to_try_next_and_a_mark() -> None:
    known: dict[str, Any] = dict(finding_words(parse))
    assert set(known) == set(FINDINGS)
    for one in known.values():
        assert all((one.words, one.reading, one.consequence, one.next_time, one.mark))
        assert one.mark.startswith(("read: ", "from memory", "common practice, no source"))


def test_findings_are_worded_as_likelihood() -> None:
    text = (Path(__file__).parents[2] / "rules" / "findings.yaml").read_text(encoding="utf-8")
    assert not any(
        word in text.lower() for word in ("proves", "certainly", "because of this", "the cause was")
    )


# ------------------------------------------------------------------------------------- the whole daemon


def test_a_running_daemon_explains_a_tray_whose_roots_are_past_due(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, wait_until: Callable[..., None]
) -> None:
    monkeypatch.chdir(tmp_path)
    now_ms = wiring.machine_clock().wall_ms()
    stuck = (datetime.fromtimestamp(now_ms / 1000, UTC) - timedelta(days=6)).date()
    text = TEXT.replace("2026-02-14", stuck.isoformat()).replace("due: 14", "due: 4")
    Path("config.yaml").write_text(
        text.replace(", quiet: {from: 22:00, to: 06:30}", "") + 'store: {url: "sqlite:///wardian.db"}\n'
    )
    store = open_store("sqlite:///wardian.db", Path())
    times = range(now_ms - 6 * 24 * HOUR_MS, now_ms, 5 * MINUTE_MS)
    store.keep(Round(now_ms, readings=[Reading(at, "tray-a", "medium_temperature", 16.0) for at in times]))
    store.close()

    with ExitStack() as opened:
        watch = wiring.open_watch(wiring.load_config(Path("config.yaml")), opened)
        watch.loop.quiet_s = 0.0

        def is_told() -> bool:
            watch.loop.round(watch.sensors)
            return NOTE in watch.loop._store.notes()

        wait_until(is_told, "an explanation")
        people = watch.loop._store.notes()[NOTE]["tray-a"]["people"]
        assert sorted(people) == ["", "evening teacher"]
