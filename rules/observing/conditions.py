"""Every condition there is, in the order in which they are judged.

The rule of this file: a condition that tells of a cause comes before those that follow from it.
"""

from collections.abc import Sequence
from typing import Final

from wardian.rules.observing.drift import DRIFTING
from wardian.rules.observing.extremes import AirOverheated, MediumChilled, MediumOverheated
from wardian.rules.observing.looks import ConditionMaker
from wardian.rules.observing.tending import NotTended, PastDue
from wardian.rules.observing.wetness import DryingFast, OverMisted, WetTooLong

CONDITIONS: Final[Sequence[ConditionMaker]] = (
    MediumOverheated,
    AirOverheated,
    MediumChilled,
    WetTooLong,
    OverMisted,
    DryingFast,
    NotTended,
    PastDue,
    *DRIFTING,
)
