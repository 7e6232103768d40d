"""The diagram in the documentation is the table that alarms live by, and its commands are those there are."""

import re
from pathlib import Path
from typing import Final

import pytest

from wardian.daemon.acts import ACTS
from wardian.rules import life

README: Final = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
SECTION: Final = README.partition("\n## The life of an alarm\n")[2].partition("\n## ")[0]
BEGIN: Final = "<!-- the life of an alarm: begin, from rules/life.py -->\n"
END: Final = "<!-- the life of an alarm: end -->\n"


def test_the_diagram_is_the_table() -> None:
    """Put the printed text between the markers where it is not."""
    drawn = README.partition(BEGIN)[2].partition(END)[0]
    assert drawn == f"```mermaid\n{life.diagram()}\n```\n"
    assert (README.count(BEGIN), README.count(END)) == (1, 1)


@pytest.mark.parametrize("act", ACTS)
def test_every_act_has_its_line(act: str) -> None:
    (listed,) = re.findall(r"^\| `wardian alarms` \|.*$", README, re.MULTILINE)
    assert f"`{act}`" in listed
    assert re.search(rf"^wardian alarms {act} tray-", SECTION, re.MULTILINE)


def test_no_act_is_named_that_is_not_there() -> None:
    assert set(re.findall(r"^wardian alarms ([a-z]+)", SECTION, re.MULTILINE)) == set(ACTS)
