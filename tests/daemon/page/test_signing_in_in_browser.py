"""Signing in, being refused and signing out, in a real browser."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

import pytest
from page_browser import IN_BROWSER, SIZES, barriers, opened
from page_rig import PASSWORD, PageRig, served

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = IN_BROWSER


@pytest.fixture(scope="module")
def locked(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageRig]:
    """Yield a bench that asks for a password."""
    folder = tmp_path_factory.mktemp("locked")
    (folder / "page-password").write_text(f"{PASSWORD}\n", encoding="utf-8")
    (folder / "page-password").chmod(0o600)
    with served(folder, ", password_file: page-password") as rig:
        yield rig


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_password_opens_the_bench_a_wrong_one_does_not_and_signing_out_closes_it(
    browser: "Browser", locked: PageRig, size: str, scheme: Any
) -> None:
    with opened(browser, locked, "/tray/1", color_scheme=scheme, **SIZES[size]) as page:
        assert page.get_by_role("heading", level=1).inner_text() == "Sign in"
        assert page.get_by_role("navigation").count() == 0
        assert barriers(page) == []
        page.get_by_label("Password of this bench").fill("not that one")
        page.get_by_role("button", name="Open").click()
        page.get_by_role("alert").get_by_text("That is not the password").wait_for()
        assert page.get_by_label("Password of this bench").input_value() == ""
        assert barriers(page) == []
        page.goto("/journal")
        assert "tray-a" not in page.content()

        page.get_by_label("Password of this bench").fill(PASSWORD)
        page.keyboard.press("Enter")
        page.get_by_role("link", name="tray-a").wait_for()
        assert barriers(page) == []
        assert page.evaluate("document.cookie") == ""
        page.get_by_role("button", name="Sign out").click()
        page.get_by_role("heading", name="Sign in").wait_for()
        page.goto("/tray/1")
        assert "tray-a" not in page.content()


def test_the_password_is_asked_for_without_scripts_too(browser: "Browser", locked: PageRig) -> None:
    with opened(browser, locked, java_script_enabled=False) as page:
        page.get_by_label("Password of this bench").fill(PASSWORD)
        page.get_by_role("button", name="Open").click()
        assert page.get_by_role("link", name="tray-a").is_visible()
