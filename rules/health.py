"""What was not heard, and what cannot be true: alarms about sensors rather than about the crop."""

from dataclasses import dataclass, field
from typing import Any, Final, NamedTuple

import numpy as np

from wardian.rules.judging import Stand
from wardian.rules.readings import Times

#: How long a sensor must go without a refused reading before it is believed again. Chosen so that a
#: loose contact, which gives good and bad values in turn, is one alarm and not a hundred.
TRUSTED_AGAIN_MS: Final = 600_000


class SensorChange(NamedTuple):
    """An alarm about a sensor raised (or returned) at an instant, and since when it was so."""

    time_ms: int
    raised: bool
    since_ms: int


@dataclass(slots=True)
class Silence:
    """Whether one expected series has gone silent."""

    delay_ms: int
    raised: bool = False
    #: From when a series that was never heard is missed; None until somebody waits for it.
    missed_from_ms: int | None = None

    def listen(self, hold_ms: int, before: Stand | None, times: Times, to_ms: int) -> list[SensorChange]:
        """Step over the times of accepted readings; tell the changes before ``to_ms``."""
        changes: list[SensorChange] = []
        unknown_ms = before.from_ms + hold_ms if before else self.missed_from_ms
        if len(times):
            self._heard(unknown_ms, int(times[0]), changes)
            if len(times) > 1:
                ended = times[:-1] + hold_ms
                for place in np.flatnonzero((times[1:] > ended) & (times[1:] >= ended + self.delay_ms)):
                    self._heard(int(ended[place]), int(times[place + 1]), changes)
            unknown_ms = int(times[-1]) + hold_ms
        if unknown_ms is not None and not self.raised and unknown_ms + self.delay_ms < to_ms:
            self.raised = True
            changes.append(SensorChange(unknown_ms + self.delay_ms, True, unknown_ms))
        return changes

    def _heard(self, unknown_ms: int | None, heard_ms: int, changes: list[SensorChange]) -> None:
        if unknown_ms is None:
            return
        if not self.raised:
            if heard_ms <= unknown_ms or heard_ms < unknown_ms + self.delay_ms:
                return
            changes.append(SensorChange(unknown_ms + self.delay_ms, True, unknown_ms))
        self.raised = False
        changes.append(SensorChange(heard_ms, False, heard_ms))


@dataclass(slots=True)
class Implausible:
    """Whether one series has given values that no working sensor gives."""

    raised: bool = False
    last_ms: int = 0
    #: Refused readings that are not judged yet.
    pending_ms: list[int] = field(default_factory=list)

    def doubt(self, times: Times, to_ms: int) -> list[SensorChange]:
        """Step over refused and accepted readings before ``to_ms``; tell the changes."""
        if not (self.raised or self.pending_ms):
            return []
        changes: list[SensorChange] = []
        due = sorted(time_ms for time_ms in self.pending_ms if time_ms < to_ms)
        self.pending_ms = [time_ms for time_ms in self.pending_ms if time_ms >= to_ms]
        for time_ms in due:
            self._believe(times, time_ms, changes)
            if not self.raised:
                self.raised = True
                changes.append(SensorChange(time_ms, True, time_ms))
            self.last_ms = time_ms
        self._believe(times, to_ms, changes)
        return changes

    def _believe(self, times: Times, before_ms: int, changes: list[SensorChange]) -> None:
        if not self.raised:
            return
        place = int(times.searchsorted(self.last_ms + TRUSTED_AGAIN_MS))
        if place < len(times) and times[place] < before_ms:
            self.raised = False
            changes.append(SensorChange(int(times[place]), False, int(times[place])))

    def as_row(self) -> list[Any]:
        """Return the state as plain values."""
        return [self.raised, self.last_ms, self.pending_ms]
