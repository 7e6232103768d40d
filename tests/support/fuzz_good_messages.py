"""Good messages for the fuzzing, as any device could send them, with the readings they mean.

Everything is drawn from one seeded source, so that a run can be had again.
"""

import json
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from random import Random
from typing import TYPE_CHECKING, Any, NamedTuple

from fuzz_bench import QUANTITIES, TELLINGS, TRAYS, topic_of
from reference_payloads import AHEAD_MS, POSSIBLE, UNITS, Meaning

if TYPE_CHECKING:
    from collections.abc import Callable

_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_MONTH_MS = 30 * 86_400_000


class Case(NamedTuple):
    """A message; ``meant`` are its readings where the drawer knows them, else None."""

    topic: str
    payload: bytes
    is_retained: bool
    meant: list[Meaning] | None
    kind: str


class Written(NamedTuple):
    """A number as a person or a device writes it, and what it is."""

    text: str
    exact: Fraction


def good(chance: Random, now_ms: int) -> Case:
    """Return a message that any device could send, and the readings it means."""
    place = chance.choice(tuple(TELLINGS))
    return {"number": _good_number, "json": _good_document, "senml": _good_pack}[TELLINGS[place].form](
        chance, now_ms, place
    )


def _good_number(chance: Random, now_ms: int, place: str) -> Case:
    tray = chance.choice(TRAYS)
    fixed, unit, _ = TELLINGS[place].targets[""] or (None, "", None)
    quantity = fixed or chance.choice(QUANTITIES)
    written, value = possible_value(chance, quantity, unit)
    text = written.text
    if not text.startswith("-"):
        text = chance.choice(["", "", "+", "0", "00"]) + text
    payload = chance.choice(["", " ", "\t", "\r\n"]) + text + chance.choice(["", "", "\n", " ", "\r\n"])
    meant = [Meaning(now_ms, tray, quantity, value)]
    return Case(topic_of(place, tray, quantity), payload.encode(), False, meant, "good number")


def _good_document(chance: Random, now_ms: int, place: str) -> Case:
    telling, tray = TELLINGS[place], chance.choice(TRAYS)
    pointers = list(telling.targets)
    standing = [pointer for pointer in pointers if chance.random() < 0.8] or pointers[:1]
    time_ms, time_text = now_ms, None
    if telling.time_pointer is not None:
        time_ms, time_text = _dated(chance, now_ms, telling.time_form)
    meant, texts = [], {}
    for pointer in pointers:
        target = telling.targets[pointer]
        if pointer in standing and target is not None:
            written, value = possible_value(chance, target[0] or "", target[1])
            texts[pointer] = written.text
            meant.append(Meaning(time_ms, tray, target[0] or "", value))
    if time_text is not None and telling.time_pointer is not None:
        texts[telling.time_pointer] = time_text
    is_retained = telling.time_pointer is not None and chance.random() < 0.2
    payload = laid_out(chance, texts).encode()
    return Case(topic_of(place, tray, ""), payload, is_retained, meant, "good JSON")


def laid_out(chance: Random, texts: dict[str, str]) -> str:
    """Return a JSON text in which each of some texts stands at its pointer."""
    if set(texts) == {""}:
        return _spaced(chance, texts[""])
    whole: dict[str, Any] = {}
    marks = {}
    for number, (pointer, text) in enumerate(texts.items()):
        mark = f"mark {number} of the drawer"
        marks[json.dumps(mark)] = text
        _put(
            chance,
            whole,
            [token.replace("~1", "/").replace("~0", "~") for token in pointer.split("/")[1:]],
            mark,
        )
    items = list(whole.items())
    for _ in range(chance.randrange(3)):
        items.append((f"x{len(items)}", _filler(chance, 2)))
    chance.shuffle(items)
    separators = chance.choice([(",", ":"), (", ", ": "), (" ,\n", " :\t")])
    laid_out = json.dumps(dict(items), ensure_ascii=chance.random() < 0.5, separators=separators)
    for mark, text in marks.items():
        laid_out = laid_out.replace(mark, text)
    return _spaced(chance, laid_out)


def _put(chance: Random, whole: Any, tokens: list[str], mark: str) -> None:
    for token, after in zip(tokens, [*tokens[1:], None], strict=True):
        inner: Any = mark if after is None else [] if after.isdigit() else {}
        if isinstance(whole, list):
            while len(whole) <= int(token):
                whole.append(_filler(chance, 0))
            if after is None or not isinstance(whole[int(token)], (dict, list)):
                whole[int(token)] = inner
            whole = whole[int(token)]
        elif after is None:
            whole[token] = inner
        else:
            whole = whole.setdefault(token, inner)


