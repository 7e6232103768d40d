"""What a picture of a tray shows, before anybody draws it: curves as columns, bands, alarms, care, and what is unknown.

The rule of this file: everything is in the quantities' own units and in milliseconds; whoever draws puts it into the
units and the time of the site by ``tongue``.
"""

from dataclasses import dataclass
from typing import NamedTuple

from wardian.daemon.tongue import Tongue
from wardian.rules.columns import Columns
from wardian.rules.crops import Band
from wardian.rules.light_days import LightDay
from wardian.rules.shares import Span


class BandSpan(NamedTuple):
    """A band of one stage, and from when to when it lies behind a curve."""

    from_ms: int
    to_ms: int
    band: Band


@dataclass(frozen=True, slots=True)
class Curve:
    """One quantity over the time of the picture.

    Attributes:
        quantity: Its name.
        columns: The least and the most in each column, NaN where it was unknown.
        doubt: The same with its expanded uncertainty added, None where nobody knows that.
        bands: Of each stage that has one, in order of time.
        unknown: When nothing of it was known, in order of time.
    """

    quantity: str
    columns: Columns
    doubt: Columns | None
    bands: tuple[BandSpan, ...]
    unknown: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Panel:
    """Curves that share an axis; ``name`` is one of those in ``PANELS`` of ``picture_data``."""

    name: str
    words: str
    curves: tuple[Curve, ...]


@dataclass(frozen=True, slots=True)
class LightStrip:
    """When the lamp was lit and when nobody knows, with the sums of each local day, begun ones as far as they have come.

    ``is_estimated`` is whether photons are made of lux.
    """

    lit: tuple[Span, ...]
    unknown: tuple[Span, ...]
    days: tuple[LightDay, ...]
    is_estimated: bool


class StageShown(NamedTuple):
    """A stage, and from when to when the picture is in it."""

    from_ms: int
    to_ms: int
    name: str


class AlarmShown(NamedTuple):
    """An alarm from its raise to its return, cut to the picture; ``stands`` where it had not returned by its end."""

    alarm: str
    priority: str
    quantity: str
    from_ms: int
    to_ms: int
    stands: bool


class Mark(NamedTuple):
    """Care or a change of stage; ``is_recorded`` is whether a person put it on record or the traces show it."""

    time_ms: int
    event: str
    words: str
    is_recorded: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """All that a picture of one tray between two instants shows.

    Attributes:
        tray: Its name.
        title: In a line: the tray, its crop, and of what days the picture is.
        words: What can be seen in it, in sentences, for whoever does not see it.
        span: From the first instant up to the second. [ms]
        tongue: How the site reads numbers and times.
        panels: From the top down; none where nothing is known.
        light: None where nobody said when a lamp counts as lit, or nothing measured it.
        stages: In order of time.
        alarms: In the order in which they were raised.
        marks: In order of time.
    """

    tray: str
    title: str
    words: str
    span: Span
    tongue: Tongue
    panels: tuple[Panel, ...]
    light: LightStrip | None
    stages: tuple[StageShown, ...]
    alarms: tuple[AlarmShown, ...]
    marks: tuple[Mark, ...]
