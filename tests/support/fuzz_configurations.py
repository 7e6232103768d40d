"""Configurations by the ten thousand: golden ones mangled, and cut off at every byte.

As a program: ``python fuzz_configurations.py SEED MANGLED`` with this folder on the path prints lines of the table
of figures.
"""

import contextlib
import io
import re
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from random import Random
from time import process_time
from typing import Any, NamedTuple

from base_config import BASE, EXAMPLE
from fake_clock import FakeClock
from fuzz_figures import Figure, print_figures
from fuzz_golden import golden

from wardian.adapters.yaml_file import parse
from wardian.daemon.cli import main
from wardian.daemon.config import Config, build
from wardian.daemon.effective import effective_lines
from wardian.daemon.library import Library, library
from wardian.daemon.opening import Bench, open_sensors
from wardian.daemon.tongue import Tongue
from wardian.daemon.watched_facts import changed_sections, less_watched, watched_facts
from wardian.daemon.wiring import load_config
from wardian.rules.errors import AdapterError, BadConfig

#: One of so many goes through the command as well, and one of so many accepted ones is printed whole.
_BY_COMMAND = 40
_PRINTED = 5
_TOLD = re.compile(r"[^\n]+:([0-9]+): [^\n]+")

#: What a person may write by mistake → what it must be read as: the text itself, a number, or nothing good at all.
_TEXT, _REFUSED = object(), object()
TRAPS: Mapping[str, object] = {
    **dict.fromkeys(
        ("18:00", "6:00", "24:00", "22:30.5", "-5:30", "010", "08", "0x1F", "0b11", "1_000"), _TEXT
    ),
    **dict.fromkeys(
        ("yes", "no", "on", "off", "NO", "True", "y", "2026-03-02", "1,5", "nan", "inf", "75 °F"), _TEXT
    ),
    **dict.fromkeys(
        (".nan", ".inf", "-.INF", "&a 5", "*a", "!!int 5", "!!python/object:os.system x"), _REFUSED
    ),
    **dict.fromkeys(
        ("9" * 10_000, "1e999999999", "%x", "@x", "`x", "a: b: c", '"cut', "[1, 2", "{a: 1"), _REFUSED
    ),
    "1e3": Decimal(1000),
    "5": 5,
    "true": True,
    "-0": 0,
}


class Mangled(NamedTuple):
    """A configuration that was mangled; ``check`` says why its meaning is wrong, where that is known."""

    data: bytes
    kind: str
    check: Callable[[Any], str] = lambda _value: ""


@dataclass
class Outcome:
    """What came of a run; whatever is in ``wrong`` should not be."""

    count: Counter[str] = field(default_factory=Counter)
    wrong: list[str] = field(default_factory=list)
    slowest_s: float = 0.0

    def fault(self, what: str, data: bytes, found: object) -> None:
        """Note what went wrong, shortly, so that it can be looked at again."""
        self.count[what] += 1
        if len(self.wrong) < 20:
            self.wrong.append(f"{what}: {found}\n    {data[:2000]!r}")


# ------------------------------------------------------------------------------------- mangling


def mangled(chance: Random, text: str) -> Mangled:
    """Return a configuration with something otherwise."""
    return chance.choice(_MANGLERS)(chance, text)


def _by_letters(chance: Random, text: str) -> Mangled:
    letters = list(text)
    for _ in range(chance.choice([1, 1, 2, 5])):
        place = chance.randrange(len(letters))
        letters[place] = chance.choice(
            ["", letters[place] * 2, *"0123:-{}[],&*!|>'\"#%@ \n°x.?~\t\r\0\u2028\x1b\x85"]
        )
    return Mangled("".join(letters).encode(), "letters")


def _by_bytes(chance: Random, text: str) -> Mangled:
    data = bytearray(text.encode())
    for _ in range(chance.choice([1, 1, 3])):
        place = chance.randrange(len(data))
        data[place : place + chance.randrange(3)] = chance.randbytes(chance.randrange(3))
    return Mangled(bytes(data), "bytes")


