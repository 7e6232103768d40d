"""The trays of a configuration, each with what it has of its own and what it takes from the site."""

from collections.abc import Collection
from dataclasses import dataclass
from fractions import Fraction

from wardian.daemon.config_crops import hint_of_crop
from wardian.daemon.config_models import AccuracyKeys, LightKeys, TrayKeys
from wardian.daemon.config_types import Light
from wardian.daemon.lamps import NoSuchLamp, known_lamps
from wardian.daemon.library import Library
from wardian.daemon.written import Written
from wardian.rules.amounts import exact_amount, split_amount
from wardian.rules.documents import Path, shown
from wardian.rules.plans import LampRule
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import WATCH


@dataclass(frozen=True, slots=True)
class TrayPart:
    """A tray as written, where it stands, and when its lamp counts as lit."""

    path: Path
    keys: TrayKeys
    lamp: LampRule | None
    #: Minutes after midnight at which the lamp is switched on and off, where that is written.
    lamp_day: tuple[int, int] | None
    #: The illuminance of one µmol m⁻² s⁻¹ of the lamp's light, where that is written.
    lux_per_umol: float | None


def read_trays(
    written: Written, crops: Collection[str], site_light: LightKeys | None, library: Library
) -> list[TrayPart]:
    """Return the trays that can be used; what is wrong with the others is noted."""
    paths = written.items(("trays",))
    if not paths:
        written.mistake(("trays",), "is missing", "a list with at least one tray is accepted")
    read = [(path, keys) for path in paths if (keys := written.read(TrayKeys, path)) is not None]
    _refuse_repeated(written, read)
    for path, keys in read:
        if keys.name == WATCH:
            written.mistake(
                (*path, "name"),
                f"{shown(WATCH)} stands for the watch itself in alarms",
                "choose another name",
            )
        if keys.crop not in crops:
            problem = f"{shown(keys.crop)} is none of the crops"
            written.mistake((*path, "crop"), problem, hint_of_crop(keys.crop, crops, library))
    light = site_light or LightKeys()
    return [
        TrayPart(
            path,
            keys,
            _lamp(written, path, keys.light, light, library),
            _lamp_day(keys.light, light),
            _factor(written, path, keys.light, light, library),
        )
        for path, keys in read
    ]


def accuracies(own: AccuracyKeys, site: AccuracyKeys, library: Library) -> dict[str, float]:
    """Return how accurate a tray's sensors are, by quantity: its own, else the site's, else the library's."""
    written = {
        name: getattr(site, name) if getattr(own, name) is None else getattr(own, name)
        for name in AccuracyKeys.model_fields
    }
    return {
        name: float(library.accuracy_of(name) if accuracy is None else accuracy)
        for name, accuracy in written.items()
    }


def _refuse_repeated(written: Written, trays: list[tuple[Path, TrayKeys]]) -> None:
    first: dict[str, Path] = {}
    for path, keys in trays:
        if keys.name in first:
            line = written.document.line((*first[keys.name], "name"))
            written.mistake(
                (*path, "name"), f"{shown(keys.name)} is the name of the tray on line {line}, too"
            )
        first.setdefault(keys.name, path)


def _lamp(written: Written, path: Path, own: LightKeys, site: LightKeys, library: Library) -> LampRule | None:
    """Return when a tray's lamp counts as lit: key by key its own, else the site's, else the library's."""
    above = own.lit_above or site.lit_above or default_light(library)
    place = (*path, "light", "lit_deadband")
    deadband = own.lit_deadband
    if deadband is None and own.lit_above is None:
        place, deadband = ("light", "lit_deadband"), site.lit_deadband
    elif deadband is None and site.lit_deadband and site.lit_deadband.quantity in ("", above.quantity):
        deadband = site.lit_deadband
    if deadband is None:
        return _rule(above, above.amount * _share(library))
    if deadband.quantity not in ("", above.quantity):
        written.mistake(
            place,
            f"is {deadband.quantity}, but lit_above is {above.quantity}",
            "one kind of light is accepted",
        )
        return None
    if deadband.amount > above.amount:
        written.mistake(place, "is more than lit_above: the lamp would never count as dark")
        return None
    return _rule(above, deadband.amount)


def _lamp_day(own: LightKeys, site: LightKeys) -> tuple[int, int] | None:
    keys = own if own.on else site
    if keys.on is None or keys.off is None:
        return None
    return keys.on.hour * 60 + keys.on.minute, keys.off.hour * 60 + keys.off.minute


def _factor(written: Written, path: Path, own: LightKeys, site: LightKeys, library: Library) -> float | None:
    """Return the lux of one µmol m⁻² s⁻¹ of a tray's lamp: its own, else the site's; None where nobody said."""
    has_own = own.lamp is not None or own.lux_per_umol is not None
    keys, place = (own, (*path, "light", "lamp")) if has_own else (site, ("light", "lamp"))
    if keys.lamp is None:
        return None if keys.lux_per_umol is None else float(keys.lux_per_umol)
    try:
        return known_lamps(library.parse).named(keys.lamp).lux_per_umol
    except NoSuchLamp as error:
        written.mistake(place, error.problem, error.hint)
        return None


def default_light(library: Library) -> Light:
    """Return above which light a lamp counts as lit where nothing is written."""
    return Light("illuminance", exact_amount(library.general["lit_above"].text, "illuminance"))


def _share(library: Library) -> Fraction:
    number, _ = split_amount(library.general["lit_deadband"].text)
    return Fraction(number) / 100


def _rule(above: Light, deadband: Fraction) -> LampRule:
    assert above.quantity in QUANTITIES
    return LampRule(above.quantity, float(above.amount), float(above.amount - deadband))
