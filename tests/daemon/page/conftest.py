"""A browser, and benches for it to look at."""

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import pytest
from page_browser import CHROMIUM, WHY
from page_rig import PageRig, rounds_of, served

from wardian.daemon.cli import main

if TYPE_CHECKING:
    from playwright.sync_api import Browser


@pytest.fixture(scope="module")
def browser() -> Iterator["Browser"]:
    api = pytest.importorskip("playwright.sync_api", reason=WHY)
    with api.sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox"])
        yield started
        started.close()


@pytest.fixture
def rig(tmp_path: Path) -> Iterator[PageRig]:
    """Yield a bench whose daemon does a round twice a second."""
    with served(tmp_path) as rig, rounds_of(rig):
        yield rig


@pytest.fixture(scope="module")
def still(tmp_path_factory: pytest.TempPathFactory) -> Iterator[PageRig]:
    """Yield a bench on which nothing changes, with a batch in its first tray."""
    with served(tmp_path_factory.mktemp("still")) as rig:
        new = ["batch", "new", "c-1", "--tray", "tray-a", "--stuck-count", "20"]
        assert main([*new, "--config", str(rig.folder / "config.yaml")]) == 0
        yield rig
