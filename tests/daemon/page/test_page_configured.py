"""What a configuration says of the page: off unless it is there, and beyond this machine only with a password."""

import subprocess
import sys
from pathlib import Path

import pytest
from base_config import BASE, built

from wardian.daemon.effective import effective_lines
from wardian.rules.errors import BadConfig


def told(text: str) -> list[str]:
    with pytest.raises(BadConfig) as caught:
        built(BASE + text)
    return [f"{mistake.path}: {mistake.problem}; {mistake.hint}" for mistake in caught.value.mistakes]


def test_it_is_off_unless_its_section_is_there() -> None:
    assert built(BASE).outward.page is None


def test_an_empty_section_serves_this_machine_alone() -> None:
    keys = built(BASE + "page: {}\n").outward.page
    assert keys is not None
    assert (str(keys.listen), keys.has_password, keys.names) == ("127.0.0.1:8460", False, ())


@pytest.mark.parametrize("listen", ["127.0.0.1:8460", "127.8.0.1:1", "'[::1]:8460'", "localhost:8460"])
def test_loopback_needs_no_password(listen: str) -> None:
    keys = built(BASE + f"page: {{listen: {listen}}}\n").outward.page
    assert keys is not None
    assert not keys.has_password


@pytest.mark.threat(4)
@pytest.mark.parametrize("listen", ["0.0.0.0:8460", "'[::]:8460'", "192.0.2.7:80"])
def test_beyond_loopback_a_password_is_needed(listen: str) -> None:
    (mistake,) = told(f"page: {{listen: {listen}}}\n")
    assert "would show everything to whoever reaches" in mistake
    assert "add password_file or password_env, or listen at 127.0.0.1" in mistake
    config = built(BASE + f"page: {{listen: {listen}, password_file: page-password}}\n")
    keys = config.outward.page
    assert keys is not None
    assert [warning.path for warning in config.warnings] == ["page.listen"]
    assert keys.password_file == Path("/bench/page-password")


@pytest.mark.parametrize(
    "listen",
    ["8460", "bench.example:8460", "127.0.0.1", "127.0.0.1:0", "127.0.0.1:65536", "1.2.3.4.5:1", "''"],
)
def test_what_is_no_address_with_a_port_is_a_mistake(listen: str) -> None:
    (mistake,) = told(f"page: {{listen: {listen}}}\n")
    assert mistake.startswith("page.listen: ")
    assert "127.0.0.1:8460" in mistake


@pytest.mark.parametrize("name", ["http://bench.example", "bench.example:8460", "-bench", "'*'", "'a b'"])
def test_what_is_no_host_name_is_a_mistake(name: str) -> None:
    (mistake,) = told(f"page: {{names: [{name}]}}\n")
    assert mistake.startswith("page.names")
    assert "a host name such as bench.example" in mistake


def test_a_password_of_two_places_is_a_mistake() -> None:
    (mistake,) = told("page: {password_file: a, password_env: B}\n")
    assert "has both password_file and password_env" in mistake


def test_a_password_itself_is_a_mistake_that_does_not_quote_it() -> None:
    (mistake,) = told("page: {password: canary-4711}\n")
    assert "canary" not in mistake


def test_a_store_that_keeps_nothing_has_nothing_to_show() -> None:
    with pytest.raises(BadConfig) as caught:
        built(BASE.replace('"sqlite:///wardian.db"', "'memory:'") + "page: {}\n")
    assert any(
        mistake.path == "page" and "has nothing to show" in mistake.problem
        for mistake in caught.value.mistakes
    )


def test_what_is_in_force_shows_the_defaults_with_their_reasons() -> None:
    lines = list(effective_lines(built(BASE + "page: {}\n")))
    assert any(
        line.startswith("page.listen = 127.0.0.1:8460  # default: nobody beyond this machine")
        for line in lines
    )


@pytest.mark.parametrize(("section", "is_there"), [("", False), ("page: {}\n", True)])
def test_nothing_of_it_is_imported_unless_its_section_is_there(
    tmp_path: Path, section: str, *, is_there: bool
) -> None:
    (tmp_path / "c.yaml").write_text(BASE + section, encoding="utf-8")
    program = (
        "import sys; from contextlib import ExitStack; from pathlib import Path; from wardian.daemon import wiring; from wardian.daemon.run import open_whole\n"
        "with ExitStack() as opened: open_whole(wiring.load_config(Path('c.yaml')), opened)\n"
        "print([name for name in ('uvicorn', 'wardian.daemon.page.site', 'wardian.daemon.config_page') if name in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True
    )
    found = ["uvicorn", "wardian.daemon.page.site", "wardian.daemon.config_page"]
    assert done.stdout == f"{found if is_there else []}\n"
