"""Pictures as they are drawn: every excursion seen, safe in a page, legible by day and by night, and drawn when asked for alone."""

import io
import re
import subprocess
import sys
from dataclasses import replace
from itertools import product
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from numpy.typing import NDArray
from pictured import START_MS, day, entry, mark, pictured, with_value, without_minutes
from PIL import Image

from wardian.daemon.picture import AlarmShown, Picture
from wardian.daemon.picture_colours import CURVES, DARK, LIGHT, SHAPES, TEXTS, stylesheet
from wardian.daemon.picture_lanes import _alarm_words, _place_beside
from wardian.daemon.picture_sheet import Ruler, width_of
from wardian.daemon.pictures import NoPictures, draw

BARE = pictured(day())
EVENTS = ("lifted", "misted", "watered", "fed", "wiped", "looked", "cleaned", "alcohol", "advanced")
HOSTILE = '</svg><script>alert("1")</script>&amp;$\\frac{1}{0}$ \'"><img src=x onerror=1> ☠🌱'


def full() -> Picture:
    """A picture with everything that one can show."""
    chunk = without_minutes(day(ppfd=80.0), "air_temperature", 300, 500)
    entries = [
        entry(60, "raised"),
        entry(200, "returned"),
        entry(600, "raised", alarm="too-warm", priority="high"),
    ]
    marks = tuple(
        mark(100 + 50 * place, event, event, is_recorded=place % 2 == 0) for place, event in enumerate(EVENTS)
    )
    return pictured(chunk, entries, marks, fahrenheit=True)


def elements(drawn: bytes) -> list[ET.Element]:
    return list(ET.fromstring(drawn).iter())


def kind(element: ET.Element) -> str:
    return str(element.tag).rpartition("}")[2]


def pixels(drawn: bytes) -> NDArray[np.uint8]:
    image = Image.open(io.BytesIO(drawn))
    return np.asarray(image.convert("RGB"))


def rows_of(drawn: bytes, colour: str) -> NDArray[Any]:
    """The rows of pixels in which a colour is, from the top down."""
    wanted = [int(colour[place : place + 2], 16) for place in (1, 3, 5)]
    return np.flatnonzero((pixels(drawn) == wanted).all(axis=2).any(axis=1))


# ------------------------------------------------------------------------------------------ what is seen


@pytest.mark.parametrize("width", [320, 960, 1600])
def test_a_png_opens_and_is_as_wide_as_asked(width: int) -> None:
    image = Image.open(io.BytesIO(draw(full(), "png", width)))
    image.load()
    assert (image.format, image.width) == ("PNG", width)


def test_one_reading_of_a_day_stands_out_of_a_flat_line() -> None:
    """A minute of a day is less than a pixel wide; a mean of the column would hide half of it."""
    still = pictured(day(medium_temperature=18.0))
    spike = pictured(with_value(day(medium_temperature=18.0), "air_temperature", 700, 18.5))
    heights = [len(rows_of(draw(one, "png"), LIGHT["air"])) for one in (still, spike)]
    assert heights[1] > heights[0] + 40


def test_svg_and_png_are_of_one_size() -> None:
    root = ET.fromstring(draw(full(), "svg", 700))
    image = Image.open(io.BytesIO(draw(full(), "png", 700)))
    assert (float(root.get("width", "0")), round(float(root.get("height", "0")))) == (
        image.width,
        image.height,
    )


def test_a_picture_of_which_nothing_is_known_says_so() -> None:
    picture = replace(full(), panels=(), light=None, alarms=(), marks=(), stages=())
    assert b"nothing is known of this time" in draw(picture, "svg")


def test_temperatures_are_in_the_unit_of_the_site() -> None:
    assert "Temperature, °F" in draw(full(), "svg").decode()
    assert "Temperature, °C" in draw(pictured(day()), "svg").decode()


# --------------------------------------------------------------------------------------- safe in a page


def test_svg_has_nothing_that_acts_or_reaches_outside() -> None:
    drawn = draw(full(), "svg")
    assert {kind(one) for one in elements(drawn)} <= {
        *("svg", "title", "desc", "defs", "g", "path", "text", "tspan", "use", "clipPath", "rect", "pattern")
    }
    text = drawn.decode().replace('xmlns="http://www.w3.org/2000/svg"', "")
    assert not re.search(r"https?:|//|<!|<\?|javascript|style=", text)
    for element in elements(drawn):
        for name, value in element.attrib.items():
            assert not name.startswith("on")
            if "href" in name:
                assert value.startswith("#")


def test_every_reference_of_an_svg_is_to_an_id_of_its_own() -> None:
    every = elements(draw(full(), "svg"))
    ids = [one.attrib["id"] for one in every if "id" in one.attrib]
    used = {
        name
        for one in every
        for value in one.attrib.values()
        for name in re.findall(r"url\(#([^)]*)\)|^#(.+)$", value)
        for name in name
        if name and not re.fullmatch(r"[0-9a-f]{6}", name)
    }
    assert len(ids) == len(set(ids))
    assert used <= set(ids)
    assert used


def test_two_pictures_in_a_page_share_no_id() -> None:
    first, second = (
        draw(one, "svg").decode() for one in (full(), replace(full(), title="tray-b: mint, today"))
    )
    assert not set(re.findall(r' id="([^"]*)"', first)) & set(re.findall(r' id="([^"]*)"', second))