def _filler(chance: Random, depth: int) -> Any:
    kinds: list[Callable[[], Any]] = [
        lambda: None,
        lambda: True,
        lambda: chance.randrange(-99, 99),
        lambda: chance.choice(["", "ok", "ümlaut ✓", '"quoted" \\ /', "\u202e\x1b[31m", "=1+1", "<script>"]),
    ]
    if depth:
        kinds += [
            lambda: [_filler(chance, depth - 1) for _ in range(chance.randrange(4))],
            lambda: {f"k{place}": _filler(chance, depth - 1) for place in range(chance.randrange(4))},
        ]
    return chance.choice(kinds)()


def _spaced(chance: Random, text: str) -> str:
    return chance.choice(["", " ", "\r\n\t"]) + text + chance.choice(["", "\n", "  "])


def _good_pack(chance: Random, now_ms: int, place: str) -> Case:
    """Return a SenML pack: base fields may come with any record and hold from there on (RFC 8428, 4.1)."""
    topic_tray = chance.choice(TRAYS)
    state = _PackState(chance, now_ms, place)
    meant, records = [], []
    for _ in range(chance.choice([1, 1, 2, 3, 5, 12])):
        record, one = state.record(topic_tray)
        records.append(record)
        meant += one
    text = json.dumps(records, ensure_ascii=chance.random() < 0.5)
    for mark, number in state.marks.items():
        text = text.replace(json.dumps(mark), number)
    return Case(topic_of(place, topic_tray, ""), _spaced(chance, text).encode(), False, meant, "good SenML")


_SENML_UNITS = {"/": ["/", "%"], "%": ["/100"], "%RH": ["%RH"]}


class _PackState:
    """A pack as it is written record by record: the base fields in force."""

    def __init__(self, chance: Random, now_ms: int, place: str) -> None:
        self.chance, self.now_ms, self.place = chance, now_ms, place
        self.marks: dict[str, str] = {}
        self.base_time = Fraction(0)
        self.base_name, self.base_value, self.base_unit = "", Fraction(0), ""
        self.has_base_value = False

    def marked(self, text: str) -> str:
        """Return a mark in place of which a number is written later, letter by letter."""
        mark = f"mark {len(self.marks)} of the drawer"
        self.marks[mark] = text
        return mark

    def record(self, topic_tray: str) -> tuple[dict[str, Any], list[Meaning]]:
        chance = self.chance
        name, tray, quantity, own = self._named(topic_tray)
        record = self._bases(name)
        record["n"] = name.removeprefix(self.base_name)
        if not record["n"]:
            del record["n"]
        unit = own or self._unit(quantity)
        written, value = possible_value(
            chance, quantity, unit, less=self.base_value if self.has_base_value else None
        )
        senml_unit = chance.choice(_SENML_UNITS.get(unit, [unit]))
        if senml_unit != self.base_unit and not (own and not self.base_unit):
            record["u"] = senml_unit
        record["v"] = self.marked(written.text)
        time_ms = self._timed(record)
        if chance.random() < 0.1:
            record |= {"ut": 10, "s": 12, "extra": "left alone"}
        items = list(record.items())
        chance.shuffle(items)
        return dict(items), [Meaning(time_ms, tray, quantity, value)]

    def _named(self, topic_tray: str) -> tuple[str, str, str, str]:
        """Return a name, and tray, quantity and fixed unit of what it means."""
        chance = self.chance
        quantity = chance.choice(QUANTITIES)
        if self.place == "senml":
            return quantity, topic_tray, quantity, ""
        if chance.random() < 0.1:
            return "probe-7", "tray-b", "leaf_temperature", ""
        tray = chance.choice(["tray-a", "tray-b"])  # SenML has no letters for the other names
        own = "kg" if (tray, quantity) == ("tray-a", "tray_mass") else ""
        return f"bench:{tray}:{quantity}", tray, quantity, own

    def _unit(self, quantity: str) -> str:
        return self.chance.choice([unit for unit in UNITS[quantity] if unit.isascii()])

    def _bases(self, name: str) -> dict[str, Any]:
        chance, record = self.chance, dict[str, Any]()
        if not name.startswith(self.base_name) or chance.random() < 0.2:
            self.base_name = name[: chance.randrange(len(name) + 1)]
            record["bn"] = self.base_name
        if chance.random() < 0.2:
            self.base_unit = record["bu"] = chance.choice(["", "Cel", "%RH"])
        if chance.random() < 0.2:
            whole = chance.choice([Fraction(0), Fraction(chance.randrange(-4000, 4000), 8)])
            self.base_value, self.has_base_value = whole, True
            record["bv"] = self.marked(_decimal(whole))
        if chance.random() < 0.3:
            self.base_time = Fraction(self.now_ms - chance.randrange(_MONTH_MS), 1000)
            if chance.random() < 0.3:
                self.base_time = Fraction(chance.randrange(-(2**21), 300_000), 1000)  # seconds from now
            record["bt"] = self.marked(_decimal(self.base_time))
        if chance.random() < 0.1:
            record |= {"bver": chance.choice([5, 10]), "bs": 3}
        return record

    def _timed(self, record: dict[str, Any]) -> int:
        chance, seconds = self.chance, self.base_time
        if chance.random() < 0.4:
            later = Fraction(chance.randrange(-(10**9), 0), 10 ** chance.randrange(3, 7))
            record["t"] = self.marked(_decimal(later))
            seconds += later
        relative_ms = seconds * 1000
        whole_ms = relative_ms.numerator // relative_ms.denominator
        return whole_ms if seconds >= 2**28 else self.now_ms + whole_ms


