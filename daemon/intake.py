"""What arrived becomes readings, or is refused and kept with the reason.

The rule of this file: nothing is dropped without a trace, and a refused reading judges nothing.
"""

from collections.abc import Callable, Collection, Iterable, Iterator
from typing import Final, NamedTuple

from wardian.daemon.guarded import Slips
from wardian.rules.ports import Arrival, Decoded, Measured, Refused, Stranger
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.readings import Reading
from wardian.rules.units import UNITS, Unit, in_own_unit, unit_named

#: A time further ahead of our clock than this is a wrong clock, ours or the sensor's.
AHEAD_MS: Final = 300_000
#: While nobody knows what time it is, a time further ahead than this is not believed to be wrong: ours is.
_UNSURE_AHEAD_MS: Final = 5_000
_OWN: Final = Unit()


class _Plain(NamedTuple):
    """A quantity in its own unit: the possible values."""

    low: float
    high: float


#: Quantity and a written form of its own unit → what is possible: most of what arrives is one of these.
_PLAIN: Final = {
    (quantity.name, written): _Plain(quantity.possible_low, quantity.possible_high)
    for quantity in QUANTITIES.values()
    if not quantity.derived
    for written in ("", *(name for name, unit in UNITS[quantity.dimension].items() if unit == _OWN))
}


class Intake:
    """Takes arrivals apart, with the units, bounds and trays that the configuration knows."""

    def __init__(self, trays: Collection[str], slips: Slips) -> None:
        """Accept readings of these trays only; count by ``slips`` what a sensor cannot take apart."""
        self._trays = frozenset(trays)
        self._slips = slips
        #: Hears of each message that says its own time: of a sensor and a tray, when it came, its newest own time.
        self.on_own_time: Callable[[tuple[str, str], int, int], None] | None = None

    def take(
        self, arrivals: Iterable[Arrival], now_ms: int, *, knows_time: bool = True
    ) -> tuple[list[Reading], list[Refused]]:
        """Return the readings of some arrivals in their order, and what was refused.

        Where nobody knows what time it is, what says to come from ahead is dated by its arrival.
        """
        readings: list[Reading] = []
        refused: list[Refused] = []
        trays, latest_ms = self._trays, now_ms + AHEAD_MS
        for arrival in arrivals:
            decoded = self._decoded(arrival)
            refused += decoded.refused
            self._hear_own_times(arrival, decoded)
            if not knows_time:
                decoded.measured = [_dated_by_arrival(one, arrival) for one in decoded.measured]
            for measured in decoded.measured:
                time_ms, tray, name, value, unit = measured
                if time_ms is None:
                    time_ms = arrival.received_ms
                plain = _PLAIN.get((name, unit))
                if (
                    plain
                    and type(value) is float
                    and plain.low <= value <= plain.high
                    and tray in trays
                    and time_ms <= latest_ms
                ):
                    readings.append(Reading(time_ms, tray, name, value + 0.0))
                    continue
                outcome = self._looked_at(measured, arrival, now_ms)
                (readings if isinstance(outcome, Reading) else refused).append(outcome)  # type: ignore[arg-type]  # each list takes its own kind
        return readings, refused

    def _hear_own_times(self, arrival: Arrival, decoded: Decoded) -> None:
        own = [(one.time_ms, one.tray) for one in decoded.measured if one.time_ms is not None]
        if own and self.on_own_time:
            time_ms, tray = max(own)
            if tray in self._trays:
                self.on_own_time((arrival.sensor.name, tray), arrival.received_ms, time_ms)

    def _decoded(self, arrival: Arrival) -> Decoded:
        """Return what an arrival meant; one that breaks its sensor must not come again for ever."""
        sensor = arrival.sensor
        why = "it cannot be taken apart, for an error inside wardian"
        broken = Decoded(refused=[Refused(sensor.name, why, "")])
        decoded: Decoded = self._slips.try_(
            f"{sensor.name} (decode)", sensor.decode, arrival, otherwise=broken
        )
        return decoded

    def _looked_at(self, measured: Measured, arrival: Arrival, now_ms: int) -> Reading | Refused:
        """Return the reading of what is not plain, or why there is none."""
        time_ms, tray, name, written, _ = measured
        time_ms = arrival.received_ms if time_ms is None else time_ms
        quantity = QUANTITIES.get(name)
        value: float | None = None
        why = ""
        if tray not in self._trays:
            why = f"tray {tray!r} is not in the configuration"
        elif quantity is None or quantity.derived:
            why = f"{name!r} is not a quantity that is read"
        elif time_ms > now_ms + AHEAD_MS:
            why = "its time is more than 5 min ahead of the clock"
        else:
            value = self._own(quantity, measured)
            why = (
                f"{written!r} {measured.unit} is not a number of {name}".replace("  ", " ")
                if value is None
                else quantity.why_impossible(value)
            )
        if not why and value is not None:
            return Reading(time_ms, tray, name, value)
        refusal = _refusal(measured, arrival, why, time_ms=min(time_ms, now_ms))
        return Stranger(*refusal) if tray not in self._trays or quantity is None else refusal

    @staticmethod
    def _own(quantity: Quantity, measured: Measured) -> float | None:
        unit = unit_named(quantity.dimension, measured.unit) if measured.unit else _OWN
        if unit is None:
            return None
        try:
            return in_own_unit(measured.value, unit)
        except ValueError:
            return None


def _dated_by_arrival(measured: Measured, arrival: Arrival) -> Measured:
    is_ahead = measured.time_ms is not None and measured.time_ms > arrival.received_ms + _UNSURE_AHEAD_MS
    return measured._replace(time_ms=None) if is_ahead else measured


def _refusal(measured: Measured, arrival: Arrival, why: str, *, time_ms: int) -> Refused:
    raw = f"{measured.value} {measured.unit}".strip()
    return Refused(arrival.sensor.name, why, raw, time_ms, measured.tray, measured.quantity)


def doubted(
    refused: Iterable[Refused], trays: Collection[str], now_ms: int
) -> Iterator[tuple[int, str, str]]:
    """Yield time, tray and quantity of the refused readings that cast doubt on a known sensor."""
    for one in refused:
        if one.tray is not None and one.tray in trays and one.quantity in QUANTITIES:
            time_ms = now_ms if one.time_ms is None else min(one.time_ms, now_ms)
            yield time_ms, one.tray, one.quantity
