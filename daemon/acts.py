"""What people ask of alarms: a tray and an alarm by the name they read, and what becomes of it.

The rule of this file: whatever cannot be done is refused here, before the daemon is asked.
"""

from collections.abc import Callable, Iterator, Mapping
from typing import Any, Final, NamedTuple

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.lives import TOLD, Lives, alarm_of
from wardian.daemon.own_troubles import names_of
from wardian.rules import life
from wardian.rules.crops import LIMITS, day_of, stage_at
from wardian.rules.documents import nearest
from wardian.rules.observing.observer import TrayObserver
from wardian.rules.ports import Act, Alarm
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import WATCH

#: The word by which it is asked for → what happens in the life of an alarm.
ACTS: Final = {
    "acknowledge": life.ACKNOWLEDGE,
    "shelve": life.SHELVE,
    "unshelve": life.UNSHELVE,
    "remove": life.REMOVE,
    "restore": life.RESTORE,
    "reset": life.RESET,
}


class NotToBeDone(ValueError):
    """What was asked cannot be done; the message says why, and what can."""


class Wish(NamedTuple):
    """What somebody asks: of a tray all its alarms, or one by name; ``until_ms`` where it ends."""

    event: str
    tray: str
    alarm: str | None
    who: str
    why: str
    until_ms: int | None = None


class Asked(NamedTuple):
    """What the daemon was asked for, each with its alarm's name, and whether one is there to hear it at once."""

    acts: Mapping[Act, str]
    is_watching: bool


def watched(config: Config) -> dict[Alarm, str]:
    """Return every alarm that a configuration can raise, and what people call it; those of the watch itself, too."""
    return {
        Alarm(tray.name, quantity, condition): config.library.advice(quantity, condition).alarm
        for tray in config.trays
        for quantity, condition in _conditions(config, tray)
    } | {Alarm(WATCH, "", name): advice.alarm for name, advice in config.library.watch.items()}


def _conditions(config: Config, tray: TraySettings) -> Iterator[tuple[str, str]]:
    for stage in tray.crop.stages:
        for quantity, band in stage.bands.items():
            yield from ((quantity, limit.name) for limit in band.limits)
    for quantity in tray.plan.silent_after_ms:
        yield from ((quantity, condition) for condition in config.library.sensors)
    yield from ((one.quantity, one.name) for one in TrayObserver(tray.plan).conditions)


def latching(config: Config) -> Callable[[Alarm], bool]:
    """Return what says whether an alarm latches; one that no library knows any more does not."""
    latch = {alarm: config.library.advice(alarm.quantity, alarm.condition).latch for alarm in watched(config)}
    return lambda alarm: latch.get(alarm, False)


def named(config: Config, now_ms: Callable[[], int]) -> Callable[[Alarm], Mapping[str, Any]]:
    """Return what says of an alarm that never was what every entry of the journal says."""

    def names(alarm: Alarm) -> dict[str, Any]:
        if alarm not in watched(config):
            # It was asked of another configuration, before this one was put in its place.
            raise life.Impossible("nobody watches for this alarm any more")
        advice = config.library.advice(alarm.quantity, alarm.condition)
        if alarm.tray == WATCH:
            return names_of(alarm, advice)
        tray = next(one for one in config.trays if one.name == alarm.tray)
        stage = stage_at(tray.plan.spans, now_ms())
        return {
            "limit": alarm.condition if alarm.condition in LIMITS else None,
            "alarm": advice.alarm,
            "priority": advice.priority,
            "value": None,
            "threshold": None,
            "stage": stage.name if stage else None,
            "unit": QUANTITIES[alarm.quantity].unit,
            "since": None,
            "crop": tray.crop.name,
            "day": day_of(tray.stuck, config.site.zone, now_ms()),
            "condition": alarm.condition,
        }

    return names


def acts(wish: Wish, config: Config, lives: Lives, now_ms: int) -> dict[Act, str]:
    """Return what has to be done so that a wish comes true, and what people call each alarm.

    Raises:
        NotToBeDone: There is no such tray or alarm, or none in a state in which that can be done.
    """
    # What somebody has yet to deal with need not be watched for any more.
    known = watched(config) | {alarm_of(fields): fields["alarm"] for fields in lives.listed()}
    trays = dict.fromkeys([*(tray.name for tray in config.trays), *(alarm.tray for alarm in known)])
    if wish.tray not in trays:
        raise NotToBeDone(f"there is no tray {wish.tray!r}; {nearest(wish.tray, trays)}")
    of_tray = {alarm: name for alarm, name in known.items() if alarm.tray == wish.tray}
    meant = {alarm: name for alarm, name in of_tray.items() if wish.alarm in (None, name)}
    if not meant:
        hint = nearest(wish.alarm or "", sorted(set(of_tray.values())))
        raise NotToBeDone(f"{wish.tray} has no alarm {wish.alarm!r}; {hint}")
    asked, refused = {}, ""
    for alarm, name in meant.items():
        act = Act(now_ms, alarm, wish.event, wish.who, wish.why, wish.until_ms)
        try:
            lives.would(act, now_ms)
        except life.Impossible as error:
            refused = str(error)
        else:
            asked[act] = name
    if not asked:
        what = f"{wish.alarm} cannot" if wish.alarm else "no alarm can"
        raise NotToBeDone(f"{wish.tray}: {what} be {TOLD[wish.event]} now ({refused})")
    return asked


def one_line(text: str) -> str:
    """Return what somebody typed as a line of the journal holds it: nothing in it ends the line or moves a cursor."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
