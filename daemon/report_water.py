"""The water in the trays, as people read it in a terminal."""

from collections.abc import Iterable, Iterator
from typing import Final

from wardian.daemon.record_words import DONE
from wardian.daemon.report import columns
from wardian.daemon.tongue import Tongue
from wardian.daemon.water_now import MASS, WaterNow
from wardian.rules.observing.balance import BUMPED, PULLED, Weighed
from wardian.rules.observing.looks import Care
from wardian.rules.plans import Masses
from wardian.rules.quantities import QUANTITIES
from wardian.rules.water import HoursLeft, Rate, available_g

_HEADING: Final = ("tray", "now", "lost", "at most", "dries by", "next watering", "last watering")
_ON_BALANCE: Final = {PULLED: "Something light taken out, as a cutting", BUMPED: "Bump, or a thing laid down"}
_DAY_H: Final = 24


def bench_lines(tongue: Tongue, trays: Iterable[WaterNow]) -> Iterator[str]:
    """Yield a line for each tray."""
    yield from columns([_HEADING, *(_row(tongue, tray) for tray in trays)])


def tray_lines(tongue: Tongue, tray: WaterNow) -> Iterator[str]:
    """Yield all that is known of the water in one tray."""
    tray_name, now, lost, most, rate, due, watered = _row(tongue, tray)
    yield f"{tray_name}: {now}"
    if tray.masses:
        yield f"  weighs {_masses(tongue, tray.masses)}"
        available = available_g(tray.masses.saturated_g, tray.masses.dry_g)
        yield f"  of the water it holds, plants can take up {_mass(tongue, available)}"
    else:
        yield "  nobody said what it weighs full and dry: see wardian water weigh"
    yield f"  water lost: {lost} ({most} in this stage)"
    yield f"  dries by: {rate}{_seen_for(tray.rate)}"
    yield f"  next watering: {due}{', if nobody mists' if tray.left else ''}"
    yield f"  last watering: {watered}"
    if tray.cover_is_off:
        yield "  the cover is off: its weight is missing, so the tray seems to have lost too much"
    if tray.weighings:
        yield "  was found to weigh"
        yield from (f"    {line}" for line in _weighings(tongue, tray))
    if tray.seen:
        yield "  in the last three days"
        yield from (f"    {tongue.moment(one.from_ms)}  {_seen(one)}" for one in tray.seen)


def _row(tongue: Tongue, tray: WaterNow) -> tuple[str, ...]:
    value = "unknown"
    if tray.by and tray.value is not None:
        value = tongue.value(QUANTITIES[tray.by], tray.value)
    return (
        tray.tray,
        value,
        _lost(tray),
        "no limit" if tray.limit_pct is None else f"{tray.limit_pct:.0f} %",
        _rate(tray.rate, "g" if tray.by == MASS else "%"),
        _due(tray.left),
        "not seen" if tray.watered_ms is None else tongue.moment(tray.watered_ms),
    )


def _lost(tray: WaterNow) -> str:
    if tray.lost_pct is None:
        return "unknown"
    is_estimated = tray.by == MASS and tray.masses and tray.masses.is_estimated
    return f"{tray.lost_pct:z.0f} %{' estimated' if is_estimated else ''}"


def _rate(rate: Rate | None, unit: str) -> str:
    if rate is None:
        return "unknown"
    return f"{rate.per_h:.1f} {unit} an hour ({rate.slow_per_h:.1f} to {rate.fast_per_h:.1f})"


def _seen_for(rate: Rate | None) -> str:
    return f", seen in {rate.hours:.0f} h without care" if rate else ""


def _due(left: HoursLeft | None) -> str:
    """Return in how many days the next watering is due, from the soonest to the latest."""
    if left is None:
        return "unknown"
    if left.soonest is None or left.likely is None:
        return "not foreseen: it hardly dries"
    if left.likely == 0:
        return "due now"
    latest = "" if left.latest is None else f" to {_days(left.latest)}"
    likely, soonest = _days(left.likely), _days(left.soonest)
    return f"in {likely} days ({soonest}{latest or ' or more'})"


def _days(hours: float) -> str:
    days = hours / _DAY_H
    return f"{days:.1f}" if days < 10 else f"{days:.0f}"


def _weighings(tongue: Tongue, tray: WaterNow) -> Iterator[str]:
    for masses, who, record in tray.weighings:
        by = f"{who} (record {record})" if record else "configuration"
        yield f"{tongue.moment(masses.from_ms)}  {_masses(tongue, masses)}, {by}"


def _masses(tongue: Tongue, masses: Masses) -> str:
    estimated = " (estimated)" if masses.is_estimated else ""
    return f"{_mass(tongue, masses.saturated_g)} full, {_mass(tongue, masses.dry_g)} dry{estimated}"


def _mass(tongue: Tongue, grams: float) -> str:
    return tongue.value(QUANTITIES[MASS], grams)


def _seen(one: Care | Weighed) -> str:
    if isinstance(one, Care):
        return DONE[one.event] + (", recorded" if one.is_recorded else "")
    return f"{_ON_BALANCE[one.event]}, {one.grams:+.0f} {QUANTITIES[MASS].unit}"
