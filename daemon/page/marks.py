"""What is drawn on the page: a mark for each state, and a value against its band on a scale.

The rule of this file: a state is told by shape and word; its colour only repeats it.
"""

from typing import Final, NamedTuple

from wardian.daemon.look import QuantityNow
from wardian.daemon.page.markup import Html, element

WITHIN: Final = "within"
BEYOND: Final = "beyond"
UNKNOWN: Final = "unknown"
#: A leaf, a pointed roof, an empty ring: told apart without colour and from afar.
_PATHS: Final = {
    WITHIN: "M3 17C3 8 9 3 21 3C21 14 16 21 7 20C9 16 12 12 16 9C11 11 7 14 5 19Z",
    BEYOND: "M12 2L23 21H1ZM11 8V15H13V8ZM11 17V19H13V17Z",
    UNKNOWN: "M12 2A10 10 0 1 0 12 22A10 10 0 1 0 12 2ZM12 5A7 7 0 1 1 12 19A7 7 0 1 1 12 5Z",
}
#: Of the width of the scale, on each side of the band.
_MARGIN: Final = 0.55
#: A band with one limit is drawn this wide, relative to that limit.
_ONE_SIDED: Final = 0.4
_WIDTH: Final = 100.0


def mark(state: str) -> Html:
    """Return the mark of a state; the word stands beside it, so that nobody needs to hear of it."""
    path = element("path", d=_PATHS[state], fill_rule="evenodd")
    return element(
        "svg", path, class_=f"mark {state}", viewBox="0 0 24 24", aria_hidden="true", focusable="false"
    )


class Scale(NamedTuple):
    """Where a band lies on a scale, and from where to where that goes."""

    begin: float
    end: float
    low: float
    high: float

    def place(self, value: float) -> float:
        """Return where a value lies, in hundredths of the scale, at its end where it is beyond it."""
        share = (value - self.begin) / (self.end - self.begin)
        return round(min(max(share, 0.0), 1.0) * _WIDTH, 1)


def scale_of(low: float | None, high: float | None) -> Scale | None:
    """Return the scale on which a band is drawn; one with a single limit is open on its other side."""
    if low is None and high is None:
        return None
    known = [limit for limit in (low, high) if limit is not None]
    width = known[-1] - known[0] or max(abs(known[0]) * _ONE_SIDED, 0.5)
    begin = (known[0] if low is not None else known[0] - width) - _MARGIN * width
    end = (known[-1] if high is not None else known[-1] + width) + _MARGIN * width
    if min(known) >= 0:
        begin = max(begin, 0.0)
    return Scale(begin, end, begin if low is None else low, end if high is None else high)


def gauge(now: QuantityNow) -> Html | None:
    """Return a value drawn against its band; nothing where there is no band."""
    scale = scale_of(*((now.band.threshold("low"), now.band.threshold("high")) if now.band else (None, None)))
    if scale is None:
        return None
    low, high = scale.place(scale.low), scale.place(scale.high)
    parts = [
        element("rect", class_="range", x=0, y=5, width=_WIDTH, height=2),
        element("rect", class_="band", x=low, y=2, width=round(high - low, 1), height=8, rx=1),
    ]
    if now.value is not None:
        at = scale.place(now.value)
        parts.append(
            element(
                "rect",
                class_=f"needle {now.state}",
                x=min(max(at - 1, 0), _WIDTH - 2),
                y=0,
                width=2,
                height=12,
            )
        )
    return element(
        "svg",
        *parts,
        class_="gauge",
        viewBox="0 0 100 12",
        preserveAspectRatio="none",
        aria_hidden="true",
        focusable="false",
    )
