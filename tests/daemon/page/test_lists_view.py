"""What commands tell in lines becomes tables and sentences of the page."""

import pytest
from page_rig import Outline

from wardian.daemon.page.lists_view import explanation_parts
from wardian.daemon.page.markup import together
from wardian.daemon.report import columns
from wardian.rules.batches import Batch

BATCH = Batch("c-1", "tray-a", "coleus", 0, 20)
ROWS = (
    ("stage", "quantity", "longest beyond"),
    ("callusing", "air under the cover", "9 min below, 71.9 °F at worst"),
    ("rooting", "medium", ""),
)


def shown(lines: list[str]) -> Outline:
    return Outline(together(explanation_parts(BATCH, "\n".join(lines))))


def test_a_table_of_a_terminal_becomes_a_table_with_every_cell_under_its_heading() -> None:
    outline = shown(["Before.", "", *(f"  {line}" for line in columns(ROWS)), "", "After."])
    tags = [tag for tag, _ in outline.elements]
    assert (tags.count("table"), tags.count("th"), tags.count("td")) == (1, 3, 6)
    words = [word for word in outline.words if word.strip()]
    assert words[-10:] == ["Before.", *(cell for row in ROWS for cell in row if cell), "After."]


@pytest.mark.parametrize(
    "lines",
    [
        ["  lost  2 rotted"],
        ["  a  b  c"],
        ["  one  two  three", "  a sentence that goes on under all of them"],
        ["  what was lost", "  2 cuttings"],
    ],
)
def test_rows_that_are_no_table_stay_as_they_are(lines: list[str]) -> None:
    outline = shown(lines)
    assert "table" not in [tag for tag, _ in outline.elements]
    assert all(line in outline.words for line in lines)
