"""What a summary says of a day: worked out by hand from readings that a test wrote, in the site's own units."""

import json
from collections.abc import Iterator
from typing import Any, Final

import pytest
from base_config import built

from wardian.adapters.notifiers.mqtt import alarm_topic
from wardian.adapters.outgoing import as_json
from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon.config import Config
from wardian.daemon.lives import Lives
from wardian.daemon.summary import Summary, summed_up
from wardian.daemon.summary_words import summary_json, summary_lines, summary_message
from wardian.daemon.tongue import utc_text
from wardian.rules.ports import Alarm, DueMessage, JournalEntry, Message, Refused, Round
from wardian.rules.readings import Reading
from wardian.rules.records import Record

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
#: 2026-03-04T07:00Z, which is 7:00 in Lisbon, too.
TO_MS: Final = 1_772_607_600_000
FROM_MS: Final = TO_MS - 24 * HOUR_MS
TEXT: Final = """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: US}
readings: {hold: 5 min}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-03-02}
  - {name: tray-b, crop: coleus, stuck: 2026-02-27}
crops:
  coleus:
    stages:
      - name: callusing
        from_day: 0
        bands:
          air_temperature: {low: 75 °F, high: 80 °F, on_delay: 10 min}
          relative_humidity: {low: 90 %}
"""
LIT: Final = TEXT + "          light_hours: {low: 17 h}\nlight: {lit_above: 1000 lx, lit_deadband: 100 lx}\n"


@pytest.fixture
def config() -> Config:
    return built(TEXT)


def every_minute(tray: str, from_ms: int = FROM_MS, to_ms: int = TO_MS) -> Iterator[Reading]:
    """Yield readings of a tray that are well within its bands."""
    for at_ms in range(from_ms, to_ms, MINUTE_MS):
        yield Reading(at_ms, tray, "air_temperature", 25.0)
        yield Reading(at_ms, tray, "relative_humidity", 95.0)


def both() -> list[Reading]:
    return [*every_minute("tray-a"), *every_minute("tray-b")]


def with_change(readings: list[Reading], place: tuple[str, str], span: tuple[int, int], value: float) -> None:
    """Change what was read of a tray's quantity between two minutes after the beginning."""
    begin_ms, end_ms = (FROM_MS + minute * MINUTE_MS for minute in span)
    for number, one in enumerate(readings):
        if (one.tray, one.quantity) == place and begin_ms <= one.time_ms < end_ms:
            readings[number] = one._replace(value=value)


def summary_of(config: Config, store: MemoryStore, watched_ms: int | None = None) -> Summary:
    lives = Lives(store.last_of_alarms())
    return summed_up(config, store, lives, (FROM_MS, TO_MS), watched_ms)


def lines_of(config: Config, store: MemoryStore, watched_ms: int | None = None) -> list[str]:
    return list(summary_lines(summary_of(config, store, watched_ms), config.site))


def kept(readings: list[Reading], **more: Any) -> MemoryStore:
    store = MemoryStore()
    store.keep(Round(TO_MS, readings=readings, **more))
    return store


def entry(event: str, minutes: int, tray: str = "tray-a", **more: Any) -> tuple[int, str, dict[str, Any]]:
    time_ms = FROM_MS + minutes * MINUTE_MS
    fields = {
        "time": utc_text(time_ms),
        "tray": tray,
        "quantity": "air_temperature",
        "limit": "low",
        "condition": "low",
        "event": event,
        "alarm": "air-too-cold",
        "priority": "medium",
        "since": utc_text(time_ms),
        **more,
    }
    return time_ms, tray, fields


def test_a_quiet_day_is_a_line_a_tray(config: Config) -> None:
    assert lines_of(config, kept(both()), 24 * HOUR_MS) == [
        "Teaching bench: Tue 3 Mar 07:00 to Wed 4 Mar 07:00 (24 h).",
        "No alarm stands.",
        "",
        "tray-a: coleus, day 2, callusing. Within all bands 24 h.",
        "tray-b: coleus, day 5, callusing. Within all bands 24 h.",
        "",
        "wardian watched 24 h of these 24 h.",
    ]


def test_time_beyond_a_band_is_told_with_its_longest_stretch_in_the_units_of_the_site(config: Config) -> None:
    """Two stretches of 36 and 60 minutes below 75 °F: 96 of 1440 minutes, 93.33 % within."""
    readings = both()
    with_change(readings, ("tray-a", "air_temperature"), (60, 96), 20.0)
    with_change(readings, ("tray-a", "air_temperature"), (600, 660), 22.0)
    lines = lines_of(config, kept(readings))
    assert lines[3] == "tray-a: coleus, day 2, callusing."
    assert (
        lines[4] == "  air under the cover: within 93 %; longest below 75.0 °F: 60 min from Tue 3 Mar 17:00"
    )
    assert lines[5] == "tray-b: coleus, day 5, callusing. Within all bands 24 h."