def _by_tokens(chance: Random, text: str) -> Mangled:
    tokens = re.split(r"([\w.°%]+)", text)
    words = range(1, len(tokens), 2)
    for _ in range(chance.choice([1, 1, 2])):
        place, other = chance.choice(words), chance.choice(words)
        tokens[place] = chance.choice(
            [tokens[other], "", *TRAPS, "low", "high_high", "tray-a", "kPa", "lx", "null"]
        )
    return Mangled("".join(tokens).encode(), "tokens")


def _by_lines(chance: Random, text: str) -> Mangled:
    lines = text.splitlines(keepends=True)
    place, other = chance.randrange(len(lines)), chance.randrange(len(lines))
    draw = chance.randrange(4)
    if draw == 0:
        del lines[place : place + chance.randrange(1, 6)]
    elif draw == 1:
        lines.insert(other, lines[place])
    elif draw == 2:
        lines[place], lines[other] = lines[other], lines[place]
    else:
        lines[place] = chance.choice([" ", "  ", "\t", "- ", "# "]) + lines[place]
    return Mangled("".join(lines).encode(), "lines")


def _doubled(chance: Random, text: str) -> Mangled:
    """Double a line that says something: a key that stands twice must never win silently."""
    lines = text.splitlines(keepends=True)
    place = chance.choice([number for number, line in enumerate(lines) if re.match(r"\s*[\w-]+:", line)])
    lines.insert(place, lines[place])
    return Mangled("".join(lines).encode(), "doubled", lambda _value: "a key that stands twice is accepted")


def _trapped(chance: Random, text: str) -> Mangled:
    """Write something in place of the value of a line; it must be read as what it looks like, or refused."""
    lines = text.splitlines(keepends=True)
    places = [
        number for number, line in enumerate(lines) if re.match(r" *(- )?\w+: +[\w'\"-][^#{\[]*$", line)
    ]
    if not places:
        return _by_letters(chance, text)
    place, (trap, meant) = chance.choice(places), chance.choice(tuple(TRAPS.items()))
    key = re.match(r" *(?:- )?(\w+): +", lines[place])
    assert key
    lines[place] = f"{key[0]}{trap}\n"

    def check(document: Any) -> str:
        paths = [path for path, line in document.lines.items() if line == place + 1 and path[-1] == key[1]]
        found = [document.at(path) for path in paths]
        wanted = trap if meant is _TEXT else meant
        is_so = found == [wanted] and [type(one) for one in found] == [type(wanted)]
        return "" if is_so else f"{key[0]}{trap} is read as {found}"

    return Mangled("".join(lines).encode(), "traps", check)


def _other_text(chance: Random, text: str) -> Mangled:
    """Write the same in another way that means the same: it must be refused or mean the same."""
    ways: Sequence[tuple[str, Callable[[], bytes]]] = (
        ("CRLF", lambda: text.replace("\n", "\r\n").encode()),
        ("BOM", lambda: b"\xef\xbb\xbf" + text.encode()),
        ("UTF-16", lambda: text.encode("utf-16")),
        ("UTF-16 without mark", lambda: text.encode("utf-16-le")),
        ("Latin-1", lambda: text.encode("latin-1", "replace")),
        ("CR", lambda: text.replace("\n", "\r").encode()),
        ("twice", f"{text}---\n{text}".encode),
        ("dashes", f"---\n{text}...\n".encode),
    )
    name, way = chance.choice(ways)
    value = parse(text.encode(), "c.yaml").value
    if name == "Latin-1" and not text.isascii():
        return Mangled(way(), name, lambda _value: "letters that are not UTF-8 are accepted")
    return Mangled(
        way(), name, lambda document: "" if document.value == value else f"{name} changes the meaning"
    )


