"""The matrix itself: every row has a test or says why not, and the table tells the truth about a run."""

import ast
from collections.abc import Iterator
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from fault_rows import ROWS, Row
from fault_table import BROKEN, HOLDS, NOT_RUN, by_row, table, verdict

HERE = Path(__file__).parent


def marked_rows() -> Iterator[tuple[str, int]]:
    """Yield file and row of every mark ``pytest.mark.fault(...)`` in the tests beside this one."""
    for path in sorted(HERE.glob("test_*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "pytest.mark.fault":
                for argument in node.args:
                    yield path.name, ast.literal_eval(argument)


def test_every_row_has_a_test_or_says_why_it_is_not_proven() -> None:
    tested = {number for _, number in marked_rows()}
    assert [number for number, row in ROWS.items() if number not in tested and not row.not_proven] == []


def test_every_mark_names_a_row_there_is() -> None:
    assert [(name, number) for name, number in marked_rows() if number not in ROWS] == []
    assert list(ROWS) == list(range(1, 49))


@pytest.mark.parametrize(
    ("outcomes", "expected"),
    [
        (["passed"], HOLDS),
        (["passed", "skipped"], HOLDS),
        (["passed", "failed"], BROKEN),
        (["passed", "error"], BROKEN),
        (["skipped"], "not proven here: its tests were left out"),
        ([], NOT_RUN),
    ],
)
def test_a_row_holds_only_when_a_test_of_it_ran_and_none_failed(outcomes: list[str], expected: str) -> None:
    assert verdict(Row("a", "b"), outcomes) == expected


def test_a_row_that_is_not_proven_says_why_and_is_broken_by_a_test_that_fails() -> None:
    row = Row("a", "b", "no card was cut")
    assert verdict(row, []) == "not proven here: no card was cut"
    assert verdict(row, ["failed"]) == BROKEN


def report(*rows: int) -> Any:
    return SimpleNamespace(user_properties=[("fault", number) for number in rows])


def test_the_table_counts_what_ran_and_names_what_did_not() -> None:
    stats = {"passed": [report(1), report(1, 2), report()], "failed": [report(3)], "skipped": [report(1)]}
    assert by_row(stats) == {1: ["passed", "passed", "skipped"], 2: ["passed"], 3: ["failed"]}
    lines = list(table(stats))
    assert lines[0].split() == ["1", *ROWS[1].fault.split(), "2", HOLDS]
    assert lines[2].endswith(BROKEN)
    assert lines[-2] == "2 of 3 rows hold"
    assert lines[-1].startswith("not run: 4, 5, 6")


def test_the_table_stays_away_when_no_test_of_the_matrix_ran() -> None:
    assert list(table({"passed": [report()]})) == []
