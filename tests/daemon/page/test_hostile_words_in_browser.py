"""Words that would be scripts if anything were not escaped, in a real browser that would run them."""

from typing import TYPE_CHECKING

import pytest
from page_browser import IN_BROWSER, opened
from page_rig import PageRig, hostile_words, served

from wardian.daemon.cli import main
from wardian.rules.ports import Round

if TYPE_CHECKING:
    from pathlib import Path

    from playwright.sync_api import Browser, Dialog, Request

pytestmark = IN_BROWSER


def write_hostile(rig: PageRig, words: list[str]) -> None:
    """Put words where the store has names: of trays, batches, crops, alarms and people, and in notes and messages."""
    config = ["--config", str(rig.folder / "config.yaml")]
    assert main(["batch", "new", "c-1", "--tray", "tray-a", "--stuck-count", "20", *config]) == 0
    assert rig.watch is not None
    (batch,), last = rig.records(), rig.journal()[-1]
    now_ms = last.time_ms + 1
    records = [
        batch._replace(batch=word, tray=word, who=word, why=word, fields={**batch.fields, "crop": word})
        for word in words
    ]
    entries = [
        (now_ms, tray, {**last.fields, "tray": tray, "alarm": word, "message": word, "who": word})
        for word in words
        for tray in ("tray-a", word)
    ]
    rig.watch.loop._store.keep(Round(now_ms, journal=entries, records=records))


@pytest.mark.threat(6)
def test_200_hostile_names_run_nothing(browser: "Browser", tmp_path: "Path") -> None:
    words = hostile_words()
    with served(tmp_path) as rig:
        write_hostile(rig, words)
        dialogs: list[str] = []
        asked: list[str] = []

        def seen(dialog: "Dialog") -> None:
            dialogs.append(dialog.message)
            dialog.dismiss()

        def noted(request: "Request") -> None:
            asked.append(request.url)

        with opened(browser, rig) as page:
            page.on("dialog", seen)
            page.on("request", noted)
            shown = ""
            for place in ("/", "/tray/1", "/batches", "/batch/2", "/batch/200", "/journal", "/figures"):
                page.goto(place)
                assert page.url == f"http://127.0.0.1:{rig.port}{place}"
                shown += page.locator("main").inner_text()
            page.wait_for_timeout(100)
            assert dialogs == []
            assert [url for url in asked if not url.startswith(f"http://127.0.0.1:{rig.port}/")] == []
            assert [word for word in words if " ".join(word.split()) not in " ".join(shown.split())] == []
