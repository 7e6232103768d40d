"""People are told by the round: in one commit with the journal, over failures, kills and restarts, each thing once."""

from collections.abc import Mapping
from typing import Any

import pytest
from loop_rig import BEGIN_MS, MINUTE_MS, FakeTeller, FlakyStore, Rig
from told_people import person

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.loop import TELLING_NOTE
from wardian.daemon.people import Person
from wardian.daemon.telling import Telling
from wardian.rules import life
from wardian.rules.errors import StoreFailed
from wardian.rules.ports import Act, Alarm, Due, Kept, Message, Round
from wardian.rules.transitions import Transition

TOO_WARM = Alarm("tray-a", "air_temperature", "high")
LOCKED = StoreFailed("store", "the database is locked", may_heal=True)
TEACHER = person(repeat_ms=(None, 60 * MINUTE_MS, 10 * MINUTE_MS))


class WordyTeller(FakeTeller):
    """Says what people need to hear; one channel, the bell, is nobody's."""

    def fields(self, transition: Transition, cause: object = None) -> dict[str, Any]:
        return {**super().fields(transition, cause), "priority": "high"}

    def message(self, fields: Mapping[str, Any]) -> Message:
        return Message(f"about {fields['time']}", f"{fields['tray']}: {fields['event']}", "body", fields)


class RememberingStore(FlakyStore):
    """Remembers each round that it took."""

    def __init__(self) -> None:
        super().__init__()
        self.rounds: list[Round] = []

    def keep(self, round_: Round) -> Kept:
        kept = super().keep(round_)
        self.rounds.append(round_)
        return kept


def rig_of(
    store: FlakyStore | None = None, begun_minutes: float = 0, people: tuple[Person, ...] = (TEACHER,)
) -> Rig:
    rig = Rig(store or RememberingStore(), begun_minutes=begun_minutes)
    rig.loop._teller = rig.teller = WordyTeller()  # type: ignore[assignment]  # it needs no more of a teller
    state = rig.store.notes().get(TELLING_NOTE)
    rig.loop.telling = Telling(people, str, state=state)
    return rig


def warm(rig: Rig) -> Rig:
    rig.arrive(30.0)
    rig.round_at(0)
    return rig


def told(rig: Rig, channel: str = "teacher") -> list[str]:
    return [due.message.subject for due in waiting(rig, channel)]


def waiting(rig: Rig, channel: str = "teacher") -> list[Due]:
    return [due for due in rig.store.waiting() if due.channel == channel]


def test_journal_message_and_what_was_told_are_kept_in_one_commit() -> None:
    rig = warm(rig_of())
    rig.round_at(1.2)
    assert isinstance(rig.store, RememberingStore)
    (round_,) = [one for one in rig.store.rounds if one.journal]
    assert [due.channel for due in round_.due] == ["bell", "teacher"]
    assert round_.due[1].message.fields["person"] == "teacher"
    assert round_.notes[TELLING_NOTE] == rig.loop.telling.state()  # type: ignore[union-attr]  # it is there
    assert rig.teller.nudged == 2


def test_what_was_told_is_kept_only_when_it_changed() -> None:
    rig = warm(rig_of())
    for minutes in (1.2, 1.4, 1.6, 1.8):
        rig.arrive(30.0, minutes=minutes)
        rig.round_at(minutes)
    assert isinstance(rig.store, RememberingStore)
    assert len(rig.store.rounds) == 5
    assert len([one for one in rig.store.rounds if TELLING_NOTE in one.notes]) == 1


def test_a_reminder_is_kept_though_nothing_else_is() -> None:
    rig = warm(rig_of())
    rig.round_at(1.2)
    rig.round_at(11.1)
    assert told(rig) == ["tray-a: raised"]
    rig.round_at(11.3)
    rig.round_at(11.4)
    assert told(rig) == ["tray-a: raised", "reminder: tray-a: raised"]


def test_once_acknowledged_nobody_is_reminded() -> None:
    rig = warm(rig_of())
    rig.round_at(1.2)
    rig.store.ask([Act(BEGIN_MS, TOO_WARM, life.ACKNOWLEDGE, "a helper", "")])
    rig.round_at(1.4)
    rig.round_at(30)
    assert told(rig) == ["tray-a: raised"]


