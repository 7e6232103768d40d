"""Every condition there is, in the order in which they are judged.

The rule of this file: a condition that tells of a cause comes before those that follow from it.
"""

from collections.abc import Sequence
from typing import Final

from wardian.rules.observing.heater import HeaterIdle, HeaterRunaway
from wardian.rules.observing.lamp import LampNotOff, LampNotOn, LampWeak
from wardian.rules.observing.looks import ConditionMaker
from wardian.rules.observing.mains import MainsLost
from wardian.rules.observing.uncovered import CoverLeaking, CoverOff

CONDITIONS: Final[Sequence[ConditionMaker]] = (
    MainsLost,
    HeaterRunaway,
    HeaterIdle,
    CoverOff,
    CoverLeaking,
    LampNotOn,
    LampNotOff,
    LampWeak,
)
