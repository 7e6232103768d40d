"""A picture put together from its lanes and panels, and drawn by the charting library.

The rule of this file: the library's settings are those of the whole process, so that one picture is drawn at a time.
"""

import io
import threading
import warnings
from functools import partial
from typing import Any, Final

import matplotlib as mpl
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG

from wardian.daemon.picture import Picture
from wardian.daemon.picture_lanes import Lane, above, below
from wardian.daemon.picture_panels import draw_panel, panel_height
from wardian.daemon.picture_sheet import Ruler, Sheet

_ONE_AT_A_TIME: Final = threading.Lock()
#: Text stays text, so that it can be read aloud; the same picture gives the same bytes.
_SETTINGS: Final[Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "wardian",
    "font.family": ["DejaVu Sans"],
    "hatch.linewidth": 0.7,
}


def drawn(picture: Picture, form: str, width: int) -> bytes:
    """Return a picture as the library draws it, as ``svg`` or ``png``."""
    ruler = Ruler(picture, width)
    lanes = [*above(ruler), *_panels(picture), *below(picture, width)]
    with _ONE_AT_A_TIME, mpl.rc_context(_SETTINGS), warnings.catch_warnings():
        # A name may have letters that the font has not; a browser finds them elsewhere.
        warnings.simplefilter("ignore")
        sheet = Sheet(ruler, sum(lane.height for lane in lanes))
        top = 0.0
        for lane in lanes:
            lane.draw(sheet, top)
            top += lane.height
        out = io.BytesIO()
        if form == "svg":
            FigureCanvasSVG(sheet.figure)
            sheet.figure.savefig(out, format="svg", metadata={"Date": None})
        else:
            FigureCanvasAgg(sheet.figure)
            sheet.figure.savefig(out, format="png", metadata={"Software": None})
    return out.getvalue()


def _panels(picture: Picture) -> list[Lane]:
    if not picture.panels:
        return [Lane(40, _nothing)]
    return [Lane(panel_height(panel), partial(draw_panel, panel=panel)) for panel in picture.panels]


def _nothing(sheet: Sheet, top: float) -> None:
    sheet.text(sheet.left, top + 18, "nothing is known of this time")
