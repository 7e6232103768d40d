"""The stores of trays side by side, and one step of time.

The method is the linearly implicit Euler method, extrapolated once from one whole and two half steps:
of second order, L-stable, and it keeps every linear sum (Hairer, Wanner, "Solving Ordinary Differential
Equations II", 2nd ed., Springer 1996, section IV.9; from memory). It is written here in flows rather
than in stores, so that what leaves one store enters another. Where dew forms a flow has a kink: each
step is solved for the side of it on which it ends.
"""

from math import ceil
from typing import Final, NamedTuple

import numpy as np

from wardian.rules.air import saturation_vapour_pressure_kpa_array
from wardian.rules.readings import Values
from wardian.simulator.flows import (
    BEADS,
    INNER,
    QUICK,
    STORES,
    VAPOUR,
    WATER,
    Flags,
    Links,
    Moment,
    effects,
)
from wardian.simulator.parameters import (
    VAPOUR_J_PER_G,
    VAPOUR_KPA_M3_PER_G_K,
    WATER_J_PER_G_K,
    ZERO_C_IN_K,
    TrayParameters,
)

_EFFECTS: Final = effects()
_QUICK_EFFECTS: Final = _EFFECTS[:QUICK]
_UNIT: Final = np.eye(QUICK)
#: A side of a kink that is not found in so many attempts is left as it is.
_ATTEMPTS: Final = 3
#: Films, beads and the medium's water are not solved for: running off and drying take minutes, and nothing
#: is owed (by more than a hundredth of a gram) as long as a step is well below that. [s]
_LONGEST_S: Final = 60.0


def begin(
    p: TrayParameters, air_c: Values, medium_c: Values, held: Values, beaded: Values | float = 0.5
) -> Values:
    """Return what warm, moist trays hold, whose medium and cover hold shares of the most they can.

    Shape: one value a tray; the result STORES, trays.
    """
    beads_g = beaded * p.most_on_cover_g
    cover_c = air_c - 0.5
    vapour_kpa = saturation_vapour_pressure_kpa_array(cover_c)
    water_g = held * p.saturated_g
    stores = np.zeros((STORES, len(air_c)))
    stores[0] = air_c * p.air_j_per_k
    stores[1] = cover_c * (p.cover_j_per_k + WATER_J_PER_G_K * beads_g)
    stores[2] = medium_c * (p.dry_j_per_k + WATER_J_PER_G_K * water_g)
    stores[VAPOUR] = vapour_kpa * p.air_m3 / (VAPOUR_KPA_M3_PER_G_K * (air_c + ZERO_C_IN_K))
    stores[BEADS] = beads_g
    stores[WATER] = water_g
    return stores


def heat_j(stores: Values) -> Values:
    """Return all heat in each tray, its vapour's included [J above liquid water at 0 °C]."""
    heat: Values = stores[:3].sum(axis=0) + VAPOUR_J_PER_G * stores[VAPOUR]
    return heat


def water_g(stores: Values) -> Values:
    """Return all water in each tray: vapour, films, and what the medium holds [g]."""
    water: Values = stores[VAPOUR : WATER + 1].sum(axis=0)
    return water


class _Begun(NamedTuple):
    """A step that is about to be made: explicit flows, their slopes, and where dew is taken to form."""

    moment: Moment
    dew: Flags
    flows: Values
    slopes: Values
    jacobian: Values


class _Ended(NamedTuple):
    """How a step ended, and the flows that led there."""

    flows: Values
    moment: Moment


class Balance:
    """What several trays hold, and how it changes.

    Attributes:
        now: What they hold, looked at; ``now.stores`` is by the places named in ``flows``. Shape: STORES, trays.
    """

    def __init__(self, parameters: TrayParameters, stores: Values) -> None:
        """Begin with what trays hold, as ``begin`` makes it."""
        self._parameters = parameters
        self.now = Moment(parameters, stores)

    def step(self, link: Links, mat: Values, seconds: float) -> None:
        """Live on for so many seconds, long ones in pieces; links and the mat's share of its power are constant."""
        pieces = max(ceil(seconds / _LONGEST_S), 1)
        for _ in range(pieces):
            self._step(link, mat, seconds / pieces)

    def _step(self, link: Links, mat: Values, seconds: float) -> None:
        begun = _begin(self.now, link, mat, self.now.dew)
        whole = self._euler(begun, link, mat, seconds)
        half = self._euler(begun, link, mat, seconds / 2)
        other = self._euler(_begin(half.moment, link, mat, half.moment.dew), link, mat, seconds / 2)
        flows = half.flows + other.flows - whole.flows
        self.now = Moment(self._parameters, self.now.stores + seconds * (_EFFECTS @ flows))

    def _euler(self, begun: _Begun, link: Links, mat: Values, seconds: float) -> _Ended:
        """Return where one linearly implicit step ends, solved for the side of each kink on which it does."""
        for _ in range(_ATTEMPTS):
            system = _UNIT - seconds * begun.jacobian
            rates = np.linalg.solve(system, (_QUICK_EFFECTS @ begun.flows).T[..., None])[..., 0].T
            flows = begun.flows.copy()
            flows[:INNER] += seconds * (begun.slopes * rates).sum(axis=1)
            end = Moment(self._parameters, begun.moment.stores + seconds * (_EFFECTS @ flows))
            if (end.dew == begun.dew).all():
                break
            begun = _begin(begun.moment, link, mat, end.dew)
        return _Ended(flows, end)


def _begin(moment: Moment, link: Links, mat: Values, dew: Flags) -> _Begun:
    flows = moment.flows(link, mat, dew)
    slopes = np.zeros((INNER, QUICK, flows.shape[1]))
    moment.slopes(link, slopes)
    jacobian = (_QUICK_EFFECTS[:, :INNER] @ slopes.reshape(INNER, -1)).reshape(QUICK, QUICK, -1)
    return _Begun(moment, dew, flows, slopes, jacobian.transpose(2, 0, 1))
