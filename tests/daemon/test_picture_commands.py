"""``plot`` and ``report`` as a person types them: what they write, and what they say where they cannot."""

import json
import re
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from base_config import BASE
from pictured import DAY_MS, START_MS, day, with_value
from PIL import Image

from wardian.adapters.stores.opening import open_store
from wardian.daemon.cli import main
from wardian.daemon.tongue import utc_text
from wardian.rules.ports import Round
from wardian.rules.readings import Chunk, Reading
from wardian.rules.records import BATCH, CARE, CLOSED, Record

HOUR_MS = 3_600_000
FROM, TO = utc_text(START_MS), utc_text(START_MS + DAY_MS)
OF_THE_DAY = ("--from", FROM, "--to", TO)
#: Void elements of HTML.
VOID = {"meta", "br", "link"}

Say = Callable[..., tuple[int, str, str]]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("WARDIAN_CONFIG", raising=False)
    (tmp_path / "config.yaml").write_text(BASE, encoding="utf-8")
    return tmp_path


@pytest.fixture
def say(bench: Path, capsys: pytest.CaptureFixture[str]) -> Say:
    def said(*words: str) -> tuple[int, str, str]:
        try:
            status = main(words)
        except SystemExit as wrong:
            status = int(wrong.code or 0)
        return (status, *capsys.readouterr())

    return said


def warm_day() -> Chunk:
    """A day in which the air is too warm for two hours, and for one reading besides."""
    chunk = day()
    for minute in (*range(600, 720), 900):
        chunk = with_value(chunk, "air_temperature", minute, 28.0)
    return chunk


def file_of(folder: Path, chunk: Chunk) -> str:
    rows = [
        f"{utc_text(int(time))},{series.tray},{series.quantity},{value},"
        for series, (times, values) in chunk.items()
        for time, value in zip(times, values, strict=True)
    ]
    path = folder / "day.csv"
    path.write_text("\n".join(["time,tray,quantity,value,unit", *rows, ""]), encoding="utf-8")
    return str(path)


def kept(folder: Path, chunk: Chunk, *records: Record) -> None:
    """Put a day into the store of the bench."""
    store = open_store(f"sqlite:///{folder / 'wardian.db'}", folder)
    readings = [
        Reading(int(time), series.tray, series.quantity, float(value))
        for series, (times, values) in chunk.items()
        for time, value in zip(times, values, strict=True)
    ]
    store.keep(Round(now_ms=START_MS + DAY_MS, readings=sorted(readings), records=records))
    store.close()


