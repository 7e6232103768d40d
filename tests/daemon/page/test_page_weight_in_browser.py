"""What a browser loads for a page, all in all: a phone beside the tray has a weak network."""

from typing import TYPE_CHECKING, Final

import pytest
from page_browser import IN_BROWSER, SIZES, opened
from page_rig import MINUTE_MS, PageRig, served

from wardian.daemon import wiring
from wardian.rules.ports import Round
from wardian.rules.readings import Reading

if TYPE_CHECKING:
    from collections.abc import Iterator

    from playwright.sync_api import Browser, Response

pytestmark = IN_BROWSER

MOST_BYTES: Final = 200_000
MINUTES: Final = 7 * 1440
#: Drawing one takes a second or two on a quiet machine.
DRAWN_WITHIN_MS: Final = 30_000
#: By quantity, its middle and by how much it goes up and down.
RESTLESS: Final = {
    "air_temperature": (25.0, 4.0),
    "medium_temperature": (24.0, 2.0),
    "relative_humidity": (88.0, 9.0),
    "illuminance": (5000.0, 900.0),
}


@pytest.fixture(scope="module")
def restless(tmp_path_factory: pytest.TempPathFactory) -> "Iterator[PageRig]":
    """Yield a bench with a week of readings that never rest: no picture is larger than one of those."""
    with served(tmp_path_factory.mktemp("restless")) as rig:
        now_ms = wiring.machine_clock().wall_ms()
        readings = [
            Reading(now_ms - ago * MINUTE_MS, "tray-b", name, middle + swing * (ago * 7919 % 101 / 50 - 1))
            for ago in range(MINUTES, 0, -1)
            for name, (middle, swing) in RESTLESS.items()
        ]
        assert rig.watch is not None
        rig.watch.loop._store.keep(Round(now_ms, readings=readings))
        yield rig


def loaded(answers: "list[Response]") -> dict[str, int]:
    """Return how many bytes came from each address; what is brought up to date later does not count again."""
    sizes = {one.url: one.request.sizes() for one in answers}
    return {url: one["responseHeadersSize"] + one["responseBodySize"] for url, one in sizes.items()}


@pytest.mark.parametrize("size", SIZES)
def test_a_tray_with_all_its_pictures_is_loaded_within_the_limit(
    browser: "Browser", restless: PageRig, size: str
) -> None:
    with opened(browser, restless, "/nothing", **SIZES[size]) as page:
        answers: list[Response] = []
        page.on("response", lambda answer: answers.append(answer))  # noqa: PLW0108  # no built-in is taken
        page.goto("/tray/2")
        for words in ("The last week", "Since sticking"):
            page.locator("main > details > summary").filter(has_text=words).click()
        for picture in page.locator("main img").all():
            picture.scroll_into_view_if_needed(timeout=DRAWN_WITHIN_MS)
            assert picture.evaluate("one => one.decode().then(() => one.naturalWidth)") > 0
        pictures = [one.url.partition(f":{restless.port}")[2] for one in answers if "/tray/2/" in one.url]
        assert len(pictures) == 3
        assert sum(len(restless.get(place).text) for place in pictures) > MOST_BYTES
        assert sum(loaded(answers).values()) < MOST_BYTES


@pytest.mark.parametrize("size", SIZES)
def test_the_bench_is_loaded_within_the_limit(browser: "Browser", restless: PageRig, size: str) -> None:
    with opened(browser, restless, "/nothing", **SIZES[size]) as page:
        answers: list[Response] = []
        page.on("response", lambda answer: answers.append(answer))  # noqa: PLW0108  # no built-in is taken
        page.goto("/", wait_until="networkidle")
        assert {one.status for one in answers} <= {200, 304}
        assert len(loaded(answers)) == 4
        assert sum(loaded(answers).values()) < MOST_BYTES
