"""What a condition looks at, and what it says: the minutes of one tray, its plan, and the care it was given.

The rule of this file: a condition hangs on nothing but the last three days of minutes and its own short
memory, so that it is found again after a restart by letting those days pass once more.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Final, NamedTuple, Protocol

from wardian.rules import care_given
from wardian.rules.crops import stage_at
from wardian.rules.evidence import Evidence
from wardian.rules.observing.cover import Lift
from wardian.rules.observing.minutes import Minutes
from wardian.rules.observing.usual import Learned, Usual
from wardian.rules.plans import TrayPlan

#: What a person does at a tray, as it is recorded or shows in the traces.
LIFTED: Final = care_given.LIFTED
MISTED: Final = care_given.MISTED
WATERED: Final = care_given.WATERED
#: Not care of the cuttings: it was used near the humidity probe, which it makes drift for good.
ALCOHOL: Final = care_given.ALCOHOL


class Care(NamedTuple):
    """Something done at a tray, from an instant to another; ``to_ms`` moves on while a cover is still off.

    ``grams`` is the water that it brought, where somebody put that on record.
    """

    event: str
    from_ms: int
    to_ms: int
    is_recorded: bool = False
    grams: float | None = None


@dataclass(slots=True)
class Look:
    """One tray at the end of a minute.

    Attributes:
        plan: How it is meant to be.
        minutes: What its probes showed until now.
        care: What was done at it in the last three days, recorded or seen, in order of beginning.
        now_ms: The end of the last closed minute.
        standing: Conditions of this tray that stand, by name, with the evidence of one of that name; those judged
            before this one in the same minute are up to date.
        learned: What was learned about the tray, once an hour.
        lift: The last time that its cover was lifted, None where it never was.
    """

    plan: TrayPlan
    minutes: Minutes
    care: Sequence[Care]
    now_ms: int
    standing: Mapping[str, Evidence]
    learned: Learned = field(default_factory=Learned)
    lift: Lift | None = None

    @property
    def usual(self) -> Usual:
        """What is usual at this tray."""
        return self.learned.of(self.plan, self.minutes)

    def last_care(self, *events: str) -> Care | None:
        """Return the last care of some kinds, of any kind where none is named."""
        wanted = events or (LIFTED, MISTED, WATERED)
        return next((one for one in reversed(self.care) if one.event in wanted), None)

    @property
    def has_roots(self) -> bool:
        """Whether roots are expected: in every stage but the first."""
        spans = self.plan.spans
        return bool(spans) and stage_at(spans, self.now_ms) not in (None, spans[0].stage)

    def figure(self, condition: str, name: str) -> float:
        """Return a figure of a condition as it is configured: ms for a length of time, else its own unit."""
        return self.plan.figures[condition][name]


class Abnormal(NamedTuple):
    """The condition holds: since when, with what evidence, and the value that shows it."""

    since_ms: int
    evidence: Evidence
    value: float | None = None
    threshold: float | None = None


class Unchanged:
    """Nothing can be said now; what was said before stays."""


UNCHANGED: Final = Unchanged()
#: The condition does not hold.
NORMAL: Final = None
Verdict = Abnormal | Unchanged | None


class Condition(Protocol):
    """Something that may be wrong with a tray or its sensors, other than a limit; one for each tray.

    Of one name there may be several in a tray, each with a quantity of its own.
    """

    @property
    def name(self) -> str:
        """Its name among the alarms."""

    @property
    def every(self) -> int:
        """How many minutes lie between two looks."""

    @property
    def quantity(self) -> str:
        """The quantity that its alarm stands under."""

    def judge(self, look: Look) -> Verdict:
        """Return whether it holds now; called at the end of each minute that ``every`` divides."""


#: Makes a condition anew for a tray: its class, or that with the quantity it is about.
ConditionMaker = Callable[[], Condition]
