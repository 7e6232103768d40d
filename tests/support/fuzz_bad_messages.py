"""Messages for the fuzzing that are hardly good: by grammar, by mutation of good ones, and by chance."""

import json
from collections.abc import Callable, Iterable
from itertools import count, repeat
from random import Random

from fuzz_bench import QUANTITIES, TELLINGS, TRAYS, topic_of
from fuzz_good_messages import Case, good, laid_out
from reference_payloads import POSSIBLE

_TOKENS = [
    *(
        "NaN",
        "Infinity",
        "-Infinity",
        "nan",
        "inf",
        "null",
        "true",
        "false",
        '""',
        '"21.5"',
        "[]",
        "{}",
        "[21.5]",
    ),
    *(
        "1e400",
        "-1e400",
        "1e308",
        "1e-400",
        "1e999999999",
        "1e-999999999",
        "1e9999999999999999999",
        "9" * 400,
    ),
    *(
        "0x15",
        "21,5",
        "2_1.5",
        "²1",
        "٢١",
        "21.5°",
        "--1",
        "+-1",
        "1.",
        ".5",
        "1e",
        "01",
        "-0",
        "-0.0",
        "1e5.5",
    ),
    *("85.0", "127.94", "-127", "105", "105.0000001", "1e22", "4503599627370497.5", "0.1e-1000000"),
    *(
        '"\\ud800"',
        '"\\u0000"',
        '"\\n\\r"',
        '"\\u202e"',
        "18:00",
        "'21'",
        "21;",
        "// 21",
        "/*21*/",
        "\ufeff21",
    ),
    *('{"v":1,"v":2}', '{"$ref":"#"}', "[[[[[[[[[]]]]]]]]]", '{"a":' * 9 + "1" + "}" * 9),
]
_TIMES = [
    *(
        '"2026-03-02T18:00:00"',
        '"1970-01-01T00:00:00Z"',
        '"0000-01-01T00:00:00Z"',
        '"0001-01-01T00:00:00+23:59"',
    ),
    *('"9999-12-31T23:59:59Z"', '"9999-12-31T23:59:60Z"', '"2016-12-31T23:59:60Z"', '"2026-02-29T00:00:00Z"'),
    *(
        '"2026-03-02T24:00:00Z"',
        '"2026-03-02T18:00:00.Z"',
        '"2026-03-02"',
        '"yesterday"',
        '""',
        "0",
        "-1",
        "1e10",
    ),
    *(
        "1e13",
        "1e300",
        "-62135596800",
        "253402300799",
        "253402300800",
        "268435456",
        "268435455.999",
        "-1e9",
        "1e17",
    ),
    *(
        '"2026-W10-1T00:00:00Z"',
        '"20260302T180000Z"',
        '"+02026-03-02T18:00:00Z"',
        '"2026-03-02T18:00:00+24:00"',
    ),
]
_LABELS = [
    "n",
    "u",
    "v",
    "vs",
    "vb",
    "vd",
    "t",
    "s",
    "ut",
    "bn",
    "bt",
    "bu",
    "bv",
    "bs",
    "bver",
    "x_",
    "at",
    "t",
    "h",
]
_TEXTS = [
    '"Cel"',
    '"degF"',
    '"%"',
    '"/"',
    '"%RH"',
    '"furlong"',
    '"probe-7"',
    '"battery"',
    '"bench:tray-a:ppfd"',
    '"bench:"',
]


def by_grammar(chance: Random, now_ms: int) -> Case:
    """Return a message of the right shape in which nearly anything may stand anywhere."""
    place = chance.choice(tuple(TELLINGS))
    form = TELLINGS[place].form
    text = {"number": _odd, "json": _odd_document, "senml": _odd_pack}[form](chance)
    return _case(chance, now_ms, place, text.encode(errors="surrogatepass"), "grammar")


def _odd(chance: Random) -> str:
    draw = chance.random()
    if draw < 0.3:
        return repr(chance.uniform(-200, 200))
    if draw < 0.4:
        # Just beyond what is possible, of one quantity or another.
        low, high = chance.choice(tuple(POSSIBLE.values()))
        return repr(chance.choice([low - 1e-9, low - 1, high + 1e-9 * max(high, 1), high + 1, high * 1.5]))
    if draw < 0.5:
        return repr(chance.choice([1, -1]) * 10.0 ** chance.randrange(-320, 309))
    return chance.choice(_TOKENS + _TIMES + _TEXTS)


def _odd_document(chance: Random) -> str:
    if chance.random() < 0.1:
        return _odd(chance)
    texts = {
        pointer: _odd(chance) for pointer in ("/t", "/air/h", "/list/1", "/a~1b/~0m") if chance.random() < 0.6
    }
    time = chance.choice(_TIMES) if chance.random() < 0.7 else _odd(chance)
    texts[chance.choice(["/at", "/meta/0/at"])] = time
    text = laid_out(chance, texts)
    return text.replace('"t"', '"at"', 1) if chance.random() < 0.05 else text


