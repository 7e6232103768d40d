"""What the engine and the observer tell, in one order of time, each raise with its cause."""

from collections.abc import Iterable, Iterator, Mapping

from wardian.rules.observing.causes import Cause, cause_of
from wardian.rules.observing.observer import Observer
from wardian.rules.transitions import RAISED, Transition


def told_in_order(
    engine_transitions: Iterable[Transition], observer: Observer, until_ms: int | Mapping[str, int]
) -> Iterator[tuple[Transition, Cause | None]]:
    """Merge what both tell until an instant, of all trays or one for each, and ask for the cause of each raise.

    What the observer tells at the end of a minute comes before what the engine tells at that instant or later.
    The observer is brought up to date on the way, so that a cause is read from what was known when its alarm was
    raised; where a tray is observed less far than another, its neighbours see it as far as that.

    Args:
        engine_transitions: In order of time, none before the minutes that were observed already.
        observer: It has the same readings as the engine.
        until_ms: How far both are.
    """
    limits = until_ms if isinstance(until_ms, Mapping) else dict.fromkeys(observer.trays, until_ms)
    for transition in engine_transitions:
        so_far = {name: min(limit_ms, transition.time_ms) for name, limit_ms in limits.items()}
        yield from _observed(observer, so_far)
        yield transition, cause_of(transition, observer) if transition.event == RAISED else None
    yield from _observed(observer, limits)


def _observed(observer: Observer, until_ms: Mapping[str, int]) -> Iterator[tuple[Transition, Cause | None]]:
    for told in observer.by_minute(until_ms):
        for transition in told:
            yield transition, cause_of(transition, observer) if transition.event == RAISED else None