def _monstrous(chance: Random, text: str) -> Mangled:
    bomb = "a: &a [x, x, x, x, x, x, x, x, x]\n" + "".join(
        f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]\n"
        for before, name in zip("abcdefgh", "bcdefghi", strict=True)
    )
    monsters: Sequence[Callable[[], str]] = (
        lambda: "[" * 5000,
        lambda: "{a: " * 5000,
        lambda: "- " * 5000,
        lambda: text + "".join(f"{' ' * n}a:\n" for n in range(200)),
        lambda: text + bomb,
        lambda: text + "notes: " + "x" * 300_000 + "\n",
        lambda: text + "# " + "x" * 200_000 + "\n",
        lambda: text + "\n" * 200_000,
        lambda: text.replace("trays:", "trays:" + "".join(f"\n  - {{name: t{n}}}" for n in range(3000)), 1),
        lambda: "".join(f"k{n}: 1\n" for n in range(20_000)),
        lambda: "a: " + "9" * 200_000,
        lambda: "? " * 3000,
        lambda: text.replace("stuck: ", "stuck: ? ", 1),
        lambda: 'a: "' + "\\x41" * 50_000,
        lambda: "a: |" + "\n  x" * 50_000,
        lambda: "!" * 10_000 + text,
        lambda: "%YAML 9.9\n---\n" + text,
        lambda: "",
        lambda: "\0" * 100,
    )
    return Mangled(chance.choice(monsters)().encode(), "monsters")


_MANGLERS: Sequence[Callable[[Random, str], Mangled]] = (
    *[_by_letters] * 4, *[_by_bytes] * 4, *[_by_tokens] * 5, *[_by_lines] * 4, *[_doubled] * 2, *[_trapped] * 4, _other_text,
)  # fmt: skip
#: One of so many is a monster: each costs a good deal.
_MONSTERS = 200


# ---------------------------------------------------------------------------------------- running


class Run:
    """One run over golden configurations."""

    def __init__(self, seed: int, folder: Path) -> None:
        self.outcome = Outcome()
        self._chance = Random(seed)
        self._golden = golden()
        self._file = folder / "c.yaml"
        self._library: Library = library(parse)

    def go(self, count: int) -> Outcome:
        """Mangle so many times, and look at what is made of it."""
        small = [text for name, text in self._golden.items() if name != "example"]
        for number in range(count):
            chance = self._chance
            text = self._golden["example"] if chance.random() < 0.02 else chance.choice(small)
            made = _monstrous(chance, text) if number % _MONSTERS == 0 else mangled(chance, text)
            self.outcome.count["mangled"] += 1
            document = self.read(made.data)
            if document is not None and (why := made.check(document)):
                self.outcome.fault("silent change", made.data, why)
            if number % _BY_COMMAND == 0:
                self.by_command(made.data)
        return self.outcome

    def read(self, data: bytes) -> Any:
        """Return the document of a configuration that is accepted, else None; its mistakes are looked at."""
        outcome = self.outcome
        begun_s = process_time()
        try:
            document = parse(data, "c.yaml")
            config = build(document, Path("/bench"), self._library)
        except BadConfig as error:
            self._look_at(error, data)
            return None
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            outcome.fault("crash", data, repr(error))
            return None
        finally:
            outcome.slowest_s = max(outcome.slowest_s, process_time() - begun_s)
        outcome.count["accepted"] += 1
        if outcome.count["accepted"] % _PRINTED == 0:
            self._use(config, data)
        return document

    def _look_at(self, error: BadConfig, data: bytes) -> None:
        outcome, last = self.outcome, data.count(b"\n") + data.count(b"\r") + 1
        outcome.count["refused"] += 1
        for mistake in error.mistakes:
            text = mistake.in_file("c.yaml")
            if (
                not mistake.problem
                or not 1 <= mistake.line <= last
                or not text.isprintable()
                or len(text) > 2000
            ):
                outcome.fault("mistake without line or plain words", data, text)
        if not error.mistakes:
            outcome.fault("refused without a mistake", data, "")

    def _use(self, config: Config, data: bytes) -> None:
        """Do what a start does with it: what is accepted must not fall over then."""
        self._file.write_bytes(data)
        try:
            if not list(effective_lines(config)):
                self.outcome.fault("nothing is in force", data, "")
            with contextlib.suppress(AdapterError, BadConfig):
                open_sensors(Bench(load_config(self._file), FakeClock(), lambda: None))
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash after it was accepted", data, repr(error))

    def by_command(self, data: bytes) -> None:
        """Let the command look at it as a person would."""
        self._file.write_bytes(data)
        out, err = io.StringIO(), io.StringIO()
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                status = main(["check", str(self._file)])
        except BaseException as error:  # noqa: BLE001 - an exit is as wrong as a crash
            self.outcome.fault("crash of the command", data, repr(error))
            return
        self.outcome.count["by the command"] += 1
        lines = out.getvalue().splitlines()
        is_told = status == 2 and lines and all(_TOLD.fullmatch(line) for line in lines)
        is_used = status == 0 and len(lines) == 1 and lines[0].endswith("usable")
        if not (is_told or is_used):
            self.outcome.fault("not told by the command", data, (status, lines, err.getvalue()))

    def cut(self, text: str, *, every: int = 1) -> Outcome:
        """Cut a configuration off at every byte: each is an error, means the same, or is told as a change."""
        data, outcome = text.encode(), self.outcome
        whole = parse(data, "c.yaml")
        facts = watched_facts(build(whole, Path("/bench"), self._library))
        meant, last = whole.value, None
        for place in range(0, len(data), every):
            part = data[:place]
            outcome.count["cut off"] += 1
            try:
                document = parse(part, "c.yaml")
            except BadConfig as error:
                self._look_at(error, part)
                continue
            if document.value != meant and (document.value, document.is_whole) != last:
                last = document.value, document.is_whole
                config = self._built(document, part)
                if config is not None:
                    self._look_at_change(facts, config, part)
        return outcome

    def _look_at_change(self, facts: Mapping[str, Any], config: Config, part: bytes) -> None:
        """See that what was cut off without becoming an error is told: as a change, as less, or as cut off."""
        now, counted = watched_facts(config), self.outcome.count
        is_less = bool(less_watched(facts, now, Tongue.of(config.site)))
        is_warned = any("without an end" in one.problem for one in config.warnings)
        counted["cut off and still a configuration"] += 1
        counted["of these told as less watched"] += is_less
        counted["of these warned of as cut off"] += is_warned
        if not (changed_sections(facts, now) or is_less or is_warned):
            self.outcome.fault("silent change", part[-200:], "cut off")

    def _built(self, document: Any, data: bytes) -> Config | None:
        try:
            return build(document, Path("/bench"), self._library)
        except BadConfig as error:
            self._look_at(error, data)
        except Exception as error:  # noqa: BLE001 - whatever is raised here is what is looked for
            self.outcome.fault("crash", data, repr(error))
        return None


