"""What others hold to be bearable for the person who answers alarms, by the name of the figure.

The rule of this file: no target without its source and how it is known; where a source leaves open how to
read it, the reading is said beside it. The standards' own pages were not seen.
"""

from operator import ge, le, lt
from typing import Final, NamedTuple

from wardian.rules.alarm_figures import AlarmFigures

#: Its table of performance metrics, as three to five independent public texts reproduce it.
ISA: Final = (
    "ANSI/ISA-18.2-2016 and IEC 62682, for the operator of a staffed plant; read in texts that reproduce it"
)
#: The edition of 2016 has six and twelve an hour in its place, which is 144 and 288 a day.
ISA_2009: Final = "ANSI/ISA-18.2-2009, for the operator of a staffed plant; read in texts that reproduce it"
#: One public text.
ISA_PERIOD: Final = "ANSI/ISA-18.2-2016; read in one text"
#: That a flood begins with more than ten is of the former, in two or more texts; its end is of the latter, in one.
FLOODS: Final = "ANSI/ISA-18.2-2016 and, for when a flood ends, EEMUA 191; read in texts that reproduce them"
#: Three in a minute in two public texts; another has other windows.
CHATTER: Final = (
    "ANSI/ISA-18.2-2016; what chatters by EEMUA 191; read in texts, of which one counts otherwise"
)
ONE_GROWER: Final = "for one grower, of no standard; from memory"

#: Ten alarms of fewer than this always have more than 5 % of all raises, however few those are.
FREQUENT_JUDGED_FROM: Final = 200

_HOLDS: Final = {"at least": ge, "at most": le, "below": lt}


class Target(NamedTuple):
    """How a figure is to lie to a limit, and what can be borne at most where that is published, too."""

    side: str
    limit: int
    source: str
    manageable: int | None = None

    def holds(self, value: float) -> bool:
        """Return whether a value is as it should be."""
        return bool(_HOLDS[self.side](value, self.limit))


#: By name of an attribute of ``AlarmFigures``, in its unit.
TARGETS: Final = {
    "days": Target("at least", 30, ISA_PERIOD),
    "per_ten_minutes": Target("at most", 1, ISA, manageable=2),
    "per_day": Target("at most", 150, ISA_2009, manageable=300),
    "per_day_and_tray": Target("below", 1, ONE_GROWER),
    "most_in_ten_minutes": Target("at most", 10, ISA),
    "crowded_pct": Target("below", 1, ISA),
    "flood_pct": Target("below", 1, FLOODS),
    # "About 80/15/5" there; read as at least for the low ones, at most for the others.
    "low_pct": Target("at least", 80, ISA),
    "medium_pct": Target("at most", 15, ISA),
    "high_pct": Target("at most", 5, ISA),
    # "One to five, at most" there.
    "frequent_pct": Target("at most", 5, ISA),
    "chattering_alarms": Target("at most", 0, CHATTER),
    "most_stale_in_a_day": Target("below", 5, ISA),
}


def met(figures: AlarmFigures, name: str) -> bool | None:
    """Return whether a figure is as it should be; None where nothing is published or there to be judged."""
    target = TARGETS.get(name)
    value = getattr(figures, name)
    if target is None or value is None:
        return None
    if name == "frequent_pct" and len(figures.raised) < FREQUENT_JUDGED_FROM:
        return None
    return target.holds(value)
