"""Configurations that were damaged: told with line and words, never half used, never with another meaning."""

import io
from contextlib import redirect_stdout
from pathlib import Path

import pytest
from base_config import BASE, EXAMPLE
from fuzz_configurations import Run

from wardian.daemon.cli import main

pytestmark = pytest.mark.fault(34)

BAND = "air_temperature: {low: 75 °F, high: 80 °F, deadband: 1 °F, on_delay: 10 min, off_delay: 5 min}"
#: What is written in place of something, and what is said of it. Lines are those of the base.
TOLD = {
    "a bare time for a limit": ("high: 24\n", "high: 18:00\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: '18:00' is"),
    "an octal number": ("high: 24\n", "high: 010\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: '010' is"),
    "not a number": ("high: 24\n", "high: .nan\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: is .nan"),
    "a word for a number": ("high: 24\n", "high: yes\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: 'yes' is"),
    "an underscore": ("high: 24\n", "high: 2_4\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: '2_4' is"),
    "limits that fall": ("high: 24\n", "high: 17\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: 17 is below low"),
    "nothing behind a key": ("high: 24\n", "high:\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: has nothing"),
    "a key twice": ("high: 24\n", "high: 24\n            high: 99\n", ":26: crops.coleus.stages[1].bands.air_temperature.high: is written twice"),
    "an anchor": ("high: 24\n", "high: &a 24\n", ":25: crops.coleus.stages[1].bands.air_temperature.high: has an anchor"),
    "a crop that there is not": ("crop: coleus", "crop: colius", ":6: trays[0].crop: 'colius' is none of the crops; did you mean coleus?"),
    "a tab": ("    crop: mint", "\t crop: mint", ":8: begins with a tab"),
    "a second document": ("crops:\n", "---\ncrops:\n", ": is a second document in one file"),
    "keys within keys": ("site: {", "? ? ? ? ? ? ? ? ? ? ? ? ? ? ? a\nsite: {", ":1: is nested deeper than 12 levels"),
}  # fmt: skip


def checked(path: Path, data: bytes) -> tuple[int, list[str]]:
    """Return how ``wardian check`` ends for a file, and its lines."""
    path.write_bytes(data)
    with redirect_stdout(io.StringIO()) as out:
        status = main(["check", str(path)])
    return status, out.getvalue().splitlines()


@pytest.mark.parametrize("what", TOLD)
def test_a_trap_is_told_with_its_line_and_what_is_accepted(tmp_path: Path, what: str) -> None:
    old, new, told = TOLD[what]
    assert BASE.count(old) == 1
    status, lines = checked(tmp_path / "c.yaml", BASE.replace(old, new).encode())
    assert status == 2
    assert any(told in line for line in lines), lines


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (BASE.encode("utf-16"), ":1: is not UTF-8 text"),
        (BASE.encode("latin-1"), ":16: has a letter that is not UTF-8"),
        (b"[" * 5000, ":1: is not YAML"),
        (b"{a: " * 5000, ":1: is nested deeper than 12 levels"),
        (b"", ":1: is empty"),
        (b"\0" * 4096, ":1: is not UTF-8 text"),
    ],
)
def test_what_is_no_text_of_ours_is_told_too(tmp_path: Path, data: bytes, told: str) -> None:
    status, (line, *_) = checked(tmp_path / "c.yaml", data)
    assert (status, told in line) == (2, True), line


@pytest.mark.parametrize("data", [BASE.replace("\n", "\r\n").encode(), b"\xef\xbb\xbf" + BASE.encode()])
def test_other_line_ends_and_a_mark_at_the_beginning_change_nothing(tmp_path: Path, data: bytes) -> None:
    assert checked(tmp_path / "c.yaml", data)[0] == 0


def test_a_file_of_a_gigabyte_is_refused_before_it_is_in_memory(tmp_path: Path) -> None:
    path = tmp_path / "c.yaml"
    path.write_bytes(b"a")
    with path.open("r+b") as file:
        file.truncate(1 << 30)
    with redirect_stdout(io.StringIO()) as out:
        assert main(["check", str(path)]) == 2
    assert ":1: is larger than 256 KiB" in out.getvalue()


def test_twenty_thousand_mistakes_are_told_at_once(tmp_path: Path) -> None:
    """To look whether each was known already took seconds, and on a small board minutes."""
    run = Run(1, tmp_path)
    assert run.read("".join(f"k{number}: 1\n" for number in range(20_000)).encode()) is None
    assert run.outcome.slowest_s < 2


def test_nothing_is_begun_with_a_configuration_that_cannot_be_used(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "c.yaml"
    path.write_text(BASE.replace("high: 24\n", "high: 2_4\n"), encoding="utf-8")
    assert main(["run", "--config", str(path)]) == 2
    assert "c.yaml:25: crops.coleus" in capsys.readouterr().err
    assert [one.name for one in tmp_path.iterdir()] == ["c.yaml"]


def test_a_file_cut_off_at_any_byte_is_an_error_means_the_same_or_is_told(tmp_path: Path) -> None:
    outcome = Run(1, tmp_path).cut(BASE)
    assert outcome.wrong == []
    assert outcome.count["cut off and still a configuration"] > 20
    assert outcome.count["of these told as less watched"] > 20


@pytest.mark.long
def test_the_example_cut_off_at_any_byte_is_an_error_means_the_same_or_is_told(tmp_path: Path) -> None:
    outcome = Run(1, tmp_path).cut(EXAMPLE.read_text(encoding="utf-8"))
    assert outcome.wrong == []
    assert outcome.count["cut off"] > 20_000
