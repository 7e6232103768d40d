"""What arrived becomes readings, or is refused and kept with the reason.

The rule of this file: nothing is dropped without a trace, and a refused reading judges nothing.
"""

from collections.abc import Collection, Iterable, Iterator
from typing import Final, NamedTuple

from wardian.daemon.guarded import Slips
from wardian.rules.ports import Arrival, Decoded, Measured, Refused, Stranger
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.readings import Reading
from wardian.rules.units import UNITS, Unit, in_own_unit, unit_named

#: A time further ahead of our clock than this is a wrong clock, ours or the sensor's.
AHEAD_MS: Final = 300_000
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

    def take(self, arrivals: Iterable[Arrival], now_ms: int) -> tuple[list[Reading], list[Refused]]:
        """Return the readings of some arrivals in their order, and what was refused."""
        readings: list[Reading] = []
        refused: list[Refused] = []
        trays, latest_ms = self._trays, now_ms + AHEAD_MS
        for arrival in arrivals:
            decoded = self._decoded(arrival)
            refused += decoded.refused
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
