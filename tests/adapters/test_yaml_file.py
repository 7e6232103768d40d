"""YAML is read so that it cannot surprise anybody, and what is refused is refused with its line."""

from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.adapters.yaml_file import DEEPEST, LARGEST_FILE_BYTES, parse
from wardian.rules.documents import Document, dotted
from wardian.rules.errors import BadConfig

#: Both parsers of the library must agree: a board may have been given the slow one.
LOADERS = [pytest.param(yaml.SafeLoader, id="python"), pytest.param(yaml.CSafeLoader, id="c")]
EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"


def value_of(text: str, loader: Any = yaml.CSafeLoader) -> Any:
    return parse(text.encode(), "x.yaml", loader).value


def is_read_or_told(data: bytes) -> bool:
    """Return whether bytes give a document or told mistakes; anything else is raised and fails the test."""
    try:
        return isinstance(parse(data, "x.yaml"), Document)
    except BadConfig as error:
        return bool(error.mistakes) and all(one.line >= 1 and one.problem for one in error.mistakes)


def mistakes_of(data: bytes | str, loader: Any = yaml.CSafeLoader) -> list[str]:
    with pytest.raises(BadConfig) as caught:
        parse(data.encode() if isinstance(data, str) else data, "x.yaml", loader)
    return str(caught.value).split("\n")


@pytest.mark.parametrize("loader", LOADERS)
@pytest.mark.parametrize(
    ("written", "meant"),
    [
        # What older rules of YAML turn into minutes, booleans, octal numbers and dates stays text.
        ("18:00", "18:00"),
        ("6:00", "6:00"),
        ("24:00", "24:00"),
        ("22:30.5", "22:30.5"),
        ("-5:30", "-5:30"),
        ("no", "no"),
        ("NO", "NO"),
        ("yes", "yes"),
        ("on", "on"),
        ("off", "off"),
        ("True", "True"),
        ("FALSE", "FALSE"),
        ("y", "y"),
        ("010", "010"),
        ("08", "08"),
        ("00", "00"),
        ("0x1F", "0x1F"),
        ("0o17", "0o17"),
        ("0b11", "0b11"),
        ("1_000", "1_000"),
        ("2026-03-02", "2026-03-02"),
        ("2026-03-02T06:00:00Z", "2026-03-02T06:00:00Z"),
        ("3.1.1", "3.1.1"),
        ("75 °F", "75 °F"),
        ("90 %", "90 %"),
        ("nan", "nan"),
        ("inf", "inf"),
        ("1e", "1e"),
        ("=", "="),
        # Only these are booleans.
        ("true", True),
        ("false", False),
        # Numbers are exactly what was written.
        ("0", 0),
        ("-0", 0),
        ("24", 24),
        ("+24", 24),
        ("-24", -24),
        ("26.7", Decimal("26.7")),
        ("0.40", Decimal("0.40")),
        (".5", Decimal("0.5")),
        ("5.", Decimal(5)),
        ("1e3", Decimal(1000)),
        ("1E-3", Decimal("0.001")),
        ("-1.5e+2", Decimal(-150)),
        ("12345678901234567890.123456789", Decimal("12345678901234567890.123456789")),
        # Nothing is nothing.
        ("", None),
        ("~", None),
        ("null", None),
        # Quotes always mean text.
        ('"18"', "18"),
        ("'true'", "true"),
        ('"1e3"', "1e3"),
        ("''", ""),
        ('"~"', "~"),
        ("|\n  24\n", "24\n"),
    ],
)
def test_a_scalar_means_what_a_person_means(written: str, meant: object, loader: Any) -> None:
    found = value_of(f"key: {written}\n", loader)["key"]
    assert found == meant
    assert type(found) is type(meant)


