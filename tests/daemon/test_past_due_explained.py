"""What may be behind roots that are past due is told once to each who hears it: through restarts, quiet and failures."""

import logging
from collections.abc import Callable
from contextlib import ExitStack
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

import pytest
from base_config import built
from loop_rig import BEGIN_MS, FlakyStore, Rig

from wardian.adapters.stores.opening import open_store
from wardian.adapters.yaml_file import parse
from wardian.daemon import wiring
from wardian.daemon.finding_words import finding_words
from wardian.daemon.lives import Lives
from wardian.daemon.opening_past_due import Around, open_past_due, past_due_message
from wardian.daemon.past_due import NOTE, PAUSE_MS, PastDueExplained
from wardian.daemon.people import LOW, MEDIUM, Person
from wardian.daemon.quiet import Quiet
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.errors import StoreFailed
from wardian.rules.observing.tending import PAST_DUE
from wardian.rules.ports import Act, Alarm, JournalEntry, Message, Round
from wardian.rules.postmortem.harm import FINDINGS
from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from collections.abc import Sequence

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
ALARM: Final = Alarm("tray-a", "medium_temperature", PAST_DUE)
#: BEGIN_MS is half past nine in the evening, UTC.
NIGHT: Final = Quiet(time(21), time(6, 30), UTC)


class Bench:
    """A loop whose tray is past due from its first minute on, on a store that outlives it."""

    def __init__(self, *people: Person, store: FlakyStore | None = None) -> None:
        self.people: Sequence[Person] = people or (Person("teacher", ("bell",)),)
        self.store = store or FlakyStore()
        self.made: list[str] = []
        self.slip: Callable[[], None] = lambda: None
        self.minutes = 0.0
        self.raise_alarm()
        self.begin()

    def raise_alarm(self, since_ms: int = BEGIN_MS) -> None:
        fields = {
            **ALARM._asdict(),
            "limit": None,
            "alarm": PAST_DUE,
            "event": "raised",
            "priority": "low",
            "time": utc_text(since_ms),
            "since": utc_text(since_ms),
            "message": "Past due.",
            "life": life.UNACKNOWLEDGED,
            "abnormal": True,
            "told": True,
            "sent": True,
        }
        self.entry = JournalEntry(1, since_ms, "tray-a", fields)

    def begin(self) -> None:
        """Begin anew, as after a kill: what was not committed is gone."""
        self.rig = Rig(self.store, begun_minutes=self.minutes)
        # The rig watches for no such condition and would let its alarm return.
        self.rig.loop.lives = Lives({ALARM: self.entry})
        self.part = PastDueExplained(self.people, self._make, self.store.notes().get(NOTE))
        self.rig.loop.beside = [self.part]

    def _make(self, tray: str, _now_ms: int, key: str) -> Message:
        self.slip()
        self.made.append(tray)
        return Message(key, "no roots yet?", "as it was", {"event": "explained"})

    def rounds(self, minutes: float, times: int = 4) -> None:
        """Go round some times, a second apart, each time waiting for what that began to make."""
        for number in range(times):
            self.minutes = minutes + number / 60
            self.rig.round_at(self.minutes)
            self.part.stop()

    def told(self) -> list[str]:
        return [due.channel for due in self.store.waiting() if "explained" in due.message.key]


def test_it_is_told_once_through_every_channel_of_whoever_hears_it() -> None:
    bench = Bench(Person("teacher", ("bell", "mail")))
    bench.rounds(1, times=20)
    assert bench.told() == ["bell", "mail"]
    assert bench.made == ["tray-a"]


def test_it_is_told_once_over_restarts() -> None:
    bench = Bench()
    bench.rounds(1)
    for minutes in (2, 60, 24 * 60):
        bench.minutes = minutes
        bench.begin()
        bench.rounds(minutes)
    assert bench.told() == ["bell"]


