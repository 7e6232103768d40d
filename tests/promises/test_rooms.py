"""What imports and the linter cannot show: sizes, names, and where a format, a query or a secret may be.

The files are those that are tracked, in a checkout; else every file that is not made by a tool.
"""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
ROOMS = ("rules", "adapters", "simulator", "daemon")
TEXTS = {".py", ".md", ".toml", ".yaml", ".yml", ".json", ".csv", ".mako", ".sh", ".service", ""}
#: Folders that tools make.
MADE = {"build", "dist", "__pycache__", "node_modules", "venv"}
LONGEST_FILE = 400
LONGEST_BODY = 60
#: What a file must not be called, alone or as the last word of its name.
FORBIDDEN_NAMES = re.compile(r"(?:^|_)(?:utils?|helpers?|common|base|managers?)$")
QUERY = re.compile(
    r"\b(?:SELECT\s.+\sFROM|INSERT\s+(?:OR\s+\w+\s+)?INTO|UPDATE\s.+\sSET|DELETE\s+FROM|CREATE\s+TABLE|PRAGMA)\b",
    re.DOTALL,
)
#: Written so that this file does not hold what it looks for.
MACHINE_PATHS = re.compile(
    r"/wor[k]/|/tm[p]/(?:venv|dev)|/hom[e]/|/User[s]/|(?<![\w/])(?:\.\./)?share[d]/|pypi\.or[g]|pythonhoste[d]"
)
DANGEROUS_MODULES = {"pickle", "marshal", "shelve", "dill", "cloudpickle"}
DANGEROUS_CALLS = {"eval", "exec", "os.system", "os.popen", "yaml.load", "yaml.unsafe_load", "yaml.full_load"}


@cache
def files() -> tuple[Path, ...]:
    """Return the project's files."""
    if (ROOT / ".git").exists():
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, text=True, check=True, timeout=30
        )
        found = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:
        found = [path for path in ROOT.rglob("*") if path.is_file() and not is_made(path.relative_to(ROOT))]
    return tuple(sorted(path for path in found if path.exists()))


def is_made(path: Path) -> bool:
    return any(part in MADE or part.startswith(".") or part.endswith(".egg-info") for part in path.parts[:-1])