@pytest.mark.threat(10)
@pytest.mark.parametrize("loader", LOADERS)
@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("a: 1\nb: 2\na: 3\n", "x.yaml:3: a: is written twice: it is on line 1 already"),
        ("{t: {low: 18}, u: 1, t: {low: 5}}", "x.yaml:1: t: is written twice: it is on line 1 already"),
        ("t:\n  - {n: 1, n: 1}\n", "x.yaml:2: t[0].n: is written twice: it is on line 2 already"),
        ('"a": 1\na: 2\n', "x.yaml:2: a: is written twice: it is on line 1 already"),
        ("a: &here 1\n", "x.yaml:1: a: has an anchor (&)"),
        ("a: &here [1]\nb: *here\n", "x.yaml:2: b: refers to another place with *"),
        ("b: {x: 1}\na:\n  <<: {x: 2}\n", "x.yaml:3: a: has a merge key (<<)"),
        ("a: !!str 18\n", "x.yaml:1: a: has the tag 'tag:yaml.org,2002:str'"),
        ("a: !!python/object/apply:os.system [x]\n", "x.yaml:1: a: has the tag"),
        ("1: a\n", "x.yaml:1: has the key '1', which is no text; put quotes around it"),
        ("a:\n  true: a\n", "x.yaml:2: a: has the key 'true', which is no text"),
        ("a:\n  1.5: a\n", "x.yaml:2: a: has the key '1.5', which is no text"),
        ("~: a\n", "x.yaml:1: has the key '~', which is no text"),
        ("? [a]\n: b\n", "x.yaml:1: has a list or a mapping as a key"),
        ("? {a: b}\n: b\n", "x.yaml:1: has a list or a mapping as a key"),
        ("a: 1\n---\nb: 2\n", "x.yaml:2: is a second document in one file"),
        ("a: .nan\n", "x.yaml:1: a: is .nan; a finite number is accepted"),
        ("a: 1\nb: [-.inf]\n", "x.yaml:2: b[0]: is -.inf; a finite number is accepted"),
        ("a: 1e400\n", "x.yaml:1: a: is a number too long"),
        ("a: " + "9" * 10_000 + "\n", "x.yaml:1: a: is a number too long"),
        ("a: 1e" + "9" * 10_000 + "\n", "x.yaml:1: a: is a number too long"),
        ("a:\n\tb: 1\n", "x.yaml:2: begins with a tab; indent with spaces"),
        ("a: 1\n \tb: 1\n", "x.yaml:2: begins with a tab; indent with spaces"),
        ("a: [1, 2\n", "x.yaml:"),
        ("a: 'open\n", "x.yaml:"),
        ("a: 1\n  b: 2\n", "x.yaml:2: is not YAML"),
        ("a: b: c\n", "x.yaml:1: is not YAML"),
        ("a: @x\n", "x.yaml:1: is not YAML"),
        ("a: 1\nb: \x07\n", "x.yaml:2: is not YAML"),
        ("- " * (DEEPEST + 1) + "a", f"x.yaml:1: is nested deeper than {DEEPEST} levels"),
        ("[" * 50, f"x.yaml:1: is nested deeper than {DEEPEST} levels"),
        ("[" * 100_000, "x.yaml:1: is "),
    ],
)
def test_what_could_surprise_is_refused_with_its_line(text: str, told: str, loader: Any) -> None:
    assert any(line.startswith(told) for line in mistakes_of(text, loader)), mistakes_of(text, loader)


@pytest.mark.parametrize(
    ("data", "told"),
    [
        ("a: 1\n".encode("utf-16"), "looks like UTF-16"),
        ("a: 1\n".encode("utf-16-le"), "looks like UTF-16"),
        (b"a: 1\nb: \xfc\n", "x.yaml:2: has a letter that is not UTF-8"),
        (b"#" * (LARGEST_FILE_BYTES + 1), "is larger than 256 KiB"),
    ],
)
def test_bytes_that_are_no_text_are_refused(data: bytes, told: str) -> None:
    (line,) = mistakes_of(data)
    assert told in line


