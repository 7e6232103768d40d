"""What the engine and the observers tell, in one order of time."""

from collections.abc import Iterable, Iterator, Mapping

from wardian.rules.observing.observer import Observer
from wardian.rules.transitions import Transition


def told_in_order(
    transitions: Iterable[Transition], observer: Observer, until_ms: int | Mapping[str, int]
) -> Iterator[Transition]:
    """Yield what an engine told, and between it what the observers tell, each observed up to there.

    Args:
        transitions: In order of time, all before ``until_ms``.
        observer: Fed with the same readings.
        until_ms: Up to when the engine judged, of all trays or one for each.
    """
    for transition in transitions:
        yield from observer.advance(transition.time_ms)
        yield transition
    yield from observer.advance(until_ms)
