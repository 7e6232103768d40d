"""Pictures of a tray for the page, drawn by the command ``wardian plot`` in a process of its own.

The rule of this file: what a picture needs in memory is given back when it is drawn, and one that takes too long ends.
"""

import threading
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Final, NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.page.apart import Apart
from wardian.daemon.recorded import instant_text
from wardian.rules.crops import day_start_ms
from wardian.rules.ports import Clock

#: What is drawn, in how many days up to now, and how long it stands. [s]
DAY: Final = "day"
WEEK: Final = "week"
BATCH: Final = "batch"
_DAYS: Final = {DAY: "1", WEEK: "7"}
_STANDS_S: Final = {DAY: 120.0, WEEK: 900.0, BATCH: 3600.0}
#: For a laptop and for a phone. [px]
_WIDTHS: Final = {False: "960", True: "420"}
#: Not even a megabyte is ever needed.
_MOST_BYTES: Final = 2_000_000


class Wanted(NamedTuple):
    """A picture of a tray, by its number, and whether it is for a narrow screen."""

    tray: int
    span: str
    is_narrow: bool


class Drawings:
    """Draws pictures one at a time, and keeps each for a while."""

    def __init__(self, config: Config, clock: Clock, apart: Apart) -> None:
        """Draw the trays of a configuration as its file says."""
        self._apart = apart
        self._config = config
        self._clock = clock
        self._lock = threading.Lock()
        self._drawn: dict[Wanted, tuple[float, bytes]] = {}
        #: Whether pictures can be drawn here at all.
        self.is_there = find_spec("matplotlib") is not None

    def draw(self, wanted: Wanted) -> bytes | None:
        """Return a picture as SVG, None where there can be none now."""
        with self._lock:
            known = self._drawn.get(wanted)
            if known is None or self._clock.monotonic_s() - known[0] >= _STANDS_S[wanted.span]:
                picture = self._draw(self._config.trays[wanted.tray - 1], wanted)
                if picture is None:
                    return None
                self._drawn[wanted] = known = (self._clock.monotonic_s(), picture)
            return known[1]

    def _draw(self, tray: TraySettings, wanted: Wanted) -> bytes | None:
        begun_ms = day_start_ms(tray.stuck, self._config.site.zone)
        span = ["--days", _DAYS[wanted.span]] if wanted.span in _DAYS else ["--from", instant_text(begun_ms)]
        with TemporaryDirectory(prefix="wardian-page-") as folder:
            out = Path(folder) / "picture.svg"
            width = ("--width", _WIDTHS[wanted.is_narrow])
            if self._apart.told_by("plot", tray.name, *span, *width, "--out", str(out)) is None:
                return None
            with out.open("rb") as file:
                return file.read(_MOST_BYTES)