def possible_value(
    chance: Random, quantity: str, unit: str, less: Fraction | None = None
) -> tuple[Written, float]:
    """Return a possible value as it is written, and as it must be kept.

    ``less`` is taken off what is written: a base value that is added to it again.
    """
    factor, offset = UNITS[quantity][unit] if unit else (Fraction(1), Fraction(0))
    low, high = POSSIBLE[quantity]
    while True:
        own = Fraction(chance.randrange(low * 10**6, high * 10**6 + 1), 10**6)
        if chance.random() < 0.05:
            own = Fraction(chance.choice([low, high]))
        digits = 10 ** chance.randrange(5)
        exact = Fraction(round((own - offset) / factor * digits), digits)
        kept = float(exact * factor + offset)
        if low <= kept <= high:
            written = exact - less if less else exact
            return Written(_number_text(chance, written), written), kept + 0.0


def _number_text(chance: Random, exact: Fraction) -> str:
    """Return one of the ways to write a number in JSON."""
    text = _decimal(exact)
    form = chance.randrange(6)
    if form == 0 and "." in text:
        return text + "0" * chance.randrange(1, 4)
    if form == 1:
        return text + chance.choice(["e0", "E+0", "e-0"])
    if form == 2:
        places = len(text.partition(".")[2])
        digits = str(int(exact * 10**places))
        return f"{digits}{chance.choice('eE')}-{places:0{chance.randrange(1, 4)}d}"
    if form == 3 and "." not in text:
        return text + ".0"
    return text


def _decimal(exact: Fraction) -> str:
    """Return a number with a finite number of decimals, written out."""
    places = 0
    while 10**places % exact.denominator:
        places += 1
    digits = str(abs(exact.numerator) * (10**places // exact.denominator)).rjust(places + 1, "0")
    whole, fraction = digits[: len(digits) - places], digits[len(digits) - places :]
    return ("-" if exact < 0 else "") + whole + (f".{fraction}" if fraction else "")


def _dated(chance: Random, now_ms: int, form: str) -> tuple[int, str]:
    """Return an instant and how it is written in JSON; finer digits than a millisecond are dropped."""
    time_ms = now_ms - chance.randrange(_MONTH_MS)
    if chance.random() < 0.1:
        time_ms = now_ms + chance.choice([0, 1, AHEAD_MS - 1, AHEAD_MS])
    finer = chance.choice(["", "", "0", "9", "000001", "999999"])
    if form == "unix_ms":
        return time_ms, f"{time_ms}{'.' if finer else ''}{finer}"
    if form == "unix_s":
        return time_ms, f"{time_ms // 1000}.{time_ms % 1000:03d}{finer}"
    return time_ms, json.dumps(written_time(chance, time_ms, finer))


def text_of_ms(time_ms: int) -> str:
    """Return an instant as RFC 3339 in UTC with milliseconds."""
    return (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds")


def written_time(chance: Random, time_ms: int, finer: str) -> str:
    zone = timezone(timedelta(minutes=chance.choice([0, 60, -300, 330, 765, -1439, 1439])))
    moment = (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(zone)
    text = f"{moment:%Y-%m-%d}{chance.choice('Tt ')}{moment:%H:%M:%S}"
    if time_ms % 1000 or finer or chance.random() < 0.5:
        text += f".{time_ms % 1000:03d}{finer}"
    if zone.utcoffset(None) == timedelta(0):
        return text + chance.choice(["Z", "z", "+00:00", "-00:00"])
    offset = f"{moment:%z}"
    return f"{text}{offset[:3]}:{offset[3:5]}"
