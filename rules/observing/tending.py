"""What people did not do: a round that was left out, a look for roots that is due; and the rot that they saw."""

from typing import ClassVar, Final

import numpy as np

from wardian.rules.evidence import Evidence, moment, span
from wardian.rules.observing.looks import NORMAL, UNCHANGED, Abnormal, Look, Verdict
from wardian.rules.observing.minutes import MINUTE_MS
from wardian.rules.staging import STAGE_OVERDUE

NOT_TENDED: Final = "not-tended"
PAST_DUE: Final = "past-due"
MOULD_SEEN: Final = "mould-seen"
_HUMIDITY: Final = "relative_humidity"
#: How much of the time humidity must be known, or nobody could have seen care.
_KNOWN: Final = 0.9


class NotTended:
    """Nobody aired or misted cuttings without roots for most of a day."""

    name: ClassVar[str] = NOT_TENDED
    quantity: ClassVar[str] = _HUMIDITY
    every: ClassVar[int] = 10

    def judge(self, look: Look) -> Verdict:
        """Hold while care that shows in this tray's traces has not been seen for long."""
        last = look.last_care()
        if look.has_roots or (last and look.now_ms - last.to_ms <= look.figure(self.name, "after")):
            return NORMAL
        long = int(look.figure(self.name, "after")) // MINUTE_MS
        air = look.minutes.trace(_HUMIDITY, long).mean
        if last is None or np.count_nonzero(~np.isnan(air)) < _KNOWN * long:
            return UNCHANGED  # care may never be visible here, or was not these hours
        evidence = Evidence(
            "no airing or misting was recorded or has shown in humidity or weight since {}, {} ago",
            (moment(last.to_ms), span(look.now_ms - last.to_ms)),
        )
        return Abnormal(last.to_ms, evidence)


class PastDue:
    """Roots should have shown by now; only a look at the cuttings can tell."""

    name: ClassVar[str] = PAST_DUE
    #: The warmth that rooting hangs on most; the alarm is about the cuttings themselves.
    quantity: ClassVar[str] = "medium_temperature"
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        """Hold from the midnight after the day by which roots are expected, for good."""
        due_ms = look.plan.due_ms
        if due_ms is None or look.now_ms < due_ms:
            return NORMAL
        return Abnormal(due_ms, Evidence("roots were expected before {}", (moment(due_ms),)))


class MouldSeen:
    """Somebody saw mould or rot, which no probe can see."""

    name: ClassVar[str] = MOULD_SEEN
    #: The humidity that it lives on; the alarm is about the cuttings themselves.
    quantity: ClassVar[str] = _HUMIDITY
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        """Hold from when it was seen until a later look at the leaves finds it gone."""
        seen_ms = look.plan.rot_seen_ms
        if seen_ms is None or look.now_ms < seen_ms:
            return NORMAL
        return Abnormal(seen_ms, Evidence("mould or rot was seen {}", (moment(seen_ms),)))


class StageOverdue:
    """The stage lasts longer than planned; only the grower can tell whether that is meant."""

    name: ClassVar[str] = STAGE_OVERDUE
    quantity: ClassVar[str] = "medium_temperature"
    every: ClassVar[int] = 1

    def judge(self, look: Look) -> Verdict:
        """Hold from the instant by which the stage was to be over until somebody does something about it."""
        now_ms, plan = look.now_ms, look.plan
        late = [from_ms for from_ms, to_ms in plan.was_overdue if from_ms <= now_ms < to_ms]
        late += [plan.overdue_ms] if plan.overdue_ms is not None and plan.overdue_ms <= now_ms else []
        if not late:
            return NORMAL
        return Abnormal(late[-1], Evidence("this stage was to be over by {}", (moment(late[-1]),)))
