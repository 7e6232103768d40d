"""What goes wrong with the watch itself, told to people like any alarm: disk, store, clock, flood.

The rule of this file: it is safe from any thread and never waits; what it was told becomes part of the next round.
"""

import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.library import Advice
from wardian.daemon.lives import Lives
from wardian.daemon.tongue import ms_of, utc_text
from wardian.daemon.words import Teller
from wardian.rules.ports import Alarm, JournalEntry
from wardian.rules.transitions import RAISED, RETURNED, WATCH

#: What happened and needs no end stands so long, for somebody to see it.
SEEN_WITHIN_MS: Final = 24 * 3_600_000
#: What stood when the last run ended is over when nobody has said again within so long that it is so.
PATIENCE_MS: Final = 10 * 60_000
#: The end of what happened, in its entry of the journal.
_UNTIL: Final = "until_ms_by_itself"


def own_troubles(standing: Iterable[JournalEntry]) -> list[Mapping[str, Any]]:
    """Return, of the entries that stand, those about the watch itself."""
    return [entry.fields for entry in standing if entry.tray == WATCH]


def names_of(alarm: Alarm, advice: Advice) -> dict[str, Any]:
    """Return what says of a trouble of the watch what every entry of the journal says."""
    return {
        "limit": None,
        "alarm": advice.alarm,
        "priority": advice.priority,
        "value": None,
        "threshold": None,
        "stage": None,
        "unit": "",
        "since": None,
        "crop": "",
        "day": None,
        "condition": alarm.condition,
    }


def entry_about(name: str, advice: Advice, now_ms: int, words: str) -> dict[str, Any]:
    """Return the entry of the journal that a trouble of the watch begins."""
    alarm = Alarm(WATCH, "", name)
    headline = advice.alarm.replace("-", " ")
    return {
        "time": utc_text(now_ms),
        "tray": WATCH,
        "quantity": "",
        "event": RAISED,
        **names_of(alarm, advice),
        "since": utc_text(now_ms),
        "message": f"{headline[0].upper()}{headline[1:]}: {words}",
    }


@dataclass(slots=True)
class _Said:
    """What was said of a trouble since the last round: how it stands, and until when where it ends by itself."""

    words: str
    stands: bool = True
    ends_by_itself: bool = False


class OwnTroubles:
    """Takes part in the rounds with what went wrong with the watch itself."""

    def __init__(self, advice: Mapping[str, Advice], words: Teller) -> None:
        """Tell of troubles by their names in ``advice``."""
        self._advice = advice
        self._words = words
        self._lock = threading.Lock()
        self._said: dict[str, _Said] = {}
        self._standing: dict[str, str] = {}
        self._first_ms: int | None = None

    def begin(self, name: str, words: str) -> None:
        """Say that something is wrong from now on, in one plain sentence; twice is the same as once."""
        with self._lock:
            if name in self._standing:
                self._standing[name] = words
                return
            self._standing[name] = words
            self._said[name] = _Said(words)

    def end(self, name: str) -> None:
        """Say that it is over, or not so; twice is the same as once."""
        with self._lock:
            self._standing.pop(name, None)
            self._said[name] = _Said("", stands=False)

    def happened(self, name: str, words: str) -> None:
        """Say that something went wrong and is over; it stands for a day, for somebody to see it."""
        with self._lock:
            self._said[name] = _Said(words, ends_by_itself=True)

    def standing(self) -> dict[str, str]:
        """Return what stands as far as this run was told, by name, in its last words."""
        with self._lock:
            return dict(self._standing)

    def work(self, now_ms: int, lives: Lives) -> Extra:
        """Return the entries and messages about what began and what is over."""
        with self._lock:
            said, self._said = self._said, {}
        if self._first_ms is None:
            self._first_ms = now_ms
        extra = Extra()
        for name in self._advice:
            fields = lives.of(Alarm(WATCH, "", name)).fields
            stands = lives.standing(WATCH, name)
            one = said.get(name) or self._by_itself(name, fields, now_ms)
            if one and one.stands and not stands:
                self._tell(lives, extra, self._entry(name, one, now_ms))
            elif one and not one.stands and stands:
                self._tell(lives, extra, self._over(fields, now_ms))
        return extra

    def committed(self) -> None:
        """Do nothing: what stands waits for nothing."""

    def _by_itself(self, name: str, fields: Mapping[str, Any], now_ms: int) -> _Said | None:
        """Return the end of what ends without a word."""
        until_ms = fields.get(_UNTIL)
        if until_ms is not None:
            # A clock that was set back since must not let it stand for ever.
            is_over = not until_ms - SEEN_WITHIN_MS <= now_ms < until_ms
        else:
            with self._lock:
                is_known = name in self._standing
            assert self._first_ms is not None
            is_over = not is_known and now_ms - self._first_ms >= PATIENCE_MS
        return _Said("", stands=False) if is_over else None

    def _tell(self, lives: Lives, extra: Extra, fields: dict[str, Any]) -> None:
        is_sent = lives.is_sent(fields)
        lives.follow(fields)
        extra.journal.append((ms_of(fields["time"]), WATCH, fields))
        if is_sent:
            extra.due += self._words.messages(self._words.message(fields))

    def _entry(self, name: str, said: _Said, now_ms: int) -> dict[str, Any]:
        entry = entry_about(name, self._advice[name], now_ms, said.words)
        return {**entry, **({_UNTIL: now_ms + SEEN_WITHIN_MS} if said.ends_by_itself else {})}

    def _over(self, raised: Mapping[str, Any], now_ms: int) -> dict[str, Any]:
        headline = str(raised["alarm"]).replace("-", " ")
        since = self._words.tongue.moment(ms_of(raised["since"])) if raised.get("since") else ""
        return {
            **{key: value for key, value in raised.items() if key != _UNTIL},
            "time": utc_text(now_ms),
            "event": RETURNED,
            "message": f"{headline[0].upper()}{headline[1:]}, over: it was so since {since}.",
        }


#: Says that something of a kind went wrong; for parts that need no more of it.
Happened = Callable[[str, str], None]