def figures(seed: int, count: int) -> Iterator[Figure]:
    """Yield the figures of a run."""
    with tempfile.TemporaryDirectory() as folder:
        run = Run(seed, Path(folder))
        outcome = run.go(count)
        for text in (EXAMPLE.read_text(encoding="utf-8"), BASE, *list(golden().values())[2:6]):
            run.cut(text)
    counted = outcome.count
    tried = counted["mangled"] + counted["cut off"]
    yield Figure("configurations tried", f"{tried:,}", "at least 100,000", tried >= 100_000)
    yield Figure("of them cut off at every byte", f"{counted['cut off']:,}", "", None)
    for what in (
        "cut off and still a configuration",
        "of these told as less watched",
        "of these warned of as cut off",
    ):
        yield Figure(what, f"{counted[what]:,}", "", None)
    yield Figure("through `wardian check`", f"{counted['by the command']:,}", "", None)
    crashes = sum(n for what, n in counted.items() if what.startswith("crash"))
    yield Figure("tracebacks", f"{crashes:,}", "0", crashes == 0)
    for what in ("silent change", "mistake without line or plain words", "not told by the command"):
        yield Figure(what, f"{counted[what]:,}", "0", counted[what] == 0)
    slowest = outcome.slowest_s
    yield Figure("slowest configuration, processor time", f"{slowest:.2f} s", "under 2 s", slowest < 2)
    for line in outcome.wrong:
        print(line, file=sys.stderr)


if __name__ == "__main__":
    sys.exit(print_figures(figures(int(sys.argv[1]), int(sys.argv[2]))))
