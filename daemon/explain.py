"""What each alarm means here: what raises it, on which trays, what it asks for, and where all that is from."""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final, NamedTuple

from wardian.daemon.bands import RISING
from wardian.daemon.config import Config
from wardian.daemon.config_alarms import SECTION
from wardian.daemon.config_models import AdviceKeys
from wardian.daemon.crop_values import BANDS, STAGES, Sourced, Values
from wardian.daemon.library import Advice, Default, Library
from wardian.rules.amounts import exact_amount
from wardian.rules.documents import Path
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import SENSOR_SILENT
from wardian.rules.uncertainty import UNCERTAINTIES

#: Where a value is from that nobody wrote.
LIBRARY: Final = "library"
DEFAULT: Final = "default"
#: What a limit has beside its threshold.
WAITING: Final = ("deadband", "on_delay", "off_delay")


class LimitHere(NamedTuple):
    """A limit of one stage of a crop, in its quantity's own unit, and where each of its values is from."""

    trays: tuple[str, ...]
    crop: str
    stage: str
    from_day: int
    threshold: float
    deadband: float
    on_delay_ms: int
    off_delay_ms: int
    sources: dict[str, str]

    def as_json(self) -> dict[str, Any]:
        """Return it for programs, with delays in seconds."""
        return {
            "trays": list(self.trays),
            "crop": self.crop,
            "stage": self.stage,
            "from_day": self.from_day,
            "threshold": self.threshold,
            "deadband": self.deadband,
            "on_delay_s": self.on_delay_ms / 1000,
            "off_delay_s": self.off_delay_ms / 1000,
            "from": self.sources,
        }


class SilenceHere(NamedTuple):
    """Quantities that must be brought for some trays, and how long they may be missing."""

    trays: tuple[str, ...]
    quantities: tuple[str, ...]
    hold_ms: int
    silent_after_ms: int
    sources: dict[str, str]

    def as_json(self) -> dict[str, Any]:
        """Return it for programs, in seconds."""
        return {
            "trays": list(self.trays),
            "quantities": list(self.quantities),
            "hold_s": self.hold_ms / 1000,
            "silent_after_s": self.silent_after_ms / 1000,
            "from": self.sources,
        }


class FigureHere(NamedTuple):
    """One figure of a condition: as it is written, where that is from, and why the library has what it has."""

    name: str
    text: str
    source: str
    why: str

    def as_json(self) -> dict[str, Any]:
        """Return it for programs."""
        return {"figure": self.name, "value": self.text, "from": self.source, "why": self.why}


@dataclass(frozen=True, slots=True)
class Explanation:
    """One alarm: its advice and where each field is from; what raises it, and what that means here.

    ``quantity`` and ``limit`` are empty for an alarm about sensors or a condition of the traces, ``default``
    as well; ``figures`` is what a condition goes by.
    """

    advice: Advice
    sources: dict[str, str]
    quantity: str = ""
    limit: str = ""
    default: Default | None = None
    limits: tuple[LimitHere, ...] = ()
    silences: tuple[SilenceHere, ...] = ()
    figures: tuple[FigureHere, ...] = ()

    @property
    def condition(self) -> str:
        """What raises it, in words."""
        if not self.quantity:
            return self.advice.condition
        side = "above" if self.limit.startswith("high") else "below"
        return f"{QUANTITIES[self.quantity].words} {side} the limit {self.limit}"

    @property
    def may_be_in_doubt(self) -> bool:
        """Whether a breach that is smaller than its uncertainty asks for less."""
        return self.quantity in UNCERTAINTIES and self.advice.in_doubt() != self.advice

    def as_json(self) -> dict[str, Any]:
        """Return it for programs; ``here`` is what the configuration makes of it."""
        default = self.default
        return {
            "alarm": self.advice.alarm,
            "raised_by": self.condition,
            "quantity": self.quantity or None,
            "limit": self.limit or None,
            "unit": QUANTITIES[self.quantity].unit if self.quantity else None,
            **{name: getattr(self.advice, name) for name in AdviceKeys.model_fields},
            "from": self.sources,
            "here": [
                *(limit.as_json() for limit in self.limits),
                *(silence.as_json() for silence in self.silences),
            ],
            "figures": [figure.as_json() for figure in self.figures],
            "defaults": default and {name: getattr(default, name).text for name in WAITING},
        }


