"""Every condition there is, in the order in which they are judged.

The rule of this file: a condition that tells of a cause comes before those that follow from it.
"""

from collections.abc import Sequence
from functools import partial
from typing import Final

from wardian.rules.observing.daily_light import DailyLightOff
from wardian.rules.observing.drift import DRIFTING
from wardian.rules.observing.extremes import AirOverheated, MediumChilled, MediumOverheated
from wardian.rules.observing.heater import HeaterIdle, HeaterRunaway
from wardian.rules.observing.jumps import JUMPING, SensorJumping, SensorsDisagree
from wardian.rules.observing.lamp import LampNotOff, LampNotOn, LampWeak
from wardian.rules.observing.looks import ConditionMaker
from wardian.rules.observing.mains import MainsLost
from wardian.rules.observing.saturated import SensorSaturated
from wardian.rules.observing.stuck import STICKING, SensorStuck
from wardian.rules.observing.tending import MouldSeen, NotTended, PastDue, StageOverdue
from wardian.rules.observing.uncovered import CoverLeaking, CoverOff
from wardian.rules.observing.wetness import DryingFast, OverMisted, WetTooLong
from wardian.rules.observing.whole_tray import PowerReturned, TrayJumped

CONDITIONS: Final[Sequence[ConditionMaker]] = (
    PowerReturned,
    TrayJumped,
    *(partial(SensorJumping, quantity) for quantity in JUMPING),
    *(partial(SensorStuck, quantity) for quantity in STICKING),
    *(partial(SensorsDisagree, quantity) for quantity in JUMPING),
    SensorSaturated,
    MainsLost,
    HeaterRunaway,
    HeaterIdle,
    CoverOff,
    CoverLeaking,
    LampNotOn,
    LampNotOff,
    LampWeak,
    DailyLightOff,
    MediumOverheated,
    AirOverheated,
    MediumChilled,
    WetTooLong,
    OverMisted,
    DryingFast,
    NotTended,
    PastDue,
    StageOverdue,
    MouldSeen,
    *DRIFTING,
)