def test_the_same_picture_is_drawn_the_same() -> None:
    assert draw(full(), "svg") == draw(full(), "svg")


def test_hostile_names_are_text_and_nothing_else() -> None:
    alarms = tuple(one._replace(alarm=HOSTILE) for one in full().alarms)
    stages = tuple(one._replace(name=HOSTILE[:12]) for one in full().stages)
    picture = replace(full(), title=HOSTILE, words=HOSTILE, alarms=alarms, stages=stages)
    drawn = draw(picture, "svg")
    every = elements(drawn)
    assert not {"script", "img"} & {kind(one) for one in every}
    assert sum(HOSTILE in "".join(one.itertext()) for one in every if kind(one) == "desc") == 1
    assert b"<script" not in drawn
    Image.open(io.BytesIO(draw(picture, "png"))).load()


def test_a_screen_reader_is_told_what_there_is_to_see() -> None:
    root = ET.fromstring(draw(full(), "svg"))
    title, words = root[0], root[1]
    assert (kind(title), title.text) == ("title", full().title)
    assert (kind(words), words.text) == ("desc", full().words)
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {words.get('id')}"


# ------------------------------------------------------------------------------------------ by any light


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [one / 12.92 if one <= 0.04045 else ((one + 0.055) / 1.055) ** 2.4 for one in parts]
    return sum(weight * one for weight, one in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


def contrast(one: str, other: str) -> float:
    """Contrast ratio, WCAG 2.2."""
    brighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (brighter + 0.05) / (darker + 0.05)


def test_the_contrast_of_black_and_white_is_21() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    # Computed by hand from the formula.
    assert contrast("#777777", "#ffffff") == pytest.approx(4.478, abs=0.001)


@pytest.mark.parametrize(("role", "colours"), list(product((*TEXTS, *SHAPES), (LIGHT, DARK))))
def test_what_is_read_or_told_apart_stands_out_from_the_paper(role: str, colours: dict[str, str]) -> None:
    """Level AA: 4.5 to 1 for text (1.4.3), 3 to 1 for what is seen (1.4.11)."""
    assert contrast(colours[role], colours["paper"]) >= (4.5 if role in TEXTS else 3)


def test_colours_by_night_are_of_the_same_roles_and_none_is_shared() -> None:
    assert LIGHT.keys() == DARK.keys()
    assert len(set(LIGHT.values())) == len(LIGHT)
    assert set(CURVES.values()) <= set(TEXTS)


def test_every_colour_of_an_svg_follows_the_stylesheet() -> None:
    """A colour that no class names would stay as it is on a dark screen."""
    css = stylesheet()
    for element in elements(draw(full(), "svg")):
        for name in ("fill", "stroke"):
            colour = element.get(name, "none")
            if colour.startswith("#"):
                classes = [
                    one for one in element.get("class", "").split() if one.startswith(f"wd-{name[0]}-")
                ]
                assert classes, (element.tag, element.attrib)
                assert f".{classes[0]}{{" in css


def test_a_file_of_its_own_brings_its_stylesheet() -> None:
    assert stylesheet() in draw(full(), "svg", own_style=True).decode()
    assert "<style" not in draw(full(), "svg").decode()


# ------------------------------------------------------------------------------------------- when asked


def test_the_charting_library_is_loaded_when_a_picture_is_drawn_and_not_before() -> None:
    program = (
        "import sys, wardian.daemon.cli_pictures, wardian.daemon.trends; "
        "sys.exit(any(name.partition('.')[0] == 'matplotlib' for name in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", program], timeout=60, check=False).returncode == 0


def test_without_the_charting_library_what_to_install_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.startswith("wardian.daemon.picture_")]:
        if name.rpartition("_")[2] in ("canvas", "lanes", "panels", "sheet"):
            monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    with pytest.raises(NoPictures, match=r"pip install 'wardian\[pictures\]'"):
        draw(full(), "svg")


@pytest.mark.parametrize(("form", "width", "words"), [("gif", 960, "svg or png"), ("svg", 20, "320 to 4000")])
def test_a_form_or_a_width_that_cannot_be_is_refused(form: str, width: int, words: str) -> None:
    with pytest.raises(ValueError, match=words):
        draw(full(), form, width)


# ---------------------------------------------------------------------------------- alarms and their names


@given(
    st.lists(st.tuples(st.integers(0, 1439), st.integers(1, 200)), min_size=1, max_size=6),
    st.sampled_from([320, 960]),
)
def test_the_name_of_alarms_covers_none_of_their_bars(spans: list[tuple[int, int]], width: int) -> None:
    minutes = sorted({edge for begin, length in spans for edge in (begin, min(begin + length, 1440))})
    pairs = list(zip(minutes[::2], minutes[1::2], strict=False))
    assume(pairs)
    alarms = [
        AlarmShown(
            "too-dry",
            "high",
            "relative_humidity",
            START_MS + begin * 60_000,
            START_MS + end * 60_000,
            stands=False,
        )
        for begin, end in pairs
    ]
    ruler = Ruler(BARE, width)
    place = _place_beside(ruler, alarms)
    if place is None:
        return
    x, side = place
    wide = width_of(_alarm_words(alarms))
    first, last = (x, x + wide) if side == "left" else (x - wide, x)
    assert first >= 0
    assert last <= width
    assert not [one for one in alarms if ruler.x(one.from_ms) < last and first < ruler.x(one.to_ms)]
