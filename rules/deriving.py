"""What is derived of one tray: as much as its bands need, with what must be remembered for it.

The rule of this file: a derived series is made of measured ones and of the plan alone, the same in whatever pieces
they come.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from wardian.rules.derived import FORMULAS, derive
from wardian.rules.judging import Stand, Stretch
from wardian.rules.light import LitTime, PhotonSum
from wardian.rules.plans import TrayPlan
from wardian.rules.quantities import DERIVED_FROM

_NOTHING = Stretch(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0))


class Deriving:
    """The derived series of one tray."""

    def __init__(self, plan: TrayPlan, state: Mapping[str, Any]) -> None:
        """Begin anew, or go on from what ``state`` remembers."""
        self.lit = LitTime(plan.lamp, plan.hold_ms, state.get("lit")) if plan.lamp else None
        self._photons = PhotonSum(plan.hold_ms, state.get("photons"))
        self.take_plan(plan)

    def take_plan(self, plan: TrayPlan) -> None:
        """Derive what another plan needs from now on."""
        self._plan = plan
        stages = [*plan.stages, *(span.stage for span in plan.spans)]
        banded = {quantity for stage in stages for quantity in stage.bands}
        self.quantities = [quantity for quantity in FORMULAS if quantity in banded]
        self.wants_photons = "daily_light_integral" in banded

    def derive(
        self, measured: Mapping[str, Stretch], stands: Mapping[str, Stand | None]
    ) -> dict[str, Stretch]:
        """Return the derived series of a window from its readings and from what stood before it."""
        derived = {}
        for quantity in self.quantities:
            names = DERIVED_FROM[quantity]
            inputs = [measured.get(name, _NOTHING) for name in names]
            if any(len(stretch.from_ms) for stretch in inputs):
                derived[quantity] = derive(quantity, inputs, [stands.get(name) for name in names])
        if self.lit and self._plan.lamp and len(measured.get(self._plan.lamp.quantity, _NOTHING).from_ms):
            derived["light_hours"] = self.lit.hours(measured[self._plan.lamp.quantity])
        if self.wants_photons and len(measured.get("ppfd", _NOTHING).from_ms):
            derived["daily_light_integral"] = self._photons.integrals(measured["ppfd"])
        return derived

    def remembered(self) -> dict[str, Any]:
        """Return all that is remembered as plain JSON values."""
        return {"lit": self.lit.remembered() if self.lit else [], "photons": self._photons.remembered()}