def _odd_pack(chance: Random) -> str:
    records = []
    for _ in range(chance.choice([0, 1, 1, 2, 3])):
        members = []
        if chance.random() < 0.8:
            members = [f'"n":{json.dumps(chance.choice([*QUANTITIES, "battery", "bench:tray-b:water_ph"]))}']
        for _ in range(chance.randrange(5)):
            label = chance.choice(_LABELS)
            value = chance.choice(_TIMES) if label in ("t", "bt") and chance.random() < 0.7 else _odd(chance)
            value = chance.choice(_TEXTS) if label in ("u", "bu", "bn") and chance.random() < 0.7 else value
            members.append(f'"{label}":{value}')
        chance.shuffle(members)
        records.append("{" + ",".join(members) + "}" if chance.random() < 0.97 else _odd(chance))
    return "[" + ",".join(records) + "]"


def by_mutation(chance: Random, now_ms: int) -> Case:
    """Return a good message in which a few bytes or pieces are otherwise."""
    case = good(chance, now_ms)
    payload = bytearray(case.payload)
    for _ in range(chance.choice([1, 1, 1, 2, 4])):
        _mutate(chance, payload)
    topic = case.topic if chance.random() < 0.9 else _other_topic(chance, case.topic)
    is_retained = case.is_retained or chance.random() < 0.05
    return Case(topic, bytes(payload), is_retained, None, "mutation")


def _mutate(chance: Random, payload: bytearray) -> None:
    place = chance.randrange(len(payload) + 1)
    end = min(len(payload), place + chance.choice([1, 1, 2, 8]))
    draw = chance.randrange(7)
    if draw == 0:
        del payload[place:end]
    elif draw == 1:
        payload[place:end] = bytes(chance.randrange(256) for _ in range(end - place))
    elif draw == 2 and place < len(payload):
        payload[place] ^= 1 << chance.randrange(8)
    elif draw == 3:
        payload[place:place] = chance.choice(_TOKENS + _TIMES).encode(errors="surrogatepass")
    elif draw == 4:
        payload[place:place] = payload[place : place + chance.randrange(1, 40)]
    elif draw == 5:
        del payload[place:]
    else:
        payload[place:end] = bytes(chance.choice(b'0123456789.-+eE{}[],:" \\') for _ in range(end - place))


def _other_topic(chance: Random, topic: str) -> str:
    return chance.choice(
        [
            topic + "/",
            topic.replace("tray", "Tray"),
            "$" + topic,
            topic[:-1],
            topic + "\u202e",
            "pack",
            topic.upper(),
        ]
    )


def by_bytes(chance: Random, now_ms: int) -> Case:
    """Return a message of chance bytes, or one as large or as deep as can be."""
    place = chance.choice(tuple(TELLINGS))
    draw = chance.random()
    if draw < 0.9:
        payload = chance.randbytes(chance.choice([0, 1, 2, 5, 20, 100, 300]))
    else:
        payload = large(chance, chance.choice([63, 64, 65, 1000, 4095, 4096, 4097, 20_000]))
    return _case(chance, now_ms, place, payload, "bytes")


def large(chance: Random, size: int) -> bytes:
    """Return so many bytes of something that could cost a careless reader much."""
    pieces: list[Callable[[], bytes]] = [
        lambda: b"[" * size,
        lambda: (b"[" * (size // 2) + b"]" * size)[:size],
        lambda: (b'{"a":' * size)[:size],
        lambda: b"9" * size,
        lambda: b"0." + b"1" * (size - 2),
        lambda: b"1e" + b"9" * (size - 2),
        lambda: _filled(b'"', repeat(b"\\u00e9"), b'"', size),
        lambda: _filled(b"[", repeat(b"1,"), b"1]", size),
        lambda: _filled(b"[", repeat(b'{"n":"ppfd","v":1},'), b"{}]", size),
        lambda: _filled(b"{", (b'"%x":1,' % n for n in count()), b'"0":1}', size),
        lambda: _filled(b"[{", (b'"%x":1,' % n for n in count()), b'"0":1}]', size),
        lambda: _filled(b"[", repeat(b'{"n":"ppfd","t":1e-300},'), b"{}]", size),
        lambda: _filled(b'[{"n":"', repeat(b"a"), b'","v":1}]', size),
        lambda: _filled(b'{"at":"2026-03-02T18:00:00.', repeat(b"1"), b'Z","t":1}', size),
        lambda: b" " * size,
        lambda: b"\xff" * size,
        lambda: b"+" * size,
        lambda: (b"1 " * size)[:size],
        lambda: b"-" + b"0" * (size - 1),
    ]
    return chance.choice(pieces)()


def _filled(start: bytes, pieces: Iterable[bytes], end: bytes, size: int) -> bytes:
    """Return as many whole pieces between start and end as a size has room for."""
    room, inner = size - len(start) - len(end), bytearray()
    for piece in pieces:
        if len(inner) + len(piece) > room:
            return start + inner + end
        inner += piece
    return start + inner + end


def _case(chance: Random, now_ms: int, place: str, payload: bytes, kind: str) -> Case:
    topic = topic_of(place, chance.choice(TRAYS), chance.choice(QUANTITIES))
    return Case(topic, payload, chance.random() < 0.05, None, kind)
