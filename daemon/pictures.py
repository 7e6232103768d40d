"""Pictures drawn: as SVG for pages and files, as PNG for whatever shows nothing else.

The rule of this file: the charting library is imported when a picture is drawn and not before.
"""

from typing import Final

from wardian.daemon.picture import Picture
from wardian.rules.errors import WardianError

FORMS: Final = ("svg", "png")
#: From a phone's screen to a sheet of paper. [px]
WIDTHS: Final = (320, 4000)
#: The usual width. [px]
WIDTH: Final = 960


class NoPictures(WardianError):
    """The charting library is not installed."""


def draw(picture: Picture, form: str, width: int = WIDTH, *, own_style: bool = False) -> bytes:
    """Return a picture as ``svg`` or ``png``, so many pixels wide.

    SVG is one element without script, inline style or outside reference, coloured by the classes of
    ``picture_colours.stylesheet``, which it carries itself with ``own_style``.

    Raises:
        NoPictures: The charting library is not installed.
        ValueError: There is no such form, or the width is out of bounds.
    """
    if form not in FORMS:
        raise ValueError(f"{form!r} is no form of a picture: {' or '.join(FORMS)} is accepted")
    if not WIDTHS[0] <= width <= WIDTHS[1]:
        raise ValueError(f"{width} pixels: {WIDTHS[0]} to {WIDTHS[1]} are accepted as a width")
    try:
        from wardian.daemon.picture_canvas import drawn
    except ImportError as error:
        raise NoPictures(
            "pictures need a charting library that is not installed; run: pip install 'wardian[pictures]'"
        ) from error
    if form == "png":
        return drawn(picture, form, width)
    from wardian.daemon.picture_svg import mended

    return mended(drawn(picture, form, width), picture, own_style=own_style)
