"""Every pair of colours that stands together can be told apart, by the ratio of WCAG 2.2 (W3C 2023, 1.4.3 and 1.4.11)."""

import re
from importlib.resources import files
from typing import Final

import pytest

CSS: Final = (files("wardian.daemon.page") / "page.css").read_text(encoding="utf-8")
#: Text of any size on what it stands on: at least 4.5 : 1.
TEXTS: Final = [
    *((ink, ground) for ink in ("ink", "faint") for ground in ("ground", "tray")),
    *((ink, "tray") for ink in ("within", "beyond", "unknown", "medium-alarm", "low-alarm", "act")),
    ("act", "ground"),
    ("on-act", "act"),
]
#: Marks and edges that say something: at least 3 : 1.
SHAPES: Final = [
    ("within", "tray"),
    ("beyond", "tray"),
    ("unknown", "tray"),
    ("ink", "band"),
    ("beyond", "band"),
    ("faint", "tray"),
    ("act", "tray"),
    ("act", "ground"),
]


def palettes() -> dict[str, dict[str, str]]:
    light, dark = (
        dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6});", part))
        for part in re.findall(r":root \{(.*?)\}", CSS, re.DOTALL)
    )
    return {"light": light, "dark": light | dark}


def luminance(colour: str) -> float:
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    dark, light = sorted((luminance(one), luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_the_ratio_is_that_of_the_standard() -> None:
    # Black on white and, as the standard's own examples have it, #767676 on white as the lightest grey that will do.
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") >= 4.5 > contrast("#777777", "#ffffff")


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXTS)
def test_text_can_be_read(theme: str, ink: str, ground: str) -> None:
    palette = palettes()[theme]
    assert contrast(palette[ink], palette[ground]) >= 4.5


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize(("shape", "ground"), SHAPES)
def test_marks_can_be_seen(theme: str, shape: str, ground: str) -> None:
    palette = palettes()[theme]
    assert contrast(palette[shape], palette[ground]) >= 3


def test_no_colour_stands_outside_of_the_two_palettes() -> None:
    rules = re.sub(r":root \{.*?\}", "", CSS, flags=re.DOTALL)
    assert re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", rules) == []
