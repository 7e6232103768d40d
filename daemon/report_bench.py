"""A simulated bench as it goes by: a line an hour of its time, so that a drift is seen before its alarm."""

import sys
from typing import Final

from wardian.daemon.config import Config
from wardian.daemon.tongue import Tongue
from wardian.rules.engine import Engine
from wardian.rules.ports import Clock
from wardian.rules.quantities import QUANTITIES

EVERY_MS: Final = 3_600_000
_SHOWN: Final = ("air_temperature", "relative_humidity")


class Onlooker:
    """Prints the bench to standard error once an hour of its own time."""

    def __init__(self, config: Config, engine: Engine, clock: Clock) -> None:
        """Look at what this engine has judged."""
        self._engine = engine
        self._clock = clock
        self._site = Tongue.of(config.site)
        self._due_ms = 0
        keys = config.simulator
        self._words = f"a simulated bench, {keys.speed:g} times as fast as a real one" if keys else ""

    def look(self) -> None:
        """Print a line when the next one is due."""
        now_ms = min(tray.judged_ms for tray in self._engine.trays.values())
        if now_ms < max(self._due_ms, 0) or not any(
            self._stands(name, now_ms) for name in self._engine.trays
        ):
            return
        if not self._due_ms:
            print(f"{self._words}; air and humidity under each cover:", file=sys.stderr)
        self._due_ms = (now_ms // EVERY_MS + 1) * EVERY_MS
        trays = "  ".join(f"{name} {self._tray(name, now_ms)}" for name in self._engine.trays)
        print(f"{self._site.moment(now_ms)}  {trays}", file=sys.stderr, flush=True)

    def _stands(self, name: str, now_ms: int) -> dict[str, float]:
        present = self._engine.trays[name].present(now_ms)
        return {one: here.stand.for_high for one in _SHOWN if (here := present.get(one)) and here.stand}

    def _tray(self, name: str, now_ms: int) -> str:
        stands = self._stands(name, now_ms)
        return " ".join(
            self._site.value(QUANTITIES[one], stands[one]) if one in stands else "?" for one in _SHOWN
        )
