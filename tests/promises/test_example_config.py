"""The example configuration is valid as it stands, and so is all that it and the README propose."""

import re
import typing
from collections.abc import Iterator
from pathlib import Path

import pytest

from wardian.daemon import wiring
from wardian.daemon.cli import main
from wardian.daemon.config import SECTIONS
from wardian.daemon.config_models import (
    BandKeys,
    LightKeys,
    ReadingsKeys,
    SiteKeys,
    StageKeys,
    StoreKeys,
    TrayKeys,
)
from wardian.daemon.config_notifiers import NOTIFIER_KINDS
from wardian.daemon.config_outward import SECTIONS as OUTWARD
from wardian.daemon.config_outward import BeatKeys, CommandsKeys, SummaryKeys
from wardian.daemon.config_people import PersonKeys
from wardian.daemon.config_sensors import SENSOR_KINDS
from wardian.daemon.written import Section
from wardian.rules.quantities import QUANTITIES

ROOT = Path(__file__).parents[2]
EXAMPLE = ROOT / "config.example.yaml"
TEXT = EXAMPLE.read_text(encoding="utf-8")
FAMILIES: list[type[Section]] = [
    SiteKeys,
    StoreKeys,
    TrayKeys,
    StageKeys,
    BandKeys,
    LightKeys,
    ReadingsKeys,
    CommandsKeys,
    SummaryKeys,
    BeatKeys,
    *SENSOR_KINDS.values(),
    *NOTIFIER_KINDS.values(),
    PersonKeys,
]
#: A proposal of the example: a commented list item and the lines that belong to it.
PROPOSAL = re.compile(r"^  # - name: .*\n(?:  #   .*\n)+", re.MULTILINE)


def sections_in(section: type[Section]) -> Iterator[type[Section]]:
    """Yield a section and every section below it."""
    yield section
    for field in section.model_fields.values():
        for part in parts_of(field.annotation):
            yield from sections_in(part)


def parts_of(annotation: object) -> Iterator[type[Section]]:
    if isinstance(annotation, type) and issubclass(annotation, Section):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from parts_of(inner)


def test_the_example_is_usable_without_a_single_warning(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["check", str(EXAMPLE)]) == 0
    out, err = capsys.readouterr()
    assert "6 trays" in out
    assert err == ""


@pytest.mark.parametrize("family", FAMILIES, ids=lambda family: str(family.__name__))
def test_every_key_is_in_the_example(family: type[Section]) -> None:
    names = {name for section in sections_in(family) for name in section.model_fields}
    assert names
    assert sorted(name for name in names if not re.search(as_key(name), TEXT)) == []


def as_key(name: str) -> str:
    """Return how a key is found: with its colon, or in words where no other word is like it."""
    return rf"\b{name}\b" if "_" in name else rf"\b{name}:"


def test_every_section_kind_and_quantity_is_in_the_example() -> None:
    kinds = {f"kind: {kind}" for kind in (*SENSOR_KINDS, *NOTIFIER_KINDS)}
    # What is done outwards is off unless it is asked for: the example proposes it.
    sections = (f"\n# {name}:" if name in OUTWARD else f"\n{name}:" for name in SECTIONS)
    wanted = {*kinds, *sections, *QUANTITIES}
    assert sorted(name for name in wanted if name not in TEXT) == []


def proposals() -> list[tuple[str, str]]:
    """Return each proposal without its comment signs, and the section in which it stands."""
    _, _, rest = TEXT.partition("\nsensors:\n")
    sensors, _, rest = rest.partition("\nnotifiers:\n")
    notifiers, _, _ = rest.partition("\npeople:\n")
    return [
        (section, re.sub("^  # ", "  ", found[0], flags=re.MULTILINE))
        for section, text in (("sensors", sensors), ("notifiers", notifiers))
        for found in PROPOSAL.finditer(text)
    ]


def test_every_kind_that_the_example_does_not_use_is_proposed() -> None:
    kinds = {
        (section, kind)
        for section, block in proposals()
        for kind in re.findall(r"\n    kind: (\w+)\n", block)
    }
    sensors = {("sensors", kind) for kind in SENSOR_KINDS.keys() - {"simulator"}}
    assert kinds == sensors | {("notifiers", kind) for kind in NOTIFIER_KINDS.keys() - {"console"}}


@pytest.mark.parametrize(("section", "block"), proposals())
def test_a_proposal_holds_once_its_comment_signs_are_gone(tmp_path: Path, section: str, block: str) -> None:
    """Real sensors take the place of the pretended bench, as the example says."""
    before, _, _ = TEXT.partition("\nsensors:\n")
    path = tmp_path / "config.yaml"
    path.write_text(f"{before}\n{section}:\n{block}", encoding="utf-8")
    assert len(getattr(wiring.load_config(path), section)) == 1


@pytest.mark.parametrize("section", OUTWARD)
def test_what_is_done_outwards_holds_once_its_comment_signs_are_gone(tmp_path: Path, section: str) -> None:
    found = re.search(rf"^# {section}:\n(?:#   .*\n?)+", TEXT, re.MULTILINE)
    assert found
    path = tmp_path / "config.yaml"
    path.write_text(TEXT + re.sub("^# ", "", found[0], flags=re.MULTILINE), encoding="utf-8")
    config = wiring.load_config(path)
    assert getattr(config.outward, section) is not None
    assert config.warnings == ()


def test_every_configuration_in_the_readme_holds(tmp_path: Path) -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    blocks = re.findall(r"^```yaml\n(.*?)^```", readme, re.MULTILINE | re.DOTALL)
    assert blocks
    for place, block in enumerate(blocks):
        path = tmp_path / f"readme-{place}.yaml"
        path.write_text(block, encoding="utf-8")
        assert wiring.load_config(path).warnings == ()
