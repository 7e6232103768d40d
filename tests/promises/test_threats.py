"""The README's table of threats and the tests that are marked for them are the same list."""

import ast
import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
ROW = re.compile(
    r"^\| (?P<number>\d+) \| (?P<threat>[^|]+) \| (?P<done>[^|]+) \| (?P<checked>[^|]+) \|$", re.MULTILINE
)


def marked() -> dict[int, set[str]]:
    """Return, by the number of a threat, the files with tests that are marked for it."""
    found: dict[int, set[str]] = {}
    for path in sorted((ROOT / "tests").rglob("test_*.py")):
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(call, ast.Call) and ast.unparse(call.func) == "pytest.mark.threat":
                (number,) = map(ast.literal_eval, call.args)
                found.setdefault(number, set()).add(path.relative_to(ROOT).as_posix())
    return found


def test_every_threat_names_the_files_that_check_it_and_they_do() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    table = text.split("## Threats, and what is done")[1].split("\n## ")[0]
    rows = {int(row["number"]): row["checked"] for row in ROW.finditer(table)}
    assert sorted(rows) == list(range(1, 17))
    named = {number: set(re.findall(r"tests/[\w/]+\.py", checked)) for number, checked in rows.items()}
    assert named == {number: marked().get(number, set()) for number in rows}
    assert all(named.values())