def explanations(library: Library, config: Config | None) -> Iterator[Explanation]:
    """Yield every alarm there is, as a configuration has it, or by the library alone."""
    for quantity in QUANTITIES:
        for limit in RISING:
            advice = library.limits[quantity, limit]
            yield Explanation(
                advice,
                _sources(config, advice),
                quantity,
                limit,
                library.defaults[quantity],
                limits=tuple(_limits(config, quantity, limit)) if config else (),
            )
    for condition, advice in library.sensors.items():
        silences = _silences(config) if config and condition == SENSOR_SILENT else ()
        yield Explanation(advice, _sources(config, advice), silences=tuple(silences))
    for name, advice in library.conditions.items():
        yield Explanation(advice, _sources(config, advice), figures=tuple(_figures(config, library, name)))
    for advice in library.watch.values():
        yield Explanation(advice, _sources(config, advice))


def _figures(config: Config | None, library: Library, condition: str) -> Iterator[FigureHere]:
    for name, figure in library.figures[condition].items():
        place: Path = (SECTION, condition, "figures", name)
        source = _source(config, place) if config else LIBRARY
        why = str(figure.reasoned) if source == LIBRARY else f"of the library: {figure.reasoned}"
        yield FigureHere(name, figure.reasoned.text, source, why)


def _sources(config: Config | None, advice: Advice) -> dict[str, str]:
    return {
        name: _source(config, (SECTION, advice.alarm, name)) if config else LIBRARY
        for name in AdviceKeys.model_fields
    }


def _source(config: Config, *places: Path, otherwise: str = LIBRARY) -> str:
    """Return file and line of the first of some places at which something is written."""
    place = next((one for one in places if config.document.at(one) is not None), None)
    return f"{config.document.file}:{config.document.line(place)}" if place else otherwise


# ------------------------------------------------------------------------------------ limits here


def _limits(config: Config, quantity: str, name: str) -> Iterator[LimitHere]:
    crops = {tray.crop.name: tray.crop for tray in config.trays}
    for crop in crops.values():
        trays = tuple(tray.name for tray in config.trays if tray.crop.name == crop.name)
        for stage in crop.stages:
            band = stage.bands.get(quantity)
            limit = next((one for one in band.limits if one.name == name), None) if band else None
            if limit is None:
                continue
            values = config.crops[crop.name].values
            place: Path = (STAGES, stage.name, BANDS, quantity)
            yield LimitHere(
                trays,
                crop.name,
                stage.name,
                stage.from_day,
                limit.threshold,
                _deadband(config, values, place, name),
                limit.on_delay_ms,
                limit.off_delay_ms,
                {
                    "threshold": _source_of(config, values[*place, name]),
                    **{key: _source_of(config, values.get((*place, key))) for key in WAITING},
                },
            )


def _source_of(config: Config, one: Sourced | None) -> str:
    return f"{config.document.file}:{one.line}" if one and one.line else LIBRARY


def _deadband(config: Config, values: Values, place: Path, limit: str) -> float:
    """Return a deadband from what was written: the threshold and where it clears are rounded already."""
    quantity, written = QUANTITIES[str(place[-1])], values.get((*place, "deadband"))
    if written is not None:
        return float(exact_amount(written.value, quantity.difference))
    threshold = exact_amount(values[*place, limit].value, quantity.dimension)
    return float(config.library.defaults[quantity.name].deadband_of(threshold))


# ----------------------------------------------------------------------------------- silence here


def _silences(config: Config) -> Iterator[SilenceHere]:
    """Yield trays together of which the same quantities may be missing for the same times."""
    of_trays = [one for place in range(len(config.trays)) for one in _silences_of_tray(config, place)]
    alike: dict[Any, list[str]] = {}
    for one in of_trays:
        alike.setdefault((*one[1:-1], *one.sources.values()), []).extend(one.trays)
    for (quantities, hold_ms, silent_after_ms, hold, silent_after), trays in alike.items():
        sources = {"hold": hold, "silent_after": silent_after}
        yield SilenceHere(tuple(trays), quantities, hold_ms, silent_after_ms, sources)


def _silences_of_tray(config: Config, place: int) -> Iterator[SilenceHere]:
    tray = config.trays[place]
    sources = {
        key: _source(config, ("trays", place, "readings", key), ("readings", key), otherwise=DEFAULT)
        for key in ("hold", "silent_after")
    }
    by_time = sorted(tray.plan.silent_after_ms.items(), key=lambda item: item[1])
    for silent_after_ms, group in groupby(by_time, key=lambda item: item[1]):
        quantities = tuple(quantity for quantity, _ in group)
        yield SilenceHere((tray.name,), quantities, tray.plan.hold_ms, silent_after_ms, sources)
