"""What is written into the journal as conditions come and go, in order of time: with what is held back, and let go.

The rule of this file: raised and returned stand in the journal exactly as they were; what is held back stands
beside it with the reason, and is told as soon as that is over, if it still stands.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from wardian.daemon.lives import Lives, alarm_of
from wardian.daemon.tongue import ms_of
from wardian.daemon.words import Teller
from wardian.rules.observing.causes import Cause
from wardian.rules.observing.holds import hold_of
from wardian.rules.observing.looks import LIFTED, MISTED, WATERED
from wardian.rules.observing.observer import Observer
from wardian.rules.observing.told import told_in_order
from wardian.rules.ports import Alarm
from wardian.rules.transitions import RAISED, SENSOR_SILENT, Transition

#: What only follows from a condition may take so long to mend when that is over. Common practice, no source: an
#: airing mends within 20 to 30 min.
MENDS_MS: Final = 30 * 60_000
_DONE: Final = {LIFTED: "the cover was lifted", MISTED: "it was misted", WATERED: "it was watered"}


class Entry(NamedTuple):
    """One entry of the journal, and whether people are to be told of it now.

    ``transition`` is what it is about, None where a rule held something back or let it go. ``is_sent`` is
    whether channels that are nobody's get it: each raise and return as it comes, held back or not.
    """

    time_ms: int
    tray: str
    fields: dict[str, Any]
    is_told: bool
    transition: Transition | None = None
    is_sent: bool = False


class _Why(NamedTuple):
    """Why an alarm is held back, in words, and until when; None: as long as the condition it follows from stands."""

    words: str
    until_ms: int | None


@dataclass(slots=True)
class Chronicle:
    """Puts what was judged into entries; ``observer`` is fed with the readings that the engine judged.

    ``hiding`` returns, by the name of an alarm, the conditions from which it only follows; ``is_cut_off`` whether
    a quantity of a tray comes by no wire that works, so that its silence only follows from that.
    """

    teller: Teller
    lives: Lives
    observer: Observer
    hiding: Mapping[str, Sequence[str]]
    is_cut_off: Callable[[str, str], bool] = lambda _tray, _quantity: False

    def write(self, transitions: Iterable[Transition], until_ms: int | Mapping[str, int]) -> Iterator[Entry]:
        """Yield the entries of what an engine told, of what was observed meanwhile, and of what is let go.

        Args:
            transitions: In order of time, all before ``until_ms``.
            until_ms: Up to when the engine judged, of all trays or one for each.
        """
        for transition, cause in told_in_order(transitions, self.observer, until_ms):
            yield from self._let_go(transition.time_ms)
            yield from self._entries(transition, cause)
        yield from self._let_go(until_ms)

    def _entries(self, transition: Transition, cause: Cause | None) -> Iterator[Entry]:
        fields = self.teller.fields(transition, cause)
        why = self._why_held(transition, fields["alarm"]) if transition.event == RAISED else None
        is_sent = self.lives.is_sent(fields)
        is_told = self.lives.follow(fields, is_held=why is not None)
        yield Entry(transition.time_ms, transition.tray, fields, is_told, transition, is_sent)
        alarm = alarm_of(fields)
        if why is not None and not self.lives.of(alarm).is_set_aside:
            entry = self.lives.suppress(alarm, transition.time_ms, *why)
            yield Entry(transition.time_ms, transition.tray, entry, False)

    def _why_held(self, transition: Transition, name: str) -> _Why | None:
        for condition in self.hiding.get(name, ()):
            if self.lives.standing(transition.tray, condition):
                return _Why(f"it only follows from {condition.replace('-', ' ')}", None)
        if self._is_cut_off(Alarm(transition.tray, transition.quantity, transition.condition)):
            return _Why("nothing comes by the wire that brings it", None)
        tray = self.observer.trays[transition.tray]
        hold = hold_of(transition, tray.care.events, tray.plan.settling_ms)
        if hold is None:
            return None
        done = self.teller.tongue.moment(hold.care.from_ms)
        return _Why(f"{_DONE[hold.care.event]} {done}", hold.until_ms)

    def _is_cut_off(self, alarm: Alarm) -> bool:
        return alarm.condition == SENSOR_SILENT and self.is_cut_off(alarm.tray, alarm.quantity)

    def _let_go(self, now_ms: int | Mapping[str, int]) -> Iterator[Entry]:
        """Yield the entries of what need not be held back any more, at an instant of all trays or one for each."""
        for alarm in self.lives.suppressed():
            at_ms = now_ms if isinstance(now_ms, int) else now_ms.get(alarm.tray, 0)
            over_ms = self._over_ms(alarm)
            if over_ms is not None and over_ms <= at_ms:
                fields = self.lives.release(alarm, over_ms)
                yield Entry(over_ms, alarm.tray, fields, bool(fields["abnormal"]))

    def _over_ms(self, alarm: Alarm) -> int | None:
        """Return when what holds an alarm back is over, None while that is not known."""
        one = self.lives.of(alarm)
        if one.until_ms is not None:
            return one.until_ms
        parents = self.hiding.get(one.fields["alarm"], ())
        if self._is_cut_off(alarm) or any(
            self.lives.standing(alarm.tray, condition) for condition in parents
        ):
            return None
        times = [self.lives.returned_ms(alarm.tray, condition) for condition in parents]
        return max([ms_of(one.fields["time"]), *(time + MENDS_MS for time in times if time is not None)])
