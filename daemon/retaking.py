"""What trays weigh full, put on record by the daemon itself after each thorough watering.

The rule of this file: a watering is looked at once; what a person withdraws of it does not come back.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Final

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.weighing import BY_ITSELF, SATURATED
from wardian.rules.observing.drained import drained_since
from wardian.rules.observing.observer import TrayObserver
from wardian.rules.ports import Store
from wardian.rules.records import MASSES, Record

#: The note that says up to when the waterings of each tray were looked at.
NOTE: Final = "drained"
_WHY: Final = "drained for an hour after a thorough watering"


class Retaking:
    """Takes part in the rounds with what trays weigh after waterings."""

    def __init__(self, store: Store, trays: Mapping[str, TrayObserver]) -> None:
        """Go on after the last watering that an earlier run looked at."""
        self._trays = trays
        self._seen_ms: dict[str, int] = dict(store.notes().get(NOTE, {}))
        #: Whether what is known is what happened, and when: what is on record keeps its time for good.
        self.is_ready: Callable[[], bool] = lambda: True

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return what trays were seen to weigh full since the last round, as records."""
        if not self.is_ready():
            return Extra()
        records = [record for name in self._trays for record in self._of(name, now_ms)]
        return Extra(records=records, notes={NOTE: dict(self._seen_ms)}) if records else Extra()

    def _of(self, name: str, now_ms: int) -> Iterator[Record]:
        tray = self._trays[name]
        masses = tray.plan.masses
        if not masses or not tray.plan.retakes_mass or tray.minutes.now_ms is None:
            return
        since_ms = max(self._seen_ms.get(name, 0), masses[-1].from_ms)
        for at_ms, saturated_g in drained_since(tray.look(), since_ms):
            self._seen_ms[name] = at_ms
            fields = {SATURATED: round(saturated_g, 1)}
            yield Record(MASSES, at_ms, now_ms, name, who=BY_ITSELF, why=_WHY, fields=fields)

    def committed(self) -> None:
        """Do nothing: a record waits for nothing."""
