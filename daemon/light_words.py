"""Light in a person's words: a day's hours and photons, and what its lamp does."""

from typing import Final

from wardian.daemon.light_seen import LightSeen
from wardian.daemon.tongue import Tongue, by_factor
from wardian.rules.light_days import LightDay, Photons
from wardian.rules.quantities import QUANTITIES

#: Less than this is the pause between two readings. [h]
_UNKNOWN_H: Final = 0.05
#: Less than this shows as none. [mol m⁻²]
_NO_PHOTONS: Final = 0.05


def day_words(day: LightDay, lux_per_umol: float | None) -> str:
    """Return a day's light: ``18.0 h lit, 6.0 h dark, 4.3 mol m⁻² (an estimate by 70 lx per µmol)``."""
    told = []
    if day.lit_h + day.dark_h >= _UNKNOWN_H or day.photons is None:
        told += [f"{day.lit_h:.1f} h lit", f"{day.dark_h:.1f} h dark"]
        told += [f"{day.unknown_h:.1f} h unknown"] if day.unknown_h >= _UNKNOWN_H else []
    if day.photons is not None:
        told.append(_photons(day.photons, lux_per_umol))
    return ", ".join(told)


def light_lines(light: LightSeen, tongue: Tongue) -> list[str]:
    """Return a tray's light, a line each for today, yesterday and the lamp."""
    lines = [f"light of yesterday: {day_words(light.yesterday, light.lux_per_umol)}"]
    if light.today is not None:
        lines.insert(0, f"light of today so far: {day_words(light.today, light.lux_per_umol)}")
    if light.lamp is not None:
        level = tongue.value(QUANTITIES[light.lamp.quantity], light.lamp.level)
        now = "unknown now" if light.share_pct is None else f"now at {light.share_pct:.0f} % of it"
        lines.append(f"lamp: usually {level}, {now}")
    return lines


def _photons(photons: Photons, lux_per_umol: float | None) -> str:
    told = f"{photons.measured:.1f} mol m⁻²"
    if photons.may_add is None:
        told = "photons unknown"
    elif photons.may_add >= _NO_PHOTONS:
        told += f" seen and up to {photons.may_add:.1f} unseen"
    return told + by_factor(lux_per_umol)
