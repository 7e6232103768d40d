"""The colours of pictures and reports, by day and by night, each named by what it is for.

The rule of this file: text stands out from the paper by 4.5 to 1, and what must be told apart by 3 to 1 (WCAG 2.2,
1.4.3 and 1.4.11, level AA); a test computes that. No two roles share a colour: a picture is recoloured by it.
"""

from collections.abc import Mapping
from typing import Final

#: What is read.
TEXTS: Final = (
    "ink",
    "soft",
    "alarm",
    "air",
    "medium",
    "leaf",
    "humidity",
    "deficit",
    "water",
    "care",
    "stage",
)
#: What is seen.
SHAPES: Final = ("lamp", "wood", "soil", "cover", "unknown")

#: On paper, by day.
LIGHT: Final[Mapping[str, str]] = {
    "paper": "#fcfaf4",
    "ink": "#20291c",
    "soft": "#58614f",
    "grid": "#e2decf",
    "alarm": "#a8102a",
    "air": "#1d659c",
    "medium": "#9c4318",
    "leaf": "#35701f",
    "humidity": "#12706d",
    "deficit": "#74398a",
    "water": "#2b56a8",
    "care": "#4d5a12",
    "stage": "#3b4a34",
    "lamp": "#b07a00",
    "wood": "#9a6a3f",
    "soil": "#4b3a2a",
    "cover": "#7b8a86",
    "unknown": "#77746b",
}
#: On a screen, by night.
DARK: Final[Mapping[str, str]] = {
    "paper": "#171b15",
    "ink": "#eceee4",
    "soft": "#b0b9a4",
    "grid": "#2c332a",
    "alarm": "#ff8f98",
    "air": "#7fbdf0",
    "medium": "#f0a070",
    "leaf": "#94d07a",
    "humidity": "#6fd0ca",
    "deficit": "#d6a0ea",
    "water": "#9bb8ff",
    "care": "#cfdb7c",
    "stage": "#c3d0ba",
    "lamp": "#f2c14e",
    "wood": "#b58556",
    "soil": "#a58b70",
    "cover": "#8fa19c",
    "unknown": "#98958a",
}
#: By quantity, the role of its curve.
CURVES: Final[Mapping[str, str]] = {
    "air_temperature": "air",
    "medium_temperature": "medium",
    "leaf_temperature": "leaf",
    "relative_humidity": "humidity",
    "vapour_pressure_deficit": "deficit",
    "leaf_vapour_pressure_deficit": "leaf",
    "water_lost": "water",
    "tray_mass": "water",
    "medium_moisture": "water",
}


def stylesheet() -> str:
    """Return the rules of CSS that draw every picture in a page in the colours of its reader's screen."""
    by_night = "".join(_rules(role, colour) for role, colour in DARK.items())
    return f"@media (prefers-color-scheme:dark){{@media screen{{{by_night}}}}}"


def _rules(role: str, colour: str) -> str:
    return f".wd-f-{role}{{fill:{colour}}}.wd-s-{role}{{stroke:{colour}}}"
