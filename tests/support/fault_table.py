"""Prints, after a run in which tests of the fault matrix ran, what became of each row.

A row holds when at least one of its tests ran and none failed. Works over several processes: what a test
stands for travels with its report.
"""

from collections.abc import Iterable, Iterator
from typing import Any, Final

import pytest
from fault_rows import ROWS, Row

_PROPERTY: Final = "fault"
HOLDS: Final = "holds"
BROKEN: Final = "BROKEN"
NOT_PROVEN: Final = "not proven here"
NOT_RUN: Final = "not run"


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Let each report of a test carry the rows it stands for."""
    for item in items:
        for mark in item.iter_markers("fault"):
            item.user_properties += [(_PROPERTY, number) for number in mark.args]


def pytest_terminal_summary(terminalreporter: Any) -> None:
    """Print the table; nothing where no test of the matrix was among those that ran."""
    lines = list(table(terminalreporter.stats))
    if lines:
        terminalreporter.section("fault matrix")
        for line in lines:
            terminalreporter.write_line(line)


def table(stats: dict[str, list[Any]]) -> Iterator[str]:
    """Yield the lines of the table from the reports by outcome, as pytest gathers them."""
    outcomes = by_row(stats)
    if not outcomes:
        return
    verdicts = {number: verdict(row, outcomes.get(number, [])) for number, row in ROWS.items()}
    for number, row in ROWS.items():
        if verdicts[number] != NOT_RUN:
            ran = sum(outcome != "skipped" for outcome in outcomes.get(number, []))
            yield f"{number:>3}  {row.fault:<62} {ran:>4}  {verdicts[number]}"
    held = sum(one == HOLDS for one in verdicts.values())
    yield f"{held} of {held + sum(one == BROKEN for one in verdicts.values())} rows hold"
    for words in (NOT_PROVEN, NOT_RUN):
        left = [str(number) for number, one in verdicts.items() if one.startswith(words)]
        if left:
            yield f"{words}: {', '.join(left)}"


def by_row(stats: dict[str, list[Any]]) -> dict[int, list[str]]:
    """Return the outcomes of the tests of each row: passed, failed, error or skipped."""
    found: dict[int, list[str]] = {}
    for outcome in ("passed", "failed", "error", "skipped"):
        for report in stats.get(outcome, []):
            for number in _rows_of(report):
                found.setdefault(number, []).append(outcome)
    return found


def _rows_of(report: Any) -> Iterable[int]:
    return [value for name, value in getattr(report, "user_properties", ()) if name == _PROPERTY]


def verdict(row: Row, outcomes: list[str]) -> str:
    """Return what became of a row by the outcomes of its tests."""
    if "failed" in outcomes or "error" in outcomes:
        return BROKEN
    if "passed" in outcomes:
        return HOLDS
    if row.not_proven:
        return f"{NOT_PROVEN}: {row.not_proven}"
    return f"{NOT_PROVEN}: its tests were left out" if outcomes else NOT_RUN
