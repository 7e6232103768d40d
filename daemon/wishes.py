"""What people ask of alarms, or say they did at a tray, from afar: done in the round, and answered.

The rule of this file: what a message asks is done once, in one commit with the entries that tell it, by the same
code as what is asked by command; only then it is answered, and taken from whoever brought it. Whatever cannot be
done is answered and logged.
"""

import logging
from collections import deque
from collections.abc import Mapping, Sequence
from decimal import Decimal
from hashlib import sha256
from typing import Any, Final, NamedTuple, Protocol

from wardian.daemon.acts import ACTS, NotToBeDone, Wish, acts, one_line
from wardian.daemon.beside import Extra
from wardian.daemon.care_asked import care_records, trays_named
from wardian.daemon.config import Config
from wardian.daemon.lives import Lives
from wardian.daemon.putting import Said
from wardian.daemon.tongue import utc_text
from wardian.rules import life
from wardian.rules.amounts import NotAnAmount, duration_ms
from wardian.rules.care_given import EC, EVENTS, GRAMS, LOOK, MINUTES, PH, TEMPERATURE
from wardian.rules.documents import nearest
from wardian.rules.ports import Clock
from wardian.rules.wire_health import SensorHealth

log = logging.getLogger(__name__)

#: The note in which the last messages are remembered that were done, so that none is done twice.
NOTE: Final = "asked"
REMEMBERED: Final = 64
MOST_A_MINUTE: Final = 30
MINUTE_S: Final = 60.0
#: What may be asked: each key, and how many letters it may have.
KEYS: Final = {"do": 20, "tray": 400, "alarm": 60, "who": 60, "why": 200, "for": 30, "id": 60}
#: What may be said of care, as a text of so many letters or as a number.
AMOUNTS: Final = {GRAMS: 20, MINUTES: 20, PH: 20, EC: 20, TEMPERATURE: 20, LOOK: 80}
#: The same care of one tray that comes again within this time is a button that bounced.
BOUNCE_MS: Final = 15_000
_NEEDED: Final = ("do", "tray", "who")
_OF_CARE: Final = {key: KEYS[key] for key in (*_NEEDED, "why", "id")} | AMOUNTS
#: These may be asked of all alarms of a tray at once.
_OF_A_TRAY: Final = (life.ACKNOWLEDGE, life.REMOVE, life.RESTORE)


class Heard(Protocol):
    """One message as a wire brought it: its value, or why it has none."""

    value: Any
    why: str

    @property
    def is_retained(self) -> bool:
        """Whether it was kept for whoever comes."""

    @property
    def is_repeat(self) -> bool:
        """Whether it may have come before."""

    @property
    def payload(self) -> bytes:
        """Its bytes."""


class Wire(Protocol):
    """What brings messages and takes answers; nothing here waits."""

    name: str

    def take(self) -> Sequence[Any]:
        """Return what was ``Heard`` since the last time."""

    def done(self, heard: Sequence[Any]) -> None:
        """Let these not come again."""

    def answer(self, fields: Mapping[str, Any]) -> None:
        """Send an answer."""

    def health(self) -> SensorHealth:
        """Return whether anything can be asked now."""


class _Asked(NamedTuple):
    wish: Wish
    lasts_ms: int | None


class _Cared(NamedTuple):
    event: str
    tray: str
    said: Said
    amounts: Mapping[str, Any]


