"""What people do on the page, done by the same code as the commands: alarms, care and root scores.

The rule of this file: what cannot be meant is refused in words before anything is put down, and a form that comes
twice is done once.
"""

import threading
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from typing import Final, NamedTuple

from wardian.daemon import batch_records, visiting
from wardian.daemon.acts import ACTS, Wish, one_line
from wardian.daemon.batch_records import Entry
from wardian.daemon.care_asked import care_records, trays_named
from wardian.daemon.cli_alarms import LATER, WHEN
from wardian.daemon.config import Config
from wardian.daemon.lives import TOLD
from wardian.daemon.putting import Make, PutDown, Said
from wardian.daemon.record_words import record_words
from wardian.daemon.tongue import Tongue
from wardian.rules import life
from wardian.rules.amounts import NotAnAmount, duration_ms
from wardian.rules.batches import SCORE_WORDS
from wardian.rules.care_given import EC, EVENTS, GRAMS, LOOK, MINUTES, PH, TEMPERATURE
from wardian.rules.documents import nearest, shown
from wardian.rules.records import Record

Fields = Mapping[str, str]

#: Fields of forms, and how many letters each may have.
_LONGEST: Final = {
    "who": 60,
    "why": 200,
    "tray": 400,
    "alarm": 60,
    "for": 30,
    "ago": 30,
    "batch": 60,
    LOOK: 80,
}
_LONGEST_OTHER: Final = 40
_AMOUNTS: Final = (GRAMS, MINUTES, PH, EC, TEMPERATURE, LOOK)
_REMEMBERED: Final = 200


class Did(NamedTuple):
    """What came of a form: the words for whoever sent it, and whether it was refused."""

    words: str
    is_refused: bool = False


class Doing:
    """Does what forms ask, each once."""

    def __init__(self, config: Config, hurry: Callable[[], None]) -> None:
        """Do it to the bench of a configuration as written; ``hurry`` asks the daemon for its next round."""
        self._config = config
        self._hurry = hurry
        self._lock = threading.Lock()
        self._did: OrderedDict[str, Did] = OrderedDict()

    def do(self, act: Callable[[Config, Fields], str], fields: Fields, once: str) -> Did:
        """Do what a form asks, or say what came of it where it was done before."""
        with self._lock:
            if once in self._did:
                return self._did[once]
            try:
                _refuse_long(fields)
                did = Did(act(self._config, fields))
            except ValueError as error:
                return Did(f"Not done: {str(error).removeprefix('--')}.", is_refused=True)
            if once:
                self._did[once] = did
            while len(self._did) > _REMEMBERED:
                self._did.popitem(last=False)
        self._hurry()
        return did

    def words_of(self, once: str) -> str:
        """Return what came of a form that was done, nothing where nobody remembers."""
        return self._did[once].words if once in self._did else ""


def _refuse_long(fields: Fields) -> None:
    for name, value in fields.items():
        most = _LONGEST.get(name, _LONGEST_OTHER)
        if len(value) > most and name in (*_LONGEST, *_AMOUNTS):
            raise ValueError(f"{name} has {len(value)} letters; at most {most} are accepted")


def _who(fields: Fields) -> str:
    who = one_line(fields.get("who", ""))
    if not who:
        raise ValueError("nobody is named; say who you are")
    return who


def _why(fields: Fields) -> str:
    return one_line(fields.get("why", ""))


def _when(is_watching: bool) -> str:
    return WHEN if is_watching else LATER


# ------------------------------------------------------------------------------------------- alarms


def alarm(config: Config, fields: Fields) -> str:
    """Ask the daemon for what somebody wants of an alarm.

    Raises:
        ValueError: It cannot be done.
    """
    act = fields.get("act", "")
    if act not in ACTS:
        raise ValueError(f"{shown(act)} is nothing that is done to an alarm; {nearest(act, ACTS)}")
    wish = Wish(ACTS[act], fields.get("tray", ""), fields.get("alarm") or None, _who(fields), _why(fields))
    lasts_ms = _span_ms("for", fields.get("for", "")) if wish.event == life.SHELVE else None
    asked = visiting.ask(config, wish, lasts_ms)
    names = ", ".join(f"{one.alarm.tray}: {name}" for one, name in asked.acts.items())
    return f"{names}: asked to be {TOLD[wish.event]}. {_when(asked.is_watching)}"


def _span_ms(name: str, text: str) -> int:
    try:
        return duration_ms(text)
    except NotAnAmount as error:
        raise ValueError(f"{name} {shown(text)} {error}") from error


# ------------------------------------------------------------------------------------------- records


def care(config: Config, fields: Fields) -> str:
    """Put care on record.

    Raises:
        ValueError: It cannot be meant.
    """
    trays = trays_named(config, fields.get("tray", ""))
    event = fields.get("event", "")
    amounts = {name: fields[name] for name in _AMOUNTS if fields.get(name, "").strip()}
    who, why, ago = _who(fields), _why(fields), fields.get("ago", "").strip()
    ago_ms = _span_ms("when", ago) if ago else 0
    if event not in EVENTS:
        raise ValueError(f"{shown(event)} is nothing that is done at a tray; {nearest(event, EVENTS)}")

    def make(known: Sequence[Record], now_ms: int) -> list[Record]:
        said = Said(who, why, now_ms - ago_ms if ago_ms else None)
        return care_records(trays, event, amounts, said, (known, now_ms))

    return _put(config, make)


def score(config: Config, fields: Fields) -> str:
    """Put a look at roots on record.

    Raises:
        ValueError: It cannot be meant.
    """
    counts = ",".join(
        f"{number}={count}"
        for number in range(len(SCORE_WORDS))
        if (count := fields.get(f"score{number}", "").strip())
    )
    if not counts:
        raise ValueError("no cutting was counted; say how many had which roots")
    entry = Entry(fields.get("batch", ""), _who(fields), _why(fields))
    return _put(config, batch_records.score(config, entry, counts))


def _put(config: Config, make: Make) -> str:
    put_down: PutDown = visiting.put_on_record(config, make)
    tongue = Tongue.of(config.site)
    told = [
        f"{one.tray}: {record_words(one, tongue)}, put on record as {one.number}." for one in put_down.records
    ]
    return " ".join([*told, _when(put_down.is_watching)])