def test_once_acknowledged_from_afar_nobody_is_reminded() -> None:
    class FromAfar:
        """Acknowledges the alarm in the second minute."""

        def work(self, now_ms: int, lives: Lives) -> Extra:
            if now_ms != BEGIN_MS + 2 * MINUTE_MS:
                return Extra()
            act = Act(now_ms, TOO_WARM, life.ACKNOWLEDGE, "a helper (by MQTT)", "")
            return Extra(journal=[(now_ms, "tray-a", lives.do(act, now_ms))])

        def committed(self) -> None: ...

    rig = warm(rig_of())
    rig.loop.beside = [FromAfar()]
    rig.round_at(1.2)
    rig.round_at(2)
    rig.round_at(30)
    assert told(rig) == ["tray-a: raised"]


def test_a_shelf_that_ends_is_told_by_the_round() -> None:
    rig = warm(rig_of())
    rig.round_at(1.2)
    rig.store.ask([Act(BEGIN_MS, TOO_WARM, life.SHELVE, "a helper", "", BEGIN_MS + 20 * MINUTE_MS)])
    rig.round_at(1.4)
    rig.round_at(19.9)
    assert told(rig) == ["tray-a: raised"]
    rig.round_at(20)
    assert told(rig) == ["tray-a: raised", "tray-a: shelf ended"]


def test_a_store_that_fails_for_a_while_has_everybody_told_once() -> None:
    rig = warm(rig_of())
    rig.store.failures = [LOCKED] * 3
    for minutes in (1.2, 1.4, 1.6, 1.8, 2.0):
        rig.round_at(minutes)
    assert told(rig) == ["tray-a: raised"]


def test_a_kill_before_the_commit_loses_and_doubles_nothing() -> None:
    rig = warm(rig_of())
    rig.store.failures = [LOCKED]
    rig.round_at(1.2)
    assert told(rig) == []
    again = rig_of(rig.store, begun_minutes=1.3)  # the first loop is dropped, as by a kill
    again.round_at(1.3)
    again.round_at(1.5)
    assert told(again) == ["tray-a: raised"]


@pytest.mark.parametrize("minutes", [1.3, 5.0, 40.0])
def test_a_kill_between_the_commit_and_the_sending_loses_and_doubles_nothing(minutes: float) -> None:
    calm = (person(repeat_ms=(None, None, None)),)
    rig = warm(rig_of(people=calm))
    rig.round_at(1.2)
    (before,) = waiting(rig)
    again = rig_of(rig.store, begun_minutes=minutes, people=calm)
    again.round_at(minutes)
    again.round_at(minutes + 0.2)
    assert [due for due in waiting(again) if due.message.fields["event"] == "raised"] == [before]


def test_killed_after_every_commit_a_day_gives_the_same_messages() -> None:
    def day(*, is_killed: bool) -> list[tuple[str, str]]:
        rig = rig_of()
        for minute in range(0, 240, 2):
            if is_killed:
                rig = rig_of(rig.store, begun_minutes=minute)
                rig.round_at(minute)
            rig.arrive(30.0 if minute % 120 < 60 else 24.0, minutes=minute)
            rig.round_at(minute + 0.2)
            rig.round_at(minute + 1.5)
        return [(due.message.key.split("/")[2], due.message.subject) for due in waiting(rig)]

    whole = day(is_killed=False)
    assert len(whole) > 8
    assert day(is_killed=True) == whole


def test_nobody_is_reminded_before_the_backlog_is_in() -> None:
    rig = warm(rig_of())
    rig.round_at(1.2)
    again = rig_of(rig.store, begun_minutes=100)
    again.loop.quiet_s = 60.0
    again.round_at(100)
    again.arrive(24.0, minutes=2)
    again.round_at(100.5)
    assert told(again) == ["tray-a: raised"]
    again.round_at(102)
    again.round_at(102.1)
    assert told(again) == ["tray-a: raised", "tray-a: returned"]