class Page(HTMLParser):
    """What a page holds: its tags, its text, and whether every tag is closed."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""
        self.open: list[str] = []
        self.feed(text)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        assert not [name for name, _ in attrs if name.startswith("on") or name in ("src", "srcset")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += f" {data}"


def page_in(path: Path) -> Page:
    text = path.read_text(encoding="utf-8")
    assert not re.search(r"https?:|@import|url\((?!#)|<script", text)
    page = Page(text)
    assert page.open == []
    page.text = " ".join(page.text.split())
    return page


# -------------------------------------------------------------------------------------------------- plot


def test_a_tray_of_the_store_is_drawn_as_svg(bench: Path, say: Say) -> None:
    kept(
        bench,
        warm_day(),
        Record(CARE, START_MS + HOUR_MS, START_MS, "tray-a", who="Ines", fields={"event": "misted"}),
    )
    assert say("plot", "tray-a", *OF_THE_DAY, "--out", "a.svg") == (0, "written to a.svg\n", "")
    root = ET.parse(bench / "a.svg").getroot()
    words = root[1].text or ""
    assert "Air under the cover: 77.0 to 82.4 °F" in words
    assert "Care: 1 marks" in words
    assert root.get("width") == "960"


def test_a_tray_of_a_file_is_drawn_with_the_alarms_that_it_would_have_made(bench: Path, say: Say) -> None:
    status, out, err = say(
        "plot",
        "tray-a",
        "--readings",
        file_of(bench, warm_day()),
        "--out",
        "a.png",
        "--width",
        "500",
        "--json",
    )
    assert status == 0
    assert "5760 readings from Tue 3 Mar 00:00 to Tue 3 Mar 23:59, 0 refused" in err
    assert json.loads(out) == {"out": "a.png", "tray": "tray-a", "alarms": 1}
    with Image.open(bench / "a.png") as image:
        image.load()
        assert image.width == 500


def test_a_store_in_which_nothing_was_watched_yet_gives_a_picture_that_says_so(bench: Path, say: Say) -> None:
    assert say("plot", "tray-b", "--out", "b.svg")[0] == 0
    assert "unknown all the time" in (bench / "b.svg").read_text(encoding="utf-8") or "nothing is known" in (
        bench / "b.svg"
    ).read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("tray-z", "--out", "a.svg"), "there is no tray 'tray-z'"),
        (("tray-a", "--out", "a.gif"), "--out a.gif: a name that ends in .svg or .png is accepted"),
        (("tray-a", "--out", "a.svg", "--width", "9"), "--width 9: 320 to 4000 pixels are accepted"),
        (("tray-a", "--out", "a.svg", "--width", "wide"), "argument --width: invalid int value: 'wide'"),
        (("tray-a", "--out", "a.svg", "--from", "noon"), "time 'noon' is not readable"),
        (("tray-a", "--out", "a.svg", "--days", "0"), "0: more than 0 and at most 3660 days are accepted"),
        (("tray-a", "--out", "a.svg", "--days", "many"), "argument --days"),
        (("tray-a", "--out", "a.svg", "--from", TO, "--to", FROM), "is no time: the end must come after"),
        (("tray-a", "--out", "a.svg", "--from", "1970-01-01T00:00:00Z"), "is too long: at most 3660 days"),
        (("tray-a", "--out", "a.svg", "--readings", "gone.csv"), "gone.csv: No such file"),
        (("tray-a", "--out", "nowhere/a.svg"), "nowhere/a.svg: No such file"),
    ],
)
def test_plot_says_what_is_wrong_and_what_is_accepted(say: Say, words: tuple[str, ...], told: str) -> None:
    status, out, err = say("plot", *words)
    assert (status, out) == (2, "")
    assert told in err
    assert "Traceback" not in err


# ------------------------------------------------------------------------------------------------ report


def test_a_report_of_a_file_needs_nothing_else(bench: Path, say: Say) -> None:
    status, out, err = say("report", "--readings", file_of(bench, warm_day()), "--out", "r.html", "--json")
    assert (status, len(err.splitlines())) == (0, 1)
    assert json.loads(out) == {"out": "r.html", "trays": ["tray-a", "tray-b"]}
    page = page_in(bench / "r.html")
    assert page.tags.count("svg") == 2
    assert "tray-a , coleus: 1 alarm" in page.text
    # Two hours and a minute of a day less a minute, at which the replay ends.
    assert "air under the cover 91.6 % 8.4 % 0.0 % 2 h" in page.text
    assert "too-warm: air under the cover medium Tue 3 Mar 10:10 Tue 3 Mar 12:05" in page.text.replace(
        "air-", ""
    )


def test_a_report_of_the_store_tells_what_the_journal_tells(bench: Path, say: Say) -> None:
    """Nothing was judged, so that no alarm stands in it; the time in the bands is known all the same."""
    kept(bench, warm_day())
    assert say("report", *OF_THE_DAY, "--tray", "tray-a", "--out", "r.html")[0] == 0
    page = page_in(bench / "r.html")
    assert "No alarm stood in this time." in page.text
    assert "air under the cover 91.6 % 8.4 % 0.0 % 2 h" in page.text


def test_two_band_sets_are_laid_side_by_side(bench: Path, say: Say) -> None:
    (bench / "wide.yaml").write_text(BASE.replace("high: 80 °F", "high: 85 °F"), encoding="utf-8")
    readings = file_of(bench, warm_day())
    words = ("--config", "config.yaml", "--config", "wide.yaml", "--tray", "tray-a")
    assert say("report", "--readings", readings, *words, "--out", "r.html")[0] == 0
    page = page_in(bench / "r.html")
    assert page.tags.count("svg") == 2
    first, second = page.text.split("wide.yaml")[0], page.text.split("wide.yaml")[-1]
    assert "8.4 %" in first
    assert "No alarm stood in this time." in second
    ids = re.findall(r' id="([^"]*)"', (bench / "r.html").read_text(encoding="utf-8"))
    assert len(ids) == len(set(ids))


def test_the_same_band_set_twice_shares_no_id_and_no_name(bench: Path, say: Say) -> None:
    (bench / "same.yaml").write_text(BASE, encoding="utf-8")
    words = ("--config", "config.yaml", "--config", "same.yaml", "--tray", "tray-a")
    assert say("report", "--readings", file_of(bench, day()), *words, "--out", "r.html")[0] == 0
    text = (bench / "r.html").read_text(encoding="utf-8")
    for names in (re.findall(r' id="([^"]*)"', text), re.findall(r'aria-label="([^"]*)"', text)):
        assert names
        assert len(names) == len(set(names))


def test_a_report_of_a_batch_is_of_its_tray_from_sticking_to_its_close(bench: Path, say: Say) -> None:
    begun = Record(
        BATCH, START_MS, START_MS, "tray-a", "b-1", "Ines", fields={"crop": "coleus", "count_stuck": 20}
    )
    end = {"potted": 20, "fit": 18, "discarded": {}}
    closed = Record(CLOSED, START_MS + DAY_MS, START_MS + DAY_MS, "tray-a", "b-1", "Ines", fields=end)
    kept(bench, warm_day(), begun, closed)
    assert say("report", "--batch", "b-1", "--out", "r.html") == (0, "written to r.html\n", "")
    page = page_in(bench / "r.html")
    assert "Teaching bench: batch b-1" in page.text
    assert "Tue 3 Mar 00:00 to Wed 4 Mar 00:00" in page.text
    assert page.tags.count("svg") == 1


def test_hostile_names_of_files_are_text(bench: Path, say: Say) -> None:
    hostile = ["<script>alert('1')<svg onload=1>.yaml", '"><img src=x onerror=1>&amp;$x$.yaml']
    for name in hostile:
        (bench / name).write_text(BASE, encoding="utf-8")
    words = [word for name in hostile for word in ("--config", name)]
    assert say("report", "--readings", file_of(bench, day()), *words, "--out", "r.html")[0] == 0
    page = page_in(bench / "r.html")
    assert all(name in page.text for name in hostile)
    assert not {"script", "img"} & set(page.tags)


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("--out", "r.pdf"), "--out r.pdf: a name that ends in .html is accepted"),
        (("--out", "r.html", "--tray", "tray-z"), "there is no tray 'tray-z'"),
        (("--out", "r.html", "--batch", "b-9"), "there is no batch"),
        (
            ("--out", "r.html", "--batch", "b-1", "--from", FROM),
            "--from, --to and --readings do not go with it",
        ),
        (
            ("--out", "r.html", "--config", "a", "--config", "b", "--config", "c"),
            "3 configurations are named",
        ),
        (("--out", "r.html", "--config", "gone.yaml"), "gone.yaml"),
    ],
)
def test_report_says_what_is_wrong_and_what_is_accepted(say: Say, words: tuple[str, ...], told: str) -> None:
    status, out, err = say("report", *words)
    assert (status, out) == (2, "")
    assert told in err
    assert "Traceback" not in err
