"""Every value in force, with the line it stands on or the reason of its default."""

from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass, replace
from datetime import time
from pathlib import Path as FilePath
from typing import Any, Final, cast
from urllib.parse import urlsplit

from wardian.daemon.acts import watched
from wardian.daemon.bands import RISING, band_of
from wardian.daemon.config import SECTIONS, Config, TraySettings
from wardian.daemon.config_alarms import SECTION as ALARMS
from wardian.daemon.config_models import (
    AdviceKeys,
    BandKeys,
    CropKeys,
    LightKeys,
    ReadingsKeys,
    StageKeys,
    TrayKeys,
)
from wardian.daemon.config_types import Duration
from wardian.daemon.crop_values import AIMS
from wardian.daemon.crops_in_force import crop_values, within_again
from wardian.daemon.library import Advice
from wardian.daemon.reasoned import Reasoned
from wardian.daemon.written import Section, why_default, within
from wardian.rules.amounts import duration_ms
from wardian.rules.documents import Path, dotted
from wardian.rules.quantities import QUANTITIES
from wardian.rules.units import own_unit

CROPS: Final = "crops"
_HURRIED: Final = "the simulator's clock runs faster than readings arrive"
_SELDOM: Final = "three readings must fail, and they come seldom"
_TRAY_KEYS: Final = ("light", "readings", "mass")
_ADVICE: Final = "general practice, from memory where rules/alarms.yaml names no source"


@dataclass(frozen=True, slots=True)
class Effective:
    """One value in force: ``line`` is where it was written, or None where ``why`` tells the default's reason.

    ``number`` is the value where it is one, in ``unit``: a quantity's own unit, or s for a duration.
    """

    path: str
    value: str
    line: int | None
    why: str | None
    number: float | None = None
    unit: str | None = None

    def __str__(self) -> str:
        return f"{self.path} = {self.value}"


def effective_lines(config: Config) -> Iterator[str]:
    """Yield a line a value: its path, the value and where it comes from."""
    for one in effective(config):
        source = f"{config.document.file}:{one.line}" if one.why is None else f"default: {one.why}"
        yield f"{one}  # {source}"


def effective_json(config: Config) -> dict[str, Any]:
    """Return the same for programs: an object with a list of path, value, line and why."""
    return {"file": config.document.file, "values": [asdict(one) for one in effective(config)]}


def effective(config: Config) -> Iterator[Effective]:
    """Yield every value in force, in the order of the sections."""
    for top in SECTIONS:
        if top == ALARMS:
            yield from _alarms(config)
            continue
        for path, section in config.sections.items():
            if path[0] == top and not _is_grown(config, path):
                yield from _of_section(config, path, section)
        if top == CROPS:
            yield from _crops(config)


def _of_section(config: Config, path: Path, section: Section) -> Iterator[Effective]:
    if isinstance(section, BandKeys):
        yield from _of_band(config, path, section)
    elif isinstance(section, LightKeys):
        yield from _of_light(config, path, section)
    elif isinstance(section, TrayKeys):
        yield from _of_keys(config, path, section, left_out=_TRAY_KEYS)
        yield from _of_tray(config, path, section)
    elif isinstance(section, CropKeys):
        yield from _of_keys(config, path, section, left_out=("stages",))
    elif isinstance(section, StageKeys):
        yield from _of_keys(config, path, section, left_out=("bands", "aims"))
    else:
        for inner_path, inner in within(section, path):
            yield from _of_keys(config, inner_path, inner)


def _of_keys(
    config: Config, path: Path, section: Section, left_out: Iterable[str] = ()
) -> Iterator[Effective]:
    for name in type(section).model_fields:
        value = getattr(section, name)
        if name in left_out or (name in section.model_fields_set and _holds_sections(value)):
            continue
        here = (*path, name)
        if name in section.model_fields_set:
            yield _with_number(_written(config, here, _words(config, here, value)), value)
        elif why := why_default(type(section), name):
            yield _with_number(Effective(dotted(here), _words(config, here, value), None, why), value)


def _holds_sections(value: Any) -> bool:
    inner: Iterable[Any] = (
        value.values() if isinstance(value, dict) else value if isinstance(value, tuple) else (value,)
    )
    return any(isinstance(part, Section) for part in inner)


def _written(config: Config, path: Path, value: str) -> Effective:
    return Effective(dotted(path), value, config.document.line(path), None)


