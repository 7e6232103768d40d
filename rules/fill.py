"""What the fill of a tray weighs dry, where nobody weighed it.

The rule of this file: it is an estimate, and whoever shows it says so.
"""

from typing import Final

#: Dry mass of a peat and perlite fill [g/ml], lowest and highest. From memory.
FILL_G_PER_ML: Final = (0.08, 0.15)


def estimated_dry_g(volume_ml: float, empty_g: float = 0.0) -> float:
    """Return the dry mass of a tray that nobody weighed dry: its fill at the middle of ``FILL_G_PER_ML`` [g].

    Args:
        volume_ml: Of its fill of peat and perlite. [ml]
        empty_g: What the tray weighs without its fill, cover included. [g]
    """
    return empty_g + sum(FILL_G_PER_ML) / 2 * volume_ml