def test_a_stretch_of_one_reading_is_never_called_all(config: Config) -> None:
    readings = both()
    with_change(readings, ("tray-b", "relative_humidity"), (100, 101), 85.0)
    assert (
        "  humidity under the cover: within 99 %; longest below 90 %: 60 s from Tue 3 Mar 08:40"
        in lines_of(config, kept(readings))
    )


def test_unknown_time_is_told_and_is_not_time_within(config: Config) -> None:
    """Readings of tray-a pause from 8:00 to 10:00 and stand five minutes: 1 h 56 min of nothing, less a minute."""
    readings = [
        one
        for one in both()
        if one.tray == "tray-b" or not FROM_MS + HOUR_MS <= one.time_ms < FROM_MS + 3 * HOUR_MS
    ]
    lines = lines_of(config, kept(readings))
    assert (
        lines[3]
        == "tray-a: coleus, day 2, callusing. Within all bands 22 h 4 min, nothing known for 116 min."
    )


def test_what_is_unknown_of_one_quantity_alone_is_told_of_it(config: Config) -> None:
    readings = [one for one in both() if (one.tray, one.quantity) != ("tray-a", "relative_humidity")]
    lines = lines_of(config, kept(readings))
    assert lines[3:5] == [
        "tray-a: coleus, day 2, callusing.",
        "  humidity under the cover: within 0 %, unknown 24 h",
    ]


def test_a_tray_without_readings_says_so_first(config: Config) -> None:
    store = kept(list(every_minute("tray-b")))
    assert lines_of(config, store)[3] == "tray-a: NO READINGS in all this time. coleus, day 2, callusing."
    message = summary_message(summary_of(config, store), config.site, "summary/2026-03-04")
    assert message.subject == "summary, Wed 4 Mar: 1 of 2 trays without readings"