def test_what_was_made_and_not_committed_is_made_again() -> None:
    bench = Bench()
    bench.rounds(1, times=1)
    bench.begin()
    bench.rounds(2)
    assert (bench.made, bench.told()) == (["tray-a", "tray-a"], ["bell"])


def test_whoever_hears_only_what_is_more_urgent_is_not_told() -> None:
    bench = Bench(Person("caretaker", ("mail",), hears=MEDIUM), Person("teacher", ("bell",), hears=LOW))
    bench.rounds(1)
    assert bench.told() == ["bell"]


def test_nobody_is_told_in_their_quiet_hours_and_each_after_their_own() -> None:
    bench = Bench(Person("teacher", ("bell",), quiet=NIGHT), Person("night owl", ("mail",)))
    bench.rounds(1)
    assert bench.told() == ["mail"]
    bench.rounds(8 * 60)
    assert bench.told() == ["mail"]
    bench.begin()
    bench.rounds(10 * 60)
    assert bench.told() == ["mail", "bell"]


def test_while_everybody_is_quiet_nothing_is_made() -> None:
    bench = Bench(Person("teacher", ("bell",), quiet=NIGHT))
    bench.rounds(1)
    assert bench.made == []


def test_whoever_is_told_later_is_told_only_while_nobody_has_acknowledged() -> None:
    late = Person("caretaker", ("mail",), after_ms=HOUR_MS)
    bench = Bench(late)
    bench.rounds(30)
    assert bench.told() == []
    bench.rounds(61)
    assert bench.told() == ["mail"]
    seen = Bench(late)
    seen.rig.loop.lives.do(Act(BEGIN_MS, ALARM, life.ACKNOWLEDGE, "teacher", ""), BEGIN_MS)
    seen.rounds(61)
    assert seen.told() == []


def test_what_somebody_has_shelved_is_not_explained() -> None:
    bench = Bench()
    until_ms = BEGIN_MS + 24 * HOUR_MS
    bench.rig.loop.lives.do(Act(BEGIN_MS, ALARM, life.SHELVE, "teacher", "", until_ms), BEGIN_MS)
    bench.rounds(1)
    assert bench.told() == []


def test_the_next_batch_in_the_tray_is_explained_anew() -> None:
    bench = Bench()
    bench.rounds(1)
    bench.raise_alarm(BEGIN_MS + 20 * 24 * HOUR_MS)
    bench.minutes = 20 * 24 * 60 + 1
    bench.begin()
    bench.rounds(bench.minutes)
    assert bench.told() == ["bell", "bell"]
    assert len({due.message.key for due in bench.store.waiting()}) == 2


def test_until_what_is_judged_is_what_is_known_nothing_is_told() -> None:
    bench = Bench()
    bench.part.is_ready = lambda: False
    bench.rounds(1)
    assert bench.made == []


@pytest.mark.parametrize(
    "error", [StoreFailed("store", "the database is locked", may_heal=True), ZeroDivisionError()]
)
def test_what_cannot_be_made_is_tried_again_later_and_ends_nothing(
    error: Exception, caplog: pytest.LogCaptureFixture
) -> None:
    bench = Bench()

    def slip() -> None:
        raise error

    bench.slip = slip
    with caplog.at_level(logging.ERROR):
        bench.rounds(1)
    assert [record.message for record in caplog.records] == ["explanation not made"]
    bench.slip = lambda: None
    bench.rounds(2)
    assert bench.told() == []
    bench.rounds(2 + PAUSE_MS / MINUTE_MS)
    assert bench.told() == ["bell"]


def test_a_round_that_cannot_be_kept_tells_it_once_it_can() -> None:
    bench = Bench()
    bench.rounds(1, times=1)
    bench.store.failures = [StoreFailed("store", "the disk is full", may_heal=True)]
    bench.rounds(2, times=1)
    assert bench.told() == []
    bench.rounds(30)
    assert bench.told() == ["bell"]


# ------------------------------------------------------------------------------------------- the message

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
    with ExitStack() as opened:
        part = open_past_due(around(23.0), opened)
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
