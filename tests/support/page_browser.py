"""A real browser at the page: Debian's Chromium, the sizes it is opened in, and a checker of what keeps people out."""

import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, Final

import pytest
from page_rig import PageRig

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

CHROMIUM: Final = shutil.which("chromium")
WHY: Final = "needs Debian's chromium (apt-get install chromium) and the extra 'browser'"
PHONE: Final[dict[str, Any]] = {
    "viewport": {"width": 390, "height": 844},
    "has_touch": True,
    "is_mobile": True,
}
LAPTOP: Final[dict[str, Any]] = {"viewport": {"width": 1440, "height": 900}}
SIZES: Final = {"phone": PHONE, "laptop": LAPTOP}
#: The page asks every 3 s.
WITHIN_MS: Final = 30_000
AA: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
IN_BROWSER: Final = [pytest.mark.needs_browser, pytest.mark.skipif(CHROMIUM is None, reason=WHY)]


@contextmanager
def opened(browser: "Browser", rig: PageRig, place: str = "/", **options: Any) -> Iterator["Page"]:
    """Open a place in a window of its own, and see that nothing went wrong in it."""
    context = browser.new_context(base_url=f"http://127.0.0.1:{rig.port}", **{**LAPTOP, **options})
    try:
        page = context.new_page()
        wrong: list[str] = []
        page.on("pageerror", lambda error: wrong.append(str(error)))
        page.on("console", lambda message: wrong.append(message.text) if message.type == "error" else None)
        page.goto(place)
        yield page
        # What is not there is answered as such, and a window may be taken off the network.
        assert [one for one in wrong if not one.startswith("Failed to load resource")] == []
    finally:
        context.close()


def barriers(page: "Page") -> list[tuple[str, list[str]]]:
    """Return what a checker finds on a page that keeps somebody out, and where."""
    axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason=WHY)
    found = axe.Axe().run(page, options={"runOnly": AA})
    return [(one["id"], [node["html"] for node in one["nodes"]]) for one in found.response["violations"]]