def test_hours_of_light_are_told_where_a_lamp_is_judged() -> None:
    config = built(LIT)
    lit = [
        Reading(at_ms, tray, "illuminance", 4000.0 if (at_ms - FROM_MS) // HOUR_MS < 18 else 0.0)
        for tray in ("tray-a", "tray-b")
        for at_ms in range(FROM_MS - 24 * HOUR_MS, TO_MS, MINUTE_MS)
    ]
    dark_b = [one._replace(value=0.0) if one.tray == "tray-b" else one for one in lit]
    lines = lines_of(config, kept([*both(), *dark_b]))
    assert "Light 18.0 h." in lines[3]
    assert "Light 0.0 h." in lines[4]


def test_what_nobody_has_seen_comes_first_and_by_priority(config: Config) -> None:
    lives: dict[str, Any] = {"life": "unacknowledged", "abnormal": True}
    journal = [
        entry("raised", 10, life="acknowledged", abnormal=True, limit="high", condition="high", alarm="hot"),
        entry("raised", 30, "tray-b", **lives),
        entry("raised", 20, **lives, priority="high", quantity="relative_humidity", alarm="too-dry"),
        entry("returned", 5, "tray-b", life="returned unacknowledged", quantity="relative_humidity"),
    ]
    store = kept(both(), journal=journal)
    assert lines_of(config, store)[1:9] == [
        "Stands, and nobody has acknowledged it:",
        "  tray-a: too dry, priority high, since Tue 3 Mar 07:20",
        "  tray-b: air too cold, priority medium, since Tue 3 Mar 07:30",
        "Stands, acknowledged:",
        "  tray-a: hot, priority medium, since Tue 3 Mar 07:10",
        "Returned, and nobody has acknowledged it:",
        "  tray-b: air too cold, priority medium, since Tue 3 Mar 07:05",
        "",
    ]
    message = summary_message(summary_of(config, store), config.site, "key")
    assert message.subject == "summary, Wed 4 Mar: 2 not acknowledged, 1 acknowledged"


def test_alarms_and_care_are_counted_of_that_time_alone(config: Config) -> None:
    care = [
        entry(event, minutes, condition=event)
        for event, minutes in (("misted", 5), ("misted", 90), ("lifted", 6))
    ]
    journal = [
        entry("raised", -1),
        entry("returned", 3),
        entry("raised", 4),
        *care,
        entry("watered", 7, "tray-b"),
        entry("raised", 24 * 60),
    ]
    lines = lines_of(config, kept(both(), journal=journal))
    (a,) = [line for line in lines if line.startswith("tray-a: coleus")]
    (b,) = [line for line in lines if line.startswith("tray-b: coleus")]
    assert a.endswith("Raised: air too cold. Returned: 1. Misted twice, aired once.")
    assert b.endswith("Within all bands 24 h. Watered once.")


def test_care_that_was_withdrawn_is_not_counted(config: Config) -> None:
    store = kept(
        both(), journal=[entry("misted", minute, condition="care", record=minute) for minute in (1, 2)]
    )
    misted = [Record("care", FROM_MS, FROM_MS, "tray-a", fields={"event": "misted"})] * 2
    store.record(lambda _: [*misted, Record("withdrawn", FROM_MS, FROM_MS, "tray-a", corrects=1)])
    (a,) = [line for line in lines_of(config, store) if line.startswith("tray-a: coleus")]
    assert a.endswith("Misted once.")


def test_alarms_are_named_most_frequent_first_and_the_rest_counted(config: Config) -> None:
    names = ["too-dry", "hot", "hot", "a", "b", "c", "d"]
    journal = [entry("raised", n, alarm=name, condition=name) for n, name in enumerate(names)]
    lines = lines_of(config, kept(both(), journal=journal))
    assert any(line.endswith("Raised: hot 2 times, a, b, c, 2 more.") for line in lines)


def test_what_is_set_aside_is_told_with_who_why_and_until_when(config: Config) -> None:
    until = utc_text(TO_MS + 2 * HOUR_MS)
    journal = [
        entry("shelved", 10, life="shelved", who="the teacher", why="new cover", until=until),
        *(
            entry(
                "out of service",
                20,
                "tray-b",
                life="out of service",
                who="a helper",
                condition=str(n),
                limit=None,
            )
            for n in range(5)
        ),
    ]
    lines = lines_of(config, kept(both(), journal=journal))
    assert (
        "Set aside: tray-a: air too cold, shelved by the teacher until Wed 4 Mar 09:00: new cover." in lines
    )
    assert "Set aside: tray-b: 5 alarms, out of service by a helper." in lines


def test_what_went_wrong_is_counted_most_frequent_first(config: Config) -> None:
    refused = [
        Refused("probes", "is text", "x", FROM_MS, "tray-a", "air_temperature"),
        *[Refused("probes", "no JSON", "?") for _ in range(3)],
    ]
    late = [Reading(FROM_MS + 1, "tray-a", "relative_humidity", 91.0)]
    due = [DueMessage("mail", Message(key, "s", "b", {})) for key in ("one", "two", "three")]
    store = MemoryStore()
    store.keep(Round(TO_MS - HOUR_MS, readings=both(), refused=refused, late=late, due=due))
    store.postponed(1, TO_MS, "no answer")
    store.given_up(3, TO_MS - 1, "no such address")
    assert lines_of(config, store)[-4:] == [
        "Readings refused: 4, probes: no JSON (3); tray-a: is text (1).",
        "Readings too late to be judged: 1, tray-a humidity under the cover (1).",
        "mail: 2 messages not delivered yet, since Wed 4 Mar 06:00: no answer.",
        "mail: 1 message given up.",
    ]


def test_readings_refused_on_other_days_are_not_told_again(config: Config) -> None:
    store = kept(both())
    store.keep(Round(FROM_MS - 1, refused=[Refused("probes", "no JSON", "?")]))
    assert not any("refused" in line for line in lines_of(config, store))


def test_programs_read_the_same_in_plain_values(config: Config) -> None:
    readings = both()
    with_change(readings, ("tray-a", "air_temperature"), (60, 96), 20.0)
    summary = summary_of(config, kept(readings), 23 * HOUR_MS)
    fields = summary_json(summary)
    assert (fields["from"], fields["to"]) == ("2026-03-03T07:00:00.000Z", "2026-03-04T07:00:00.000Z")
    assert fields["watched_s"] == 82_800
    tray = fields["trays"][0]
    assert (tray["name"], tray["day"], tray["readings"]) == ("tray-a", 2, 2 * 1440)
    air = tray["bands"]["air_temperature"]
    assert (air["within_s"], air["beyond_s"], air["unknown_s"]) == ((1440 - 36) * 60, 36 * 60, 0)
    assert air["longest"]["limit"] == "low"
    assert air["longest"]["threshold"] == pytest.approx((75 - 32) / 1.8)
    assert air["longest"]["from"] == "2026-03-03T08:00:00.000Z"


def test_a_message_has_the_fields_of_an_alarm_that_is_about_no_tray(config: Config) -> None:
    message = summary_message(summary_of(config, kept(both())), config.site, "summary/2026-03-04")
    assert message.subject == "summary, Wed 4 Mar: no alarm stands"
    assert message.fields["event"] == "summary"
    assert json.loads(as_json("hook", message))["key"] == "summary/2026-03-04"
    assert alarm_topic("wardian/alarms", message.fields) == "wardian/alarms/no tray/summary"
    assert {
        "time",
        "tray",
        "alarm",
        "limit",
        "quantity",
        "priority",
        "message",
        "from",
        "to",
        "trays",
    } <= set(message.fields)


def test_an_alarm_of_before_lives_were_kept_stands_unacknowledged(config: Config) -> None:
    store = kept(both(), journal=[entry("raised", 10)])
    assert isinstance(store.last_of_alarms()[Alarm("tray-a", "air_temperature", "low")], JournalEntry)
    assert lines_of(config, store)[1] == "Stands, and nobody has acknowledged it:"
