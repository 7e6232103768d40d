"""What is derived of one tray: as much as its bands need, with what must be remembered for it.

The rule of this file: a derived series is made of measured ones and of the plan alone, the same in whatever pieces
they come.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np

from wardian.rules.derived import derive, formulas
from wardian.rules.judging import NEVER_MS, Stand, Stretch
from wardian.rules.light import LitTime, PhotonSum
from wardian.rules.plans import TrayPlan
from wardian.rules.water import lost_pct_array

_NOTHING = Stretch(np.empty(0, np.int64), np.empty(0, np.int64), np.empty(0), np.empty(0))


class Deriving:
    """The derived series of one tray."""

    def __init__(self, plan: TrayPlan, state: Mapping[str, Any]) -> None:
        """Begin anew, or go on from what ``state`` remembers."""
        self.lit = LitTime(plan.lamp, plan.hold_ms, state.get("lit")) if plan.lamp else None
        # What was summed up by another factor is none of this lamp's.
        is_same = state.get("lux_per_umol") == plan.lux_per_umol
        self._photons = PhotonSum(plan.hold_ms, state.get("photons") if is_same else None)
        self._plan = plan
        self.take_plan(plan)

    def take_plan(self, plan: TrayPlan) -> None:
        """Derive what another plan needs from now on."""
        if plan.lux_per_umol != self._plan.lux_per_umol:
            self._photons = PhotonSum(plan.hold_ms)
        self._plan = plan
        stages = [*plan.stages, *(span.stage for span in plan.spans)]
        banded = {quantity for stage in stages for quantity in stage.bands}
        every = formulas(plan.leaf_offset_k)
        #: What is derived, and how.
        self.formulas = {quantity: every[quantity] for quantity in every if quantity in banded}
        self.wants_photons = "daily_light_integral" in banded

    def derive(
        self, measured: Mapping[str, Stretch], stands: Mapping[str, Stand | None]
    ) -> dict[str, Stretch]:
        """Return the derived series of a window from its readings and from what stood before it."""
        derived = {}
        for quantity, formula in self.formulas.items():
            inputs = [measured.get(name, _NOTHING) for name in formula.inputs]
            if any(len(stretch.from_ms) for stretch in inputs):
                derived[quantity] = derive(formula, inputs, [stands.get(name) for name in formula.inputs])
        if self.lit and self._plan.lamp and len(measured.get(self._plan.lamp.quantity, _NOTHING).from_ms):
            derived["light_hours"] = self.lit.hours(measured[self._plan.lamp.quantity])
        light = measured.get(self._plan.photon_light, _NOTHING)
        if self.wants_photons and len(light.from_ms):
            derived["daily_light_integral"] = self._photons.integrals(_flux(light, self._plan.lux_per_umol))
        if self._plan.masses and len(measured.get("tray_mass", _NOTHING).from_ms):
            derived["water_lost"] = self._water_lost(measured["tray_mass"])
        return derived

    def _water_lost(self, mass: Stretch) -> Stretch:
        """Return how much of its water the tray has lost, at each reading of its mass since somebody weighed it."""
        weighed = mass.between(self._plan.masses[0].from_ms, NEVER_MS)
        lost = lost_pct_array(weighed.from_ms, weighed.for_high, self._plan.masses)
        return Stretch(weighed.from_ms, weighed.until_ms, lost, lost)

    def remembered(self) -> dict[str, Any]:
        """Return all that is remembered as plain JSON values."""
        return {
            "lit": self.lit.remembered() if self.lit else [],
            "photons": self._photons.remembered(),
            "lux_per_umol": self._plan.lux_per_umol,
        }


def _flux(light: Stretch, lux_per_umol: float | None) -> Stretch:
    """Return light as photon flux density [µmol m⁻² s⁻¹]."""
    if lux_per_umol is None:
        return light
    return light._replace(for_low=light.for_low / lux_per_umol, for_high=light.for_high / lux_per_umol)
