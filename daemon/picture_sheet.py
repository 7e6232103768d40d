"""The sheet on which a picture is drawn: pixels from its upper left corner, instants as places across.

The rule of this file: a text is never read as a formula, and every colour is named by its role.
"""

from typing import Any, Final

from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import PathPatch, Rectangle
from matplotlib.path import Path

from wardian.daemon.picture import Picture
from wardian.daemon.picture_colours import LIGHT

#: A point is a pixel.
DPI: Final = 72
TEXT_PX: Final = 11.0
#: So wide is a letter of a usual text, a little too much on purpose. [of its size]
_LETTER: Final = 0.62
#: Below this width a sheet is narrow. [px]
_NARROW_PX: Final = 560


class Ruler:
    """Where instants stand across a sheet; ``left`` and ``right`` are where its time begins and ends. In px."""

    def __init__(self, picture: Picture, width: int) -> None:
        """Lay the time of a picture between margins."""
        self.picture, self.width = picture, width
        self.left, self.right = (50.0, width - 62.0) if width < _NARROW_PX else (60.0, width - 84.0)

    def x(self, time_ms: int) -> float:
        """Return where an instant stands."""
        from_ms, to_ms = self.picture.span
        return self.left + (time_ms - from_ms) / (to_ms - from_ms) * (self.right - self.left)


class Sheet:
    """One picture's sheet, with the places of its ruler."""

    def __init__(self, ruler: Ruler, height: float) -> None:
        """Lay an empty sheet."""
        self.picture, self.x = ruler.picture, ruler.x
        self.width, self.left, self.right, self.height = ruler.width, ruler.left, ruler.right, height
        size = (self.width / DPI, height / DPI)
        self.figure = Figure(figsize=size, dpi=DPI, facecolor=LIGHT["paper"])
        self.axes = self.figure.add_axes((0, 0, 1, 1), frameon=False)
        self.axes.set_axis_off()
        self.axes.set_xlim(0, self.width)
        self.axes.set_ylim(height, 0)

    def text(self, x: float, y: float, words: str, role: str = "ink", **how: Any) -> None:
        """Write words; ``y`` is their middle."""
        usual = {"fontsize": TEXT_PX, "va": "center", "color": LIGHT[role]}
        self.axes.text(x, y, words, parse_math=False, **{**usual, **how})

    def bar(self, from_x: float, to_x: float, y: tuple[float, float], role: str, **how: Any) -> None:
        """Draw a bar, at least two pixels wide; unless told otherwise filled with its colour."""
        usual = {"facecolor": LIGHT[role], "edgecolor": "none", "linewidth": 0}
        width = max(to_x - from_x, 2.0)
        self.axes.add_patch(Rectangle((from_x, y[0]), width, y[1] - y[0], **{**usual, **how}))

    def hatched(self, from_x: float, to_x: float, y: tuple[float, float], role: str, **how: Any) -> None:
        """Draw a hatched bar with an edge, on nothing."""
        usual = {"facecolor": "none", "edgecolor": LIGHT[role], "hatch": "////", "linewidth": 0.8}
        self.bar(from_x, to_x, y, role, **{**usual, **how})

    def line(self, xs: tuple[float, ...], ys: tuple[float, ...], role: str, **how: Any) -> None:
        """Draw a line through points."""
        self.axes.add_line(Line2D(xs, ys, color=LIGHT[role], **{"linewidth": 1.0, **how}))

    def mark(self, x: float, y: float, sign: str, role: str, *, is_filled: bool = True) -> None:
        """Draw one sign."""
        face = LIGHT[role] if is_filled else LIGHT["paper"]
        how: dict[str, Any] = {
            "marker": sign,
            "markersize": 7,
            "markeredgecolor": LIGHT[role],
            "markeredgewidth": 1.1,
        }
        self.axes.add_line(Line2D((x,), (y,), linestyle="none", markerfacecolor=face, **how))

    def curve(self, points: list[tuple[float, float]], codes: list[Any], role: str, width: float) -> None:
        """Draw an outline of straight and bent pieces."""
        path = Path(points, codes)
        how: dict[str, Any] = {"facecolor": "none", "edgecolor": LIGHT[role], "linewidth": width}
        self.axes.add_patch(PathPatch(path, **how))


def width_of(words: str, size: float = TEXT_PX) -> float:
    """Return about how wide words are. In px."""
    return len(words) * size * _LETTER