def _with_number(one: Effective, value: Any) -> Effective:
    if isinstance(value, Duration):
        return replace(one, number=value / 1000, unit="s")
    return one


def _default(path: Path, value: str, reasoned: Reasoned) -> Effective:
    return Effective(dotted(path), value, None, str(reasoned))


def _words(config: Config, path: Path, value: Any) -> str:
    """Return a value as its owner would write it; an address without what may be secret in it."""
    if isinstance(value, (Duration, FilePath)):
        return str(value)
    if path[-1] == "url" and isinstance(value, str) and value.startswith("http"):
        return f"{urlsplit(value).scheme}://{urlsplit(value).hostname}/…"
    raw = config.document.at(path)
    if raw is not None and not isinstance(raw, (dict, list, bool)):
        return str(raw)
    if isinstance(value, Section):
        parts = {
            name: _words(config, (*path, name), getattr(value, name)) for name in type(value).model_fields
        }
        return _plain(parts)
    return _plain(value)


def _plain(value: Any) -> str:
    """Return a value that nobody wrote."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, time):
        return value.isoformat("minutes")
    if isinstance(value, dict):
        return ", ".join(f"{name} {part}" for name, part in value.items())
    if isinstance(value, tuple):
        return ", ".join(map(_plain, value)) or "none"
    if value is None:
        return "not set"
    return f"{value:g}" if isinstance(value, float) else str(value)


# ---------------------------------------------------------------------------------------- crops


def _is_grown(config: Config, path: Path) -> bool:
    """Return whether keys belong to a crop that takes its stages after another one: it is told as a whole."""
    return path[0] == CROPS and len(path) > 1 and not config.crops[str(path[1])].is_listed


def _crops(config: Config) -> Iterator[Effective]:
    """Yield the values that stand in no list of stages: those of the library, and those written beside them."""
    defaults = config.library.defaults
    for name, grown in config.crops.items():
        for one in crop_values(grown.values, defaults):
            if not grown.is_listed or (one.line is None and one.path in grown.values) or AIMS in one.path:
                text = one.text + within_again(one, grown.values, defaults)
                why = one.mark if one.line is None else None
                yield Effective(dotted((CROPS, name, *one.path)), text, one.line, why, one.number, one.unit)


# ---------------------------------------------------------------------------------------- bands


def _of_band(config: Config, path: Path, keys: BandKeys) -> Iterator[Effective]:
    quantity = QUANTITIES[cast("str", path[-1])]
    default = config.library.defaults[quantity.name]
    band = band_of(quantity, keys, default)
    limits = {limit.name: limit for limit in band.limits}
    for name in RISING:
        if name in limits:
            limit = limits[name]
            value = f"{limit.threshold!r} {quantity.unit}, within again at {limit.clear!r} {quantity.unit}"
            one = _written(config, (*path, name), f"{config.document.at((*path, name))} ({value})")
            yield replace(one, number=limit.threshold, unit=quantity.unit)
    for name in ("deadband", "on_delay", "off_delay"):
        here, written = (*path, name), getattr(keys, name)
        reasoned: Reasoned = getattr(default, name)
        if written is not None:
            yield _with_number(_written(config, here, _words(config, here, written)), written)
        else:
            delay = None if name == "deadband" else Duration(duration_ms(reasoned.text))
            yield _with_number(_default(here, reasoned.text, reasoned), delay)


def _of_light(config: Config, path: Path, keys: LightKeys) -> Iterator[Effective]:
    for name in ("lit_above", "lit_deadband"):
        here = (*path, name)
        if getattr(keys, name) is not None:
            yield _written(config, here, str(config.document.at(here)))
        else:
            reasoned = config.library.general[name]
            yield _default(here, reasoned.text, reasoned)
    for name in ("on", "off", "lamp", "lux_per_umol"):
        if getattr(keys, name) is not None:
            yield _written(config, (*path, name), str(config.document.at((*path, name))))


# ---------------------------------------------------------------------------------------- alarms


def _alarms(config: Config) -> Iterator[Effective]:
    """Yield what the alarms say that this configuration can raise or speaks of."""
    spoken_of = {*watched(config).values(), *(config.document.at((ALARMS,)) or {})}
    for advice in config.library.alarms():
        if advice.alarm in spoken_of:
            yield from _advice(config, advice)


def _advice(config: Config, advice: Advice) -> Iterator[Effective]:
    for name in AdviceKeys.model_fields:
        here, value = (ALARMS, advice.alarm, name), getattr(advice, name)
        if config.document.at(here) is not None:
            yield _written(config, here, value)
        else:
            yield Effective(dotted(here), _plain(value), None, _ADVICE)
    if advice.alarm in config.library.conditions:
        yield from _condition(config, advice)


def _condition(config: Config, advice: Advice) -> Iterator[Effective]:
    watch: Path = (ALARMS, advice.alarm, "watch")
    if config.document.at(watch) is not None:
        yield _written(config, watch, _plain(advice.watch))
    else:
        yield Effective(dotted(watch), _plain(advice.watch), None, _ADVICE)
    for name, figure in config.library.figures[advice.alarm].items():
        here: Path = (ALARMS, advice.alarm, "figures", name)
        if config.document.at(here) is not None:
            yield _written(config, here, figure.reasoned.text)
        else:
            yield _default(here, figure.reasoned.text, figure.reasoned)


# ---------------------------------------------------------------------------------------- trays


def _of_tray(config: Config, path: Path, keys: TrayKeys) -> Iterator[Effective]:
    tray = next(tray for tray in config.trays if tray.name == keys.name)
    if tray.plan.lamp is not None:
        quantity, lit_above, dark_at = tray.plan.lamp
        unit = QUANTITIES[quantity].unit
        value = f"lit above {lit_above!r} {unit}, dark at {dark_at!r} {unit} or less"
        yield _first_written(
            config, value, path, ("light", "lit_above"), str(config.library.general["lit_above"])
        )
    for name, milliseconds in (("hold", tray.plan.hold_ms), ("settle", tray.settle_ms)):
        why = why_default(ReadingsKeys, name)
        if name == "settle" and milliseconds != ReadingsKeys().settle:
            why = _HURRIED
        yield _first_written(config, str(Duration(milliseconds)), path, ("readings", name), why)
    if tray.plan.lux_per_umol is not None:
        yield _factor(config, path, tray.plan.lux_per_umol)
    if tray.plan.leaf_offset_k is not None:
        value = f"{tray.plan.leaf_offset_k:g} K"
        yield _first_written(config, value, path, ("readings", "leaf_offset"), "")
    yield from _silences(config, path, tray)
    yield from _accuracies(config, path, tray)
    yield from _of_keys(config, (*path, "mass"), keys.mass)


def _factor(config: Config, path: Path, lux_per_umol: float) -> Effective:
    """Return the factor of a tray's lamp with the line of what says so: its own lamp or factor, else the site's."""
    places = [(*of, "light", name) for of in (path, ()) for name in ("lamp", "lux_per_umol")]
    line = next(config.document.line(one) for one in places if config.document.at(one) is not None)
    value = f"{lux_per_umol:g} lx of one µmol m⁻² s⁻¹"
    here = dotted((*path, "light", "lux_per_umol"))
    return Effective(here, value, line, None, lux_per_umol, "lx")


def _silences(config: Config, path: Path, tray: TraySettings) -> Iterator[Effective]:
    for quantity, milliseconds in tray.plan.silent_after_ms.items():
        reasoned = config.library.defaults[quantity].silent_after
        why = str(reasoned) if milliseconds == config.library.defaults[quantity].silent_after_ms else _SELDOM
        one = _first_written(config, str(Duration(milliseconds)), path, ("readings", "silent_after"), why)
        yield Effective(f"{one.path}.{quantity}", one.value, one.line, one.why)


def _accuracies(config: Config, path: Path, tray: TraySettings) -> Iterator[Effective]:
    for name, accuracy in tray.plan.accuracies.items():
        unit = own_unit(QUANTITIES[name].difference)
        why = str(config.library.defaults[name].accuracy)
        key = ("readings", "accuracy", name)
        one = _first_written(config, f"within ± {accuracy:g} {unit}", path, key, why)
        yield replace(one, number=accuracy, unit=unit)


def _first_written(config: Config, value: str, tray: Path, key: Path, why: str) -> Effective:
    """Return a tray's value with the line of its own key, else of the site's, else the default's reason."""
    place = next((here for here in ((*tray, *key), key) if config.document.at(here) is not None), None)
    line = config.document.line(place) if place else None
    return Effective(dotted((*tray, *key)), value, line, None if place else why)
