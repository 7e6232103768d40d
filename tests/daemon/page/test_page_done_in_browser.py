"""What people do on the page in a real browser: shelve, score roots, mistype, and see a new alarm come and go."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from page_browser import IN_BROWSER, PHONE, WITHIN_MS, opened
from page_rig import PageRig, rounds_of, served

from wardian.daemon.beside import Extra
from wardian.daemon.cli import main
from wardian.daemon.lives import Lives
from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from playwright.sync_api import Browser

pytestmark = IN_BROWSER


class Thermometer:
    """Takes part in the rounds with a reading of tray-b at the instant of each."""

    def __init__(self) -> None:
        self.celsius = 23.0

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        return Extra(readings=[Reading(now_ms, "tray-b", "air_temperature", self.celsius)])

    def committed(self) -> None:
        pass


@contextmanager
def read_bench(folder: Path) -> Iterator[tuple[PageRig, Thermometer]]:
    """Serve a bench that is read each round, and whose alarms wait for a second only."""
    thermometer = Thermometer()
    with served(folder, on_delay="1 s") as rig:
        assert rig.watch is not None
        rig.watch.loop.before = [*rig.watch.loop.before, thermometer]
        with rounds_of(rig):
            yield rig, thermometer


def test_a_new_alarm_appears_by_itself_and_stays_when_it_returns_until_somebody_saw_it(
    browser: "Browser", tmp_path: Path
) -> None:
    with read_bench(tmp_path) as (rig, thermometer), opened(browser, rig) as page:
        card = page.locator("section.tray").nth(1)
        card.get_by_text("73.4").wait_for(timeout=WITHIN_MS)
        assert card.locator("article").count() == 0
        thermometer.celsius = 31.0
        card.locator("article").get_by_text("Air too warm", exact=True).wait_for(timeout=WITHIN_MS)
        assert page.locator(".whole").inner_text() == "2 alarms, not acknowledged"
        thermometer.celsius = 23.0
        card.locator("article").wait_for(state="detached", timeout=WITHIN_MS)
        assert card.locator(".returned").is_visible()
        page.get_by_text("1 alarm, not acknowledged; 1 returned, not acknowledged").wait_for(
            timeout=WITHIN_MS
        )


def test_an_alarm_is_shelved_and_taken_off_the_shelf_again(
    browser: "Browser", rig: PageRig, wait_until: Callable[..., None]
) -> None:
    with opened(browser, rig, "/tray/1", **PHONE) as page:
        page.locator("#alarms summary").tap()
        sheet = page.locator("#alarms form.sheet")
        sheet.get_by_label("Your name").fill("Evening teacher")
        sheet.get_by_label("Shelve for").select_option("4 hours")
        sheet.get_by_role("button", name="Shelve").tap()
        page.get_by_role("status").get_by_text("asked to be shelved").wait_for()
        wait_until(lambda: rig.journal()[-1].fields["event"] == "shelved", "the daemon to do it")
        page.locator("#aside .life").get_by_text("shelved by Evening teacher").wait_for(timeout=WITHIN_MS)
        assert page.locator("#alarms article").count() == 0
        page.locator("#aside").get_by_role("button", name="Take off the shelf as Evening teacher").tap()
        page.locator("#alarms article").wait_for(timeout=WITHIN_MS)
        assert rig.journal()[-1].fields["event"] == "unshelved"


def test_roots_are_scored_where_the_batch_stands(browser: "Browser", rig: PageRig) -> None:
    new = ["batch", "new", "c-1", "--tray", "tray-a", "--stuck-count", "20"]
    assert main([*new, "--config", str(rig.folder / "config.yaml")]) == 0
    with opened(browser, rig, "/tray/1", **PHONE) as page:
        page.locator("#score > summary").tap()
        for label, count in (("0:", "3"), ("3:", "6"), ("4:", "1")):
            page.locator("#score").get_by_label(label).fill(count)
        page.locator("#score").get_by_label("Your name").fill("Evening teacher")
        page.locator("#score").get_by_role("button").tap()
        page.get_by_role("status").get_by_text("put on record as 2").wait_for()
        assert rig.records()[-1].fields["counts"] == [3, 0, 0, 6, 1, 0]


def test_a_wrong_amount_is_told_clearly_and_what_was_typed_is_kept(browser: "Browser", rig: PageRig) -> None:
    with opened(browser, rig, "/tray/2", **PHONE) as page:
        page.locator("#care > summary").tap()
        care = page.locator("#care")
        care.get_by_label("What was done").select_option("Watered")
        care.get_by_text("Amounts, and the water").tap()
        care.get_by_label("Water such as 20 g").fill("a cup")
        care.get_by_label("Your name").fill("Evening teacher")
        care.get_by_label("Note").fill("from the can")
        care.get_by_role("button", name="Put on record").tap()
        told = page.get_by_role("alert").filter(has_text="Not done")
        told.get_by_text("a cup").wait_for()
        assert rig.records() == []
        typed = page.locator("main form")
        assert typed.get_by_label("Tray").input_value() == "tray-b"
        assert typed.get_by_label("What was done").input_value() == "watered"
        assert typed.get_by_label("Your name").input_value() == "Evening teacher"
        assert typed.get_by_label("Note").input_value() == "from the can"
        amount = typed.get_by_label("Water such as 20 g")
        assert amount.input_value() == "a cup"
        amount.fill("200 g")
        typed.get_by_role("button", name="Put on record").tap()
        page.get_by_role("status").get_by_text("tray-b: Watered").wait_for()
        assert [one.fields["grams"] for one in rig.records()] == [200.0]