def test_every_mistake_is_told_at_once() -> None:
    told = mistakes_of("a: &x 1\na: .inf\n2: b\nc: !t 1\n")
    assert [line.split(": ")[0] for line in told] == [
        "x.yaml:1",
        "x.yaml:2",
        "x.yaml:2",
        "x.yaml:3",
        "x.yaml:4",
    ]


@pytest.mark.parametrize("loader", LOADERS)
def test_every_key_and_item_has_its_line(loader: Any) -> None:
    text = (
        "# first\nsite: {name: a}\ntrays:\n  - name: b\n    light:\n      lit_above: 5 lx\n  -\n    name: c\n"
    )
    document = parse(text.encode(), "x.yaml", loader)
    assert {dotted(path): line for path, line in document.lines.items()} == {
        "site": 2,
        "site.name": 2,
        "trays": 3,
        "trays[0]": 4,
        "trays[0].name": 4,
        "trays[0].light": 5,
        "trays[0].light.lit_above": 6,
        "trays[1]": 8,
        "trays[1].name": 8,
    }
    assert document.line(("trays", 0, "light", "missing")) == 5
    assert document.line(("nowhere", 3)) == 1


@pytest.mark.parametrize(
    "text", ["\ufeffa: 1\r\nb: 2\r\n", "---\na: 1\nb: 2\n", "%YAML 1.1\n---\na: 1\nb: 2\n...\n"]
)
def test_what_editors_add_does_no_harm(text: str) -> None:
    assert value_of(text) == {"a": 1, "b": 2}


@pytest.mark.parametrize("text", ["", "\n", "# nothing\n", "---\n"])
def test_an_empty_file_is_nothing(text: str) -> None:
    assert value_of(text) is None


def test_a_last_line_without_an_end_is_noticed() -> None:
    assert not parse(b"a: 2", "x.yaml").is_whole
    assert parse(b"a: 24\n", "x.yaml").is_whole


def test_a_path_cannot_smuggle_anything_into_a_terminal() -> None:
    told = mistakes_of('"a\\e[31m b":\n  x: 1\n  x: 2\n')
    assert told == [r"x.yaml:3: 'a\x1b[31m b'.x: is written twice: it is on line 2 already"]


@pytest.mark.threat(10)
@settings(max_examples=300, deadline=None)
@given(
    st.one_of(st.binary(max_size=200), st.text(max_size=200).map(lambda text: text.encode(errors="replace")))
)
def test_no_bytes_bring_anything_but_a_document_or_a_told_mistake(data: bytes) -> None:
    assert is_read_or_told(data)


@settings(max_examples=200, deadline=None)
@given(st.text(alphabet="ab01:-{}[],&*!|>'\"#%@`~? \n\t.e", max_size=60))
def test_both_parsers_find_the_same(text: str) -> None:
    found: list[object] = []
    for loader in (yaml.SafeLoader, yaml.CSafeLoader):
        try:
            found.append(parse(text.encode(), "x.yaml", loader).value)
        except BadConfig:
            found.append("refused")
    # The slow parser is stricter about a few stray signs; it never reads something else.
    assert found[0] == found[1] or "refused" in found


@settings(max_examples=100, deadline=None)
@given(st.data())
def test_a_mangled_example_is_read_or_refused(data: st.DataObject) -> None:
    text = bytearray(EXAMPLE.read_bytes())
    for _ in range(data.draw(st.integers(1, 5))):
        text[data.draw(st.integers(0, len(text) - 1))] = data.draw(st.integers(0, 255))
    assert is_read_or_told(bytes(text))


def test_keys_within_keys_end_where_values_would() -> None:
    """Found by fuzzing: a key that has an inside was not counted as a level, and the recursion had no end."""
    with pytest.raises(BadConfig, match="is nested deeper than 12 levels"):
        parse(b"? " * 3000 + b"a", "c.yaml")
    with pytest.raises(BadConfig, match="has a list or a mapping as a key"):
        parse(b"? [a, b]\n: c\n", "c.yaml")
