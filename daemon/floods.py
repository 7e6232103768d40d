"""More than a share of what a sensor's wire may bring: told to people as a trouble of the watch itself."""

from collections.abc import Sequence
from typing import Final, Protocol

from wardian.daemon.beside import Extra
from wardian.daemon.lives import Lives
from wardian.daemon.own_troubles import OwnTroubles
from wardian.rules.ports import Sensor
from wardian.rules.wire_health import Flood

#: The names of the troubles: on topics of ours, and on topics of nobody.
FLOOD: Final = "flood"
STRANGERS: Final = "strange-topics"
#: So many places are named at most.
_NAMED: Final = 3


class Floodable(Protocol):
    """A wire that anybody may send to, and that gives each place its share."""

    name: str

    def floods(self) -> list[Flood]:
        """Return where more comes than a share, the worst first."""


class Floods:
    """Takes part in the rounds: looks whether any wire is flooded."""

    def __init__(self, sensors: Sequence[Sensor], troubles: OwnTroubles) -> None:
        """Look at those sensors that can be flooded."""
        self._wires: list[Floodable] = [one for one in sensors if _is_floodable(one)]  # type: ignore[misc]  # just looked at
        self._troubles = troubles
        self._standing: set[str] = set()

    def work(self, now_ms: int, lives: Lives) -> Extra:  # noqa: ARG002 - others need them
        """Say what is flooded, and once when nothing is any more."""
        told: dict[str, list[str]] = {FLOOD: [], STRANGERS: []}
        for wire in self._wires:
            for flood in wire.floods():
                told[FLOOD if flood.is_ours else STRANGERS].append(_words(wire.name, flood))
        for name, words in told.items():
            self._say(name, words)
        return Extra()

    def _say(self, name: str, told: list[str]) -> None:
        if told:
            more = f"; and {len(told) - _NAMED} topics more" if len(told) > _NAMED else ""
            self._troubles.begin(name, "; ".join(told[:_NAMED]) + more)
            self._standing.add(name)
        elif name in self._standing:
            self._troubles.end(name)
            self._standing.discard(name)

    def committed(self) -> None:
        """Do nothing: what is flooded waits for nothing."""


def _is_floodable(sensor: Sensor) -> bool:
    return callable(getattr(sensor, "floods", None))


def _words(wire: str, flood: Flood) -> str:
    rate = f"about {_rounded(flood.per_s):,} messages a second come"
    so_far = f"{flood.refused:,} were refused so far"
    if flood.is_ours:
        return (
            f"{rate} on topic {flood.place} of {wire}; {so_far}, and of those that are read nobody can tell "
            "whether they are the sensor's own"
        )
    return f"{rate} on topics of {wire} that belong to no tray or quantity, such as {flood.place}; {so_far}"


def _rounded(per_s: float) -> int:
    """Return a rate to two digits: more of it is chance."""
    return round(float(f"{per_s:.2g}"))