class Wishes:
    """Takes part in the rounds with what is asked over one wire."""

    def __init__(self, wire: Wire, config: Config, clock: Clock, done: Sequence[str] = ()) -> None:
        """Go on from the note of an earlier run; ``clock`` is the machine's."""
        self._wire = wire
        self._config = config
        self._clock = clock
        self._done: deque[str] = deque(done, REMEMBERED)
        self._taken_s: deque[float] = deque(maxlen=MOST_A_MINUTE)
        self._flooded = False
        self._cared_ms: dict[tuple[str, str, str], int] = {}
        self._heard: list[Any] = []
        self._answers: list[dict[str, Any]] = []

    def work(self, now_ms: int, lives: Lives) -> Extra:
        """Do what was asked since the last round."""
        extra = Extra()
        for heard in self._wire.take():
            self._heard.append(heard)
            self._answers.append({"time": utc_text(now_ms), **self._answer(heard, now_ms, lives, extra)})
        return extra

    def committed(self) -> None:
        """Answer what was done and what was refused."""
        heard, self._heard = self._heard, []
        answers, self._answers = self._answers, []
        if heard:
            self._wire.done(heard)
        for answer in answers:
            self._wire.answer(answer)

    def _answer(self, heard: Heard, now_ms: int, lives: Lives, extra: Extra) -> dict[str, Any]:
        """Do what one message asks and return the answer to it."""
        value = heard.value if isinstance(heard.value, dict) else {}
        named = {key: value[key] for key in ("id", "do", "tray", "alarm") if _is_text(value.get(key), key)}
        if self._is_flooded():
            return {
                **named,
                "done": False,
                "why": f"too much is asked; {MOST_A_MINUTE} a minute are accepted",
            }
        try:
            asked = _asked(heard)
            if self._is_done(heard, has_id="id" in named):
                return {**named, "done": True, "repeated": True}
            if isinstance(asked, _Cared):
                done = {"trays": self._put_down(asked, now_ms, extra)}
            else:
                done = {"alarms": self._do(asked, now_ms, lives, extra)}
        except NotToBeDone as error:
            log.warning("what was asked from afar cannot be done", extra={"why": str(error)})
            return {**named, "done": False, "why": str(error)}
        self._done.append(_mark(heard))
        extra.notes[NOTE] = list(self._done)
        log.info("done as asked from afar", extra={"asked": named["do"], "tray": named["tray"]})
        return {**named, "done": True, **done}

    def _do(self, asked: _Asked, now_ms: int, lives: Lives, extra: Extra) -> list[str]:
        """Let a wish come true and return the alarms that it was about."""
        until_ms = None if asked.lasts_ms is None else now_ms + asked.lasts_ms
        wish = asked.wish._replace(until_ms=until_ms)
        try:
            to_do = acts(wish, self._config, lives, now_ms)
            for act in to_do:
                extra.journal.append((now_ms, act.alarm.tray, lives.do(act, now_ms)))
        except life.Impossible as error:
            raise NotToBeDone(str(error)) from error
        return list(to_do.values())

    def _put_down(self, cared: _Cared, now_ms: int, extra: Extra) -> list[str]:
        """Put care on record and return the trays that it was given to."""
        try:
            trays = trays_named(self._config, cared.tray)
            records = care_records(trays, cared.event, cared.amounts, cared.said, ((), now_ms))
        except ValueError as error:
            raise NotToBeDone(str(error)) from error
        keys = [(tray, cared.event, cared.said.who) for tray in trays]
        lately = {key: ms for key, ms in self._cared_ms.items() if 0 <= now_ms - ms < BOUNCE_MS}
        if lately.keys() & set(keys):
            raise NotToBeDone(f"the same was put on record within the last {BOUNCE_MS // 1000} s")
        self._cared_ms = lately | dict.fromkeys(keys, now_ms)
        extra.records += records
        return trays

    def _is_done(self, heard: Heard, *, has_id: bool) -> bool:
        """Whether a message was done before: it comes again, or is the same one with its own id."""
        return (heard.is_repeat or has_id) and _mark(heard) in self._done

    def _is_flooded(self) -> bool:
        """Count a message in, or say that there were too many; the log hears of it once."""
        now_s = self._clock.monotonic_s()
        was_flooded = self._flooded
        self._flooded = len(self._taken_s) == MOST_A_MINUTE and now_s - self._taken_s[0] < MINUTE_S
        if not self._flooded:
            self._taken_s.append(now_s)
        elif not was_flooded:
            log.warning("too much is asked from afar", extra={"most_a_minute": MOST_A_MINUTE})
        return self._flooded


def _asked(heard: Heard) -> _Asked | _Cared:
    """Return what a message asks.

    Raises:
        NotToBeDone: It asks for nothing that can be understood.
    """
    asks = heard.value
    if heard.is_retained:
        raise NotToBeDone("it was retained by the broker, and nobody knows how old it is")
    if heard.why or not isinstance(asks, dict):
        raise NotToBeDone(f"the message {heard.why or 'is no JSON object'}")
    _refuse_strange(asks)
    who, why = f"{one_line(asks['who'])} (by MQTT)", one_line(asks.get("why", ""))
    if asks["do"] in EVENTS:
        amounts = {name: asks[name] for name in AMOUNTS if name in asks}
        return _Cared(asks["do"], asks["tray"], Said(who, why), amounts)
    event, alarm = ACTS[asks["do"]], asks.get("alarm")
    if alarm is None and event not in _OF_A_TRAY:
        raise NotToBeDone(f"alarm is missing: to {asks['do']} needs one")
    if ("for" in asks) != (event == life.SHELVE):
        raise NotToBeDone("for, how long, is needed to shelve, and for nothing else")
    try:
        lasts_ms = duration_ms(asks["for"]) if event == life.SHELVE else None
    except NotAnAmount as error:
        raise NotToBeDone(f"for {asks['for']!r} {error}") from error
    return _Asked(Wish(event, asks["tray"], alarm, who, why), lasts_ms)


def _refuse_strange(asks: Mapping[str, Any]) -> None:
    do = asks.get("do")
    is_care, is_act = (isinstance(do, str) and do in known for known in (EVENTS, ACTS))
    known = _OF_CARE if is_care else KEYS if is_act else {**KEYS, **AMOUNTS}
    for key, value in asks.items():
        if key not in known:
            raise NotToBeDone(f"{key[:40]!r} is no known key; accepted: {', '.join(known)}")
        if not _is_number(value, key) and not _is_text(value, key):
            raise NotToBeDone(f"{key} is not a text of at most {known[key]} letters")
    missing = [key for key in _NEEDED if not one_line(asks.get(key, ""))]
    if missing:
        raise NotToBeDone(f"{missing[0]} is missing")
    if not is_care and not is_act:
        raise NotToBeDone(f"{do!r} cannot be asked; {nearest(asks['do'], (*ACTS, *EVENTS), listed=99)}")


def _is_number(value: Any, key: str) -> bool:
    return key in AMOUNTS and isinstance(value, (int, float, Decimal)) and not isinstance(value, bool)


def _is_text(value: Any, key: str) -> bool:
    return isinstance(value, str) and len(value) <= (KEYS | AMOUNTS)[key]


def _mark(heard: Heard) -> str:
    """Return what tells one message from another."""
    return sha256(heard.payload).hexdigest()[:24]
