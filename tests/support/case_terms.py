"""The words in which worked examples of the rules are written: minutes, bands, readings, journals."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.plans import LampRule, TrayPlan
from wardian.rules.readings import Reading

MINUTE_MS = 60_000
HOUR_MS = 3_600_000

#: Time, tray, quantity, limit or condition, event.
Expected: TypeAlias = tuple[int, str, str, str, str]
#: Value, threshold, stage, since.
Detail: TypeAlias = tuple[float | None, float | None, str | None, int]


@dataclass(frozen=True)
class Case:
    """One worked example: what arrives and, written by hand, what is printed.

    ``details``, where given, says more about each line of ``expected``.
    """

    name: str
    plans: Sequence[TrayPlan]
    readings: Sequence[Reading]
    end_ms: int
    expected: Sequence[Expected] = ()
    refused: Sequence[tuple[int, str, str]] = ()
    details: Sequence[Detail] | None = None


def minutes(count: float, plus_ms: int = 0) -> int:
    return round(count * MINUTE_MS) + plus_ms


def hours(count: float, plus_ms: int = 0) -> int:
    return round(count * HOUR_MS) + plus_ms


def high(threshold: float, deadband: float = 1.0, *, on_ms: int = 0, off_ms: int = 0) -> Limit:
    return Limit("high", threshold, threshold - deadband, on_ms, off_ms)


def low(threshold: float, deadband: float = 1.0, *, on_ms: int = 0, off_ms: int = 0) -> Limit:
    return Limit("low", threshold, threshold + deadband, on_ms, off_ms)


def urgent(limit: Limit) -> Limit:
    return limit._replace(name=f"{limit.name}_{limit.name}")


def stage(name: str, **limits: Limit | Sequence[Limit]) -> Stage:
    """A stage by its bands: one limit, or several, for each quantity."""
    bands = {}
    for quantity, some in limits.items():
        bands[quantity] = Band(quantity, (some,) if isinstance(some, Limit) else tuple(some))
    return Stage(name, 0, bands)


def plan(
    *spans: tuple[int, Stage],
    tray: str = "tray-a",
    hold_ms: int = 5 * MINUTE_MS,
    lamp: LampRule | None = None,
    silent: Mapping[str, int] | None = None,
) -> TrayPlan:
    return TrayPlan(tray, tuple(StageSpan(*span) for span in spans), hold_ms, lamp, silent or {})


def warm(*limits: Limit, **settings: int) -> TrayPlan:
    """One tray whose only stage, from the first instant on, has this band of air temperature."""
    return plan((0, stage("callusing", air_temperature=limits)), **settings)  # type: ignore[arg-type] # all int


def series(quantity: str, points: Iterable[tuple[int, float]], tray: str = "tray-a") -> list[Reading]:
    return [Reading(time_ms, tray, quantity, value) for time_ms, value in points]


def air(*points: tuple[float, float], tray: str = "tray-a") -> list[Reading]:
    """Readings of air temperature by minute."""
    return series("air_temperature", ((minutes(minute), value) for minute, value in points), tray)


def humid(*points: tuple[float, float], tray: str = "tray-a") -> list[Reading]:
    """Readings of relative humidity by minute."""
    return series("relative_humidity", ((minutes(minute), value) for minute, value in points), tray)


def raised(
    time_ms: int, what: str = "high", quantity: str = "air_temperature", tray: str = "tray-a"
) -> Expected:
    return time_ms, tray, quantity, what, "raised"


def returned(
    time_ms: int, what: str = "high", quantity: str = "air_temperature", tray: str = "tray-a"
) -> Expected:
    return time_ms, tray, quantity, what, "returned"
