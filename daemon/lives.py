"""The lives of the alarms: followed as conditions come and go, changed by what people ask, told by the journal.

The rule of this file: the journal alone says where each life stands; its last entry of an alarm is
enough to go on from after a restart.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Final

from wardian.daemon.tongue import ms_of, utc_text
from wardian.rules import life
from wardian.rules.ports import Act, Alarm, DueMessage, JournalEntry, Message
from wardian.rules.transitions import RAISED

#: Nobody sets an alarm aside for longer and means it.
LONGEST_SHELF_MS: Final = 7 * 86_400_000
#: What people do to an alarm, and how the journal tells it.
TOLD: Final = {
    life.ACKNOWLEDGE: "acknowledged",
    life.SHELVE: "shelved",
    life.UNSHELVE: "unshelved",
    life.REMOVE: "out of service",
    life.RESTORE: "back in service",
    life.RESET: "reset",
}
#: What rules do to an alarm, in the journal, and who that is there.
SUPPRESSED: Final = "suppressed"
RELEASED: Final = "released"
BY_RULE: Final = "wardian"
#: Keys of an entry that tell of a life, beside those of a transition.
_NOBODY: Final[dict[str, Any]] = {"who": None, "why": None, "until": None, "until_ms": None}


def alarm_of(fields: Mapping[str, Any]) -> Alarm:
    """Return which alarm an entry of the journal is about."""
    return Alarm(fields["tray"], fields["quantity"], fields.get("limit") or fields["condition"])


@dataclass(frozen=True, slots=True)
class Life:
    """Where one alarm stands: its state, whether its condition is abnormal, and what was last said of it."""

    state: str = life.NORMAL
    is_abnormal: bool = False
    #: Whether people were told that it was raised, and are to hear that it returned.
    is_told: bool = False
    fields: Mapping[str, Any] = field(default_factory=dict)
    #: Whether programs were told: what a rule holds back from people is no secret to them.
    is_sent: bool = False

    @classmethod
    def of(cls, entry: JournalEntry) -> "Life":
        """Return where an alarm stands by its last entry; entries of before there were lives count as told."""
        fields = entry.fields
        is_abnormal = fields.get("abnormal", fields["event"] == RAISED)
        state = fields.get("life") or (life.UNACKNOWLEDGED if is_abnormal else life.NORMAL)
        is_told = fields.get("told", is_abnormal)
        return cls(state, is_abnormal, is_told, fields, fields.get("sent", is_told))

    @property
    def is_set_aside(self) -> bool:
        """Whether people hear nothing of it now."""
        return self.state in life.SET_ASIDE

    @property
    def until_ms(self) -> int | None:
        """When it comes off the shelf."""
        until_ms: int | None = self.fields.get("until_ms")
        return until_ms


class Lives:
    """All alarms that ever were, and what is known of those that never were."""

    def __init__(
        self,
        last: Mapping[Alarm, JournalEntry],
        moment: Callable[[int], str] = str,
        names: Callable[[Alarm], Mapping[str, Any]] = Alarm._asdict,
        latches: Callable[[Alarm], bool] = lambda _: False,
    ) -> None:
        """Go on from the last entry of each.

        ``moment`` puts an instant into words, ``names`` says what an entry says of an alarm that never was,
        ``latches`` whether one stays, once raised, until somebody resets it.
        """
        self._lives = {alarm: Life.of(entry) for alarm, entry in last.items()}
        self._moment = moment
        #: Says what an entry says of an alarm that never was.
        self.names = names
        self._latches = latches

    def of(self, alarm: Alarm) -> Life:
        """Return where an alarm stands."""
        return self._lives.get(alarm, Life())

    def is_sent(self, fields: Mapping[str, Any]) -> bool:
        """Return whether programs are to be told that a condition comes or goes; asked before it is followed."""
        before = self.of(alarm_of(fields))
        by_hand = before.state in (life.SHELVED, life.OUT_OF_SERVICE)
        return not by_hand and (fields["event"] == RAISED or before.is_sent)

    def follow(self, fields: dict[str, Any], *, is_held: bool = False) -> bool:
        """Let a condition come or go; add to its entry where its alarm stands, and return whether to tell.

        What is held is told to nobody; ``suppress`` follows.
        """
        alarm = alarm_of(fields)
        before = self.of(alarm)
        event = fields["event"]
        latches = self._latches(alarm)
        state = life.after(before.state, event, latches=latches, is_abnormal=event == RAISED)
        is_told = not before.is_set_aside and not is_held and (event == RAISED or before.is_told)
        kept = {key: before.fields.get(key) for key in _NOBODY} if before.is_set_aside else _NOBODY
        told_on = is_told if event == RAISED else before.is_told and not is_told
        is_sent = self.is_sent(fields)
        sent_on = is_sent if event == RAISED else before.is_sent and not is_sent
        fields |= {**kept, "life": state, "abnormal": event == RAISED, "told": told_on, "sent": sent_on}
        self._lives[alarm] = Life(state, event == RAISED, told_on, dict(fields), sent_on)
        return is_told

    def do(self, act: Act, now_ms: int) -> dict[str, Any]:
        """Do what a person asked, now, and return the entry that tells it.

        Raises:
            Impossible: It has no place in the alarm's present state.
        """
        self.would(act, now_ms)
        before = self.of(act.alarm)
        state = life.after(before.state, act.event, latches=False, is_abnormal=before.is_abnormal)
        is_aside = state in life.SET_ASIDE
        until = f" until {self._moment(act.until_ms)}" if act.until_ms is not None else ""
        why = f": {act.why}" if act.why else ""
        entry = {
            **(before.fields or self.names(act.alarm)),
            "time": utc_text(now_ms),
            "tray": act.alarm.tray,
            "quantity": act.alarm.quantity,
            "event": TOLD[act.event],
            "life": state,
            "abnormal": before.is_abnormal,
            "told": before.is_told,
            "sent": before.is_sent,
            "who": act.who,
            "why": act.why,
            "until": utc_text(act.until_ms) if act.until_ms is not None and is_aside else None,
            "until_ms": act.until_ms if is_aside else None,
        }
        entry["message"] = f"{_name(entry)}: {TOLD[act.event]} by {act.who}{until}{why}."
        self._lives[act.alarm] = replace(before, state=state, fields=entry)
        return entry

    def would(self, act: Act, now_ms: int) -> None:
        """Refuse what cannot be done, and do nothing.

        Raises:
            Impossible: It has no place in the alarm's present state.
        """
        before = self.of(act.alarm)
        life.after(before.state, act.event, latches=False, is_abnormal=before.is_abnormal)
        if act.event == life.SHELVE:
            _refuse_shelf(act, now_ms)

    def suppress(self, alarm: Alarm, at_ms: int, why: str, until_ms: int | None) -> dict[str, Any]:
        """Let a rule set an alarm aside, until an instant or until it is released; return the entry."""
        before = self.of(alarm)
        state = life.after(before.state, life.SUPPRESS, latches=False, is_abnormal=before.is_abnormal)
        entry = {
            **before.fields,
            "time": utc_text(at_ms),
            "event": SUPPRESSED,
            "life": state,
            "told": False,
            "who": BY_RULE,
            "why": why,
            "until": None if until_ms is None else utc_text(until_ms),
            "until_ms": until_ms,
            "held": before.fields["message"],
            "message": f"{_name(before.fields)}: held back, because {why}.",
        }
        self._lives[alarm] = replace(before, state=state, is_told=False, fields=entry)
        return entry

    def release(self, alarm: Alarm, at_ms: int) -> dict[str, Any]:
        """Let go what a rule has set aside and return the entry, which is to be told where it stands."""
        before = self.of(alarm)
        state = life.after(before.state, life.RELEASE, latches=False, is_abnormal=before.is_abnormal)
        held = before.fields
        message = f"{_name(held)}: no longer held back ({held['why']}), and it does not stand."
        if before.is_abnormal:
            # Where it came and went meanwhile, its last entry is the one that says what stands.
            said = str(held.get("held", held["message"]))
            said = said.partition(": ")[2] or said
            message = f"{_name(held)}, held back until now ({held['why']}): {said}"
        entry = {
            **held,
            **_NOBODY,
            "time": utc_text(at_ms),
            "event": RELEASED,
            "life": state,
            "told": before.is_abnormal,
            "message": message,
        }
        self._lives[alarm] = Life(state, before.is_abnormal, before.is_abnormal, entry, before.is_sent)
        return entry

    def suppressed(self) -> list[Alarm]:
        """Return the alarms that a rule has set aside."""
        return [alarm for alarm, one in self._lives.items() if one.state == life.SUPPRESSED]

    def standing(self, tray: str, condition: str) -> bool:
        """Return whether a condition of a tray is abnormal, whatever people did to its alarm."""
        return any(one.is_abnormal for one in self._of(tray, condition))

    def returned_ms(self, tray: str, condition: str) -> int | None:
        """Return when a condition of a tray returned that is over, None where it never was raised."""
        # What people did to its alarm since has a time of its own, and the same since; one never raised has none.
        over = [one.fields["since"] for one in self._of(tray, condition) if not one.is_abnormal]
        times = [ms_of(since) for since in over if since]
        return max(times, default=None)

    def _of(self, tray: str, condition: str) -> list[Life]:
        return [
            one for alarm, one in self._lives.items() if (alarm.tray, alarm.condition) == (tray, condition)
        ]

    def off_the_shelf(self, now_ms: int) -> list[dict[str, Any]]:
        """Return the entries of alarms whose time on the shelf is over, each of which is told once."""
        entries = []
        for alarm, one in self._lives.items():
            if one.state == life.SHELVED and one.until_ms is not None and _is_over(one.until_ms, now_ms):
                state = life.after(one.state, life.UNSHELVE, latches=False, is_abnormal=one.is_abnormal)
                stands = "it stands" if one.is_abnormal else "it does not stand"
                entry = {
                    **one.fields,
                    **_NOBODY,
                    "time": utc_text(now_ms),
                    "event": "shelf ended",
                    "life": state,
                    "told": one.is_abnormal,
                    "sent": one.is_abnormal,
                    "message": f"{_name(one.fields)}: no longer shelved, and {stands} now.",
                }
                entries.append(entry)
                self._lives[alarm] = Life(state, one.is_abnormal, one.is_abnormal, entry, one.is_abnormal)
        return entries

    def listed(self) -> list[Mapping[str, Any]]:
        """Return the last entries of alarms that somebody has yet to deal with or has set aside."""
        # An entry of before there were lives does not say of itself where it stands.
        return [{**one.fields, "life": one.state} for one in self._lives.values() if one.state != life.NORMAL]


def _is_over(until_ms: int, now_ms: int) -> bool:
    """Return whether a time on the shelf is over.

    By a clock that was set back far since it would last longer than any may: then it is, too.
    """
    return not now_ms < until_ms <= now_ms + LONGEST_SHELF_MS


def announcements(fields: Mapping[str, Any], channels: Sequence[str]) -> list[DueMessage]:
    """Return the message that an alarm is off the shelf, for every channel."""
    key = f"{'/'.join(alarm_of(fields))}/{fields['event']}/{fields['time']}"
    subject = f"{fields['tray']}: {_name(fields).lower()}, no longer shelved"
    message = Message(key, subject, f"{fields['tray']}: {fields['message']}", fields)
    return [DueMessage(channel, message) for channel in channels]


def _refuse_shelf(act: Act, now_ms: int) -> None:
    if act.until_ms is None or not now_ms < act.until_ms <= now_ms + LONGEST_SHELF_MS:
        raise life.Impossible(f"{act.event}: an end within seven days from now is accepted")


def _name(fields: Mapping[str, Any]) -> str:
    name = str(fields["alarm"]).replace("-", " ")
    return f"{name[0].upper()}{name[1:]}"