def name_of(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


def sources(*folders: str) -> list[Path]:
    """Return the Python files in some folders of the project."""
    return [path for path in files() if path.suffix == ".py" and path.relative_to(ROOT).parts[0] in folders]


@cache
def tree_of(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


def imported(path: Path) -> Iterator[tuple[int, str]]:
    """Yield the line and the whole name of every import, late ones included."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield node.lineno, "." * node.level + (node.module or "")


def importers(*packages: str) -> set[str]:
    """Return the files of the rooms that import one of some packages."""
    return {
        name_of(path)
        for path in sources(*ROOMS)
        for _, module in imported(path)
        if module.partition(".")[0] in packages
    }


def bodies(path: Path) -> Iterator[tuple[str, int]]:
    """Yield each function's name and how many lines its body has, its docstring left out."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node, clean=False) is not None else node.body
            last = node.end_lineno or node.lineno
            yield f"{name_of(path)}:{node.lineno} {node.name}", last - body[0].lineno + 1 if body else 0


def test_the_files_are_found() -> None:
    names = {name_of(path) for path in files()}
    assert {"pyproject.toml", "daemon/cli.py", "rules/engine.py", "tests/conftest.py"} <= names
    assert len(sources(*ROOMS)) > 50


# ------------------------------------------------------------------------------------ size and names


def test_no_file_is_longer_than_400_lines() -> None:
    lengths = {
        name_of(path): len(path.read_text(encoding="utf-8").splitlines()) for path in sources(*ROOMS, "tests")
    }
    assert {name: length for name, length in lengths.items() if length > LONGEST_FILE} == {}


def test_no_function_body_is_longer_than_60_lines() -> None:
    long = [
        (name, lines)
        for path in sources(*ROOMS, "tests")
        for name, lines in bodies(path)
        if lines > LONGEST_BODY
    ]
    assert long == []


def test_half_of_all_functions_are_under_10_lines_and_nine_in_ten_under_30() -> None:
    lengths = [lines for path in sources(*ROOMS) for _, lines in bodies(path)]
    assert sum(lines < 10 for lines in lengths) >= 0.5 * len(lengths)
    assert sum(lines < 30 for lines in lengths) >= 0.9 * len(lengths)


def test_a_file_is_named_by_what_it_is_about() -> None:
    assert [name_of(path) for path in sources(*ROOMS, "tests") if FORBIDDEN_NAMES.search(path.stem)] == []


def test_an_init_file_holds_one_sentence() -> None:
    for path in sources(*ROOMS):
        if path.name == "__init__.py":
            tree = tree_of(path)
            assert len(tree.body) == 1, name_of(path)
            assert ast.get_docstring(tree), name_of(path)


def test_every_file_of_the_rooms_says_why_it_exists() -> None:
    assert [name_of(path) for path in sources(*ROOMS) if not ast.get_docstring(tree_of(path))] == []


# -------------------------------------------------------------------------------- what may be where


def test_imports_are_absolute() -> None:
    relative = [
        (name_of(path), line)
        for path in sources(*ROOMS)
        for line, module in imported(path)
        if module.startswith(".")
    ]
    assert relative == []


def test_one_file_reads_yaml() -> None:
    assert importers("yaml") == {"adapters/yaml_file.py"}


def test_queries_are_in_the_stores_alone() -> None:
    using = importers("sqlalchemy", "sqlite3", "alembic")
    assert using
    assert all(name.startswith("adapters/stores/") for name in using)
    asking = {
        name_of(path)
        for path in sources(*ROOMS)
        for node in ast.walk(tree_of(path))
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and QUERY.search(node.value)
    }
    assert asking
    assert all(name.startswith("adapters/stores/") for name in asking)


def test_whoever_catches_every_exception_raises_it_again_or_says_why() -> None:
    silent = []
    for path in sources(*ROOMS):
        lines = path.read_text(encoding="utf-8").splitlines()
        for node in ast.walk(tree_of(path)):
            if isinstance(node, ast.ExceptHandler) and catches_everything(node):
                _, _, reason = lines[node.lineno - 1].partition("#")
                if not isinstance(node.body[-1], ast.Raise) and len(reason.split()) < 4:
                    silent.append(f"{name_of(path)}:{node.lineno}")
    assert silent == []


def catches_everything(handler: ast.ExceptHandler) -> bool:
    return handler.type is None or ast.unparse(handler.type) in ("Exception", "BaseException")


@pytest.mark.parametrize("sign", ["noqa", "type: ignore"])
def test_a_silenced_check_names_its_code_and_a_reason(sign: str) -> None:
    allowed = re.compile(r"# (?:noqa: [A-Z]+\d+(?:, ?[A-Z]+\d+)*|type: ignore\[[a-z, -]+\])\W+\w.{4,}")
    silent = [
        f"{name_of(path)}:{number}"
        for path in sources(*ROOMS, "tests")
        if path != Path(__file__)
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if f"# {sign}" in line and not allowed.search(line)
    ]
    assert silent == []


# ------------------------------------------------------------------------------------------ danger


@pytest.mark.threat(11)
def test_nothing_is_unpickled_evaluated_or_given_to_a_shell() -> None:
    loading = [
        (name_of(path), module)
        for path in sources(*ROOMS, "tests")
        for _, module in imported(path)
        if module.partition(".")[0] in DANGEROUS_MODULES
    ]
    assert loading == []
    calling = [
        f"{name_of(path)}:{call.lineno}"
        for path in sources(*ROOMS, "tests")
        for call in ast.walk(tree_of(path))
        if isinstance(call, ast.Call) and is_dangerous(call)
    ]
    assert calling == []


def is_dangerous(call: ast.Call) -> bool:
    """Whether a call runs text as a program, or trusts whoever answers."""
    switches = {keyword.arg: ast.unparse(keyword.value) for keyword in call.keywords}
    trusts = (
        switches.get("shell") == "True"
        or switches.get("allow_pickle") == "True"
        or switches.get("verify") == "False"
    )
    return trusts or ast.unparse(call.func) in DANGEROUS_CALLS


@pytest.mark.parametrize(
    ("text", "dangerous"),
    [
        ("eval(text)", True),
        ("subprocess.run(text, shell=True)", True),
        ("get(url, verify=False)", True),
        ("yaml.load(text)", True),
        ("subprocess.run(words)", False),
        ("re.compile(text)", False),
    ],
)
def test_a_dangerous_call_would_be_seen(text: str, dangerous: bool) -> None:
    call = ast.parse(text, mode="eval").body
    assert isinstance(call, ast.Call)
    assert is_dangerous(call) == dangerous


def test_no_file_names_a_place_on_somebodys_machine() -> None:
    named = [
        f"{name_of(path)}:{number}: {line.strip()[:80]}"
        for path in files()
        if path.suffix in TEXTS
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if MACHINE_PATHS.search(line)
    ]
    assert named == []
