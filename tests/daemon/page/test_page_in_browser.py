"""The page in a real browser: Debian's Chromium, on a phone and on a laptop, by touch, by keyboard, and without scripts."""

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, Final

import pytest
from page_browser import IN_BROWSER, PHONE, SIZES, WITHIN_MS, barriers, opened
from page_rig import PageRig

from wardian.daemon import wiring
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

PLACES: Final = (
    "/",
    "/tray/1",
    "/tray/2",
    "/batches",
    "/batch/1",
    "/batch/1/explanation",
    "/journal",
    "/figures",
    "/nothing",
)
#: Targets lower than 44 px, the more demanding measure of WCAG 2.2 (2.5.5, which AA does not ask for).
TOO_SMALL: Final = """
[...document.querySelectorAll("main button, main select, main summary, main input:not([type=hidden]), nav a")]
    .filter(one => (one.closest("label") ?? one).getBoundingClientRect().height < 44).map(one => one.outerHTML)
"""

pytestmark = IN_BROWSER


def read(rig: PageRig, tray: str, celsius: float) -> None:
    """Let a reading come in now."""
    now_ms = wiring.machine_clock().wall_ms()
    assert rig.watch is not None
    rig.watch.loop._store.keep(Round(now_ms, readings=[Reading(now_ms, tray, "air_temperature", celsius)]))


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_a_checker_finds_nothing_that_keeps_anybody_out(
    browser: "Browser", still: PageRig, size: str, scheme: Any
) -> None:
    with opened(browser, still, color_scheme=scheme, **SIZES[size]) as page:
        for place in PLACES:
            page.goto(place)
            open_all(page)
            assert (place, barriers(page)) == (place, [])


@pytest.mark.parametrize("size", SIZES)
def test_nothing_is_wider_than_the_screen_and_every_target_fits_a_thumb(
    browser: "Browser", still: PageRig, size: str
) -> None:
    with opened(browser, still, **SIZES[size]) as page:
        for place in PLACES:
            page.goto(place)
            open_all(page)
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
            assert page.evaluate(TOO_SMALL) == []


def open_all(page: "Page") -> None:
    """Open whatever is folded."""
    for summary in page.locator("main summary").all():
        summary.click()


def test_a_new_value_and_a_new_tray_state_appear_by_themselves(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig) as page:
        card = page.locator("section.tray").nth(1)
        assert "never read" in card.inner_text()
        read(rig, "tray-b", 23.0)
        card.get_by_text("73.4").wait_for(timeout=WITHIN_MS)


def test_a_page_that_hears_nothing_says_that_it_is_old(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig) as page:
        page.clock.install()
        page.reload()
        page.context.set_offline(offline=True)
        page.clock.run_for(30_000)
        page.get_by_role("alert").get_by_text("Nothing heard from the bench since").wait_for(
            timeout=WITHIN_MS
        )
        page.context.set_offline(offline=False)
        page.clock.run_for(10_000)
        page.locator("body:not(.old)").wait_for(timeout=WITHIN_MS)


def test_what_somebody_is_typing_is_left_alone_while_values_go_on(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig) as page:
        card = page.locator("section.tray").first
        card.locator("summary").first.click()
        card.get_by_label("Your name").first.fill("Evening tea")
        read(rig, "tray-a", 25.0)
        card.get_by_text("77.0", exact=False).first.wait_for(timeout=WITHIN_MS)
        assert card.get_by_label("Your name").first.input_value() == "Evening tea"


def test_an_alarm_is_acknowledged_with_one_thumb(
    browser: "Browser", rig: PageRig, wait_until: Callable[..., None]
) -> None:
    with opened(browser, rig, **PHONE) as page:
        card = page.locator("section.tray").first
        card.locator("article summary").tap()
        card.get_by_label("Your name").first.fill("Evening teacher")
        card.get_by_role("button", name="Acknowledge", exact=True).tap()
        page.get_by_role("status").get_by_text("asked to be acknowledged").wait_for()
        wait_until(lambda: rig.journal()[-1].fields["event"] == "acknowledged", "the daemon to do it")
        card.locator("article .life").get_by_text("acknowledged by Evening teacher").wait_for(
            timeout=WITHIN_MS
        )
        page.get_by_text("1 alarm, acknowledged").wait_for(timeout=WITHIN_MS)


def test_care_is_recorded_by_keyboard_alone(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig, "/tray/1") as page:
        page.keyboard.press("Tab")
        assert page.evaluate("document.activeElement.className") == "skip"
        page.keyboard.press("Enter")
        reach(page, "#care > summary")
        page.keyboard.press("Enter")
        reach(page, "#care select[name=event]")
        page.keyboard.type("Misted")
        reach(page, "#care input[name=who]")
        page.keyboard.type("Evening teacher")
        page.keyboard.press("Enter")
        page.get_by_role("status").get_by_text("tray-a: Misted, put on record as 1").wait_for()
        assert [(one.tray, one.fields["event"], one.who) for one in rig.records()] == [
            ("tray-a", "misted", "Evening teacher")
        ]


def reach(page: "Page", selector: str) -> None:
    """Go on by the tabulator until something has the focus, and see that the focus shows on the way."""
    for _ in range(60):
        page.keyboard.press("Tab")
        assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") != "none"
        if page.evaluate("selector => document.activeElement.matches(selector)", selector):
            return
    pytest.fail(f"the keyboard never came to {selector}")


def test_everything_is_read_and_done_without_scripts(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig, java_script_enabled=False, **PHONE) as page:
        assert page.get_by_text("1 alarm, not acknowledged").is_visible()
        page.get_by_role("link", name="tray-a").click()
        page.locator("#care > summary").click()
        page.locator("#care").get_by_label("What was done").select_option("watered")
        page.locator("#care").get_by_label("Your name").fill("Evening teacher")
        page.locator("#care").get_by_role("button").click()
        assert page.get_by_role("status").get_by_text("Watered, put on record as 1").is_visible()


def test_nothing_is_asked_of_any_other_address(browser: "Browser", still: PageRig) -> None:
    with opened(browser, still) as page:
        asked: list[str] = []
        page.on("request", lambda request: asked.append(request.url))
        for place in PLACES:
            page.goto(place)
        assert len(asked) > len(PLACES)
        assert [url for url in asked if not url.startswith(f"http://127.0.0.1:{still.port}/")] == []
