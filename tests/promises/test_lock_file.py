"""The lock file holds everything that the program and its extras ask for, in a version that they accept."""

import re
import tomllib
from pathlib import Path

import pytest
from packaging.markers import Marker
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

pytestmark = pytest.mark.threat(13)

ROOT = Path(__file__).parents[2]
LOCKED_EXTRAS = ("messages", "page", "pictures")
PINNED = re.compile(r"^(?P<name>[A-Za-z0-9._-]+)==(?P<version>[^\s;\\]+)(?: ; (?P<marker>[^\\]+?))? \\$")


def locked() -> list[tuple[str, str, str, list[str]]]:
    """Return name, version, marker and digests of every entry."""
    entries: list[tuple[str, str, str, list[str]]] = []
    for line in (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines():
        if found := PINNED.match(line):
            name = canonicalize_name(found["name"])
            entries.append((name, found["version"], found["marker"] or "", []))
        elif not line.startswith("#"):
            entries[-1][3].append(line.strip(" \\"))
    return entries


def asked_for() -> list[Requirement]:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    extras = [one for name in LOCKED_EXTRAS for one in project["optional-dependencies"][name]]
    return [Requirement(one) for one in [*project["dependencies"], *extras]]


def test_every_requirement_is_locked_in_a_version_that_it_accepts() -> None:
    here = {name: version for name, version, marker, _ in locked() if not marker or Marker(marker).evaluate()}
    for one in asked_for():
        assert one.specifier.contains(here[canonicalize_name(one.name)]), one


def test_every_entry_has_the_digests_of_its_files_and_no_address() -> None:
    entries = locked()
    assert len(entries) > len(asked_for())
    for name, _, _, digests in entries:
        assert digests, name
        assert all(re.fullmatch(r"--hash=sha256:[0-9a-f]{64}", digest) for digest in digests), name
