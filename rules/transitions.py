"""What the engine has to say: an alarm was raised, or the value returned to normal."""

from typing import NamedTuple

from wardian.rules.evidence import Evidence

#: Alarms about a sensor rather than about a limit.
SENSOR_SILENT = "sensor-silent"
SENSOR_IMPLAUSIBLE = "sensor-implausible"

#: A notice that a value will pass a limit: its value and threshold say which way.
HEADING_OUT = "heading-out"

#: Stands where other alarms name their tray, for what goes wrong with the watch itself; no tray may have this name.
WATCH = "wardian"

RAISED = "raised"
RETURNED = "returned"


class Transition(NamedTuple):
    """One change of one alarm, at an exact instant.

    ``limit`` is None where the alarm is about the sensor; ``value`` (own unit) where nothing stands
    at that instant; ``threshold`` where no limit is meant; ``stage`` outside every stage.
    ``condition`` is ``limit`` for an alarm about a limit, else the name of the sensor alarm.
    ``uncertainty`` is the expanded one of ``value``, None where nobody knows it; ``in_doubt`` says that the
    alarm was raised by less than that. ``evidence`` is what was seen, for an alarm about a condition of the traces.
    """

    time_ms: int
    tray: str
    quantity: str
    limit: str | None
    event: str
    condition: str
    value: float | None
    threshold: float | None
    stage: str | None
    since_ms: int
    uncertainty: float | None = None
    in_doubt: bool = False
    evidence: Evidence | None = None

    @property
    def alarm(self) -> tuple[str, str, str]:
        """Which alarm this is a change of; two of them with one alarm are a raise and its return."""
        return self.tray, self.quantity, self.limit or self.condition

    @property
    def side(self) -> str | None:
        """Which limits it is about: ``low`` or ``high``; None where it is about none."""
        if self.limit is not None:
            return self.limit.partition("_")[0]
        if self.condition != HEADING_OUT or self.value is None or self.threshold is None:
            return None
        return "high" if self.value < self.threshold else "low"

    @property
    def order(self) -> tuple[int, str, str, str, bool]:
        """The order of the journal: time, tray, quantity, limit, raised before returned."""
        return self.time_ms, self.tray, self.quantity, self.limit or self.condition, self.event != RAISED
