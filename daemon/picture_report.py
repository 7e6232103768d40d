"""A report of some trays over some time: a picture of each, its time in the bands, its alarms and its care.

The rule of this file: the time in the bands is that of the one judge, whatever the journal says.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from wardian.daemon import wiring
from wardian.daemon.config import Config, TraySettings
from wardian.daemon.picture import Picture
from wardian.daemon.picture_data import picture_of
from wardian.daemon.picture_sources import Source
from wardian.daemon.tongue import Tongue
from wardian.daemon.tune import Judgement
from wardian.rules.quantities import QUANTITIES
from wardian.rules.shares import Shares


class Seen(NamedTuple):
    """One tray under one setting: its picture, and by quantity what became of its time in the bands."""

    setting: str
    picture: Picture
    bands: Mapping[str, Shares]


@dataclass(frozen=True, slots=True)
class TrayReport:
    """One tray under each setting, in their order."""

    tray: str
    crop: str
    seen: tuple[Seen, ...]


class Setting(NamedTuple):
    """A source under the name by which people tell it from the others, empty where there is one alone."""

    name: str
    source: Source


def reported(settings: Sequence[Setting], trays: Sequence[TraySettings]) -> list[TrayReport]:
    """Return what is known of some trays under every setting; a tray that a setting lacks is left out of it."""
    return [TrayReport(tray.name, tray.crop.name, tuple(_seen_under_all(settings, tray))) for tray in trays]


def _seen_under_all(settings: Sequence[Setting], tray: TraySettings) -> Iterable[Seen]:
    for place, setting in enumerate(settings):
        own = tray if place == 0 else _named(setting.source.config, tray.name)
        if own is not None:
            yield seen_under(setting, own, Tongue.of(settings[0].source.config.site))


def seen_under(setting: Setting, tray: TraySettings, tongue: Tongue) -> Seen:
    """Return what is known of a tray under one setting, as ``tongue`` has it."""
    source = setting.source
    judged = Judgement(source.week).of(tray.plan)
    told = source.told(wiring.teller(source.config), judged.transitions)
    picture = picture_of(tray, told, source.span, tongue)
    if setting.name:
        picture = replace(picture, title=f"{picture.title}, by {setting.name}")
    bands = {name: judged.bands[name].shares for name in QUANTITIES if name in judged.bands}
    return Seen(setting.name, picture, bands)


def _named(config: Config, name: str) -> TraySettings | None:
    return next((tray for tray in config.trays if tray.name == name), None)
