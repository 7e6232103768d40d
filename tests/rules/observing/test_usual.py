"""What is learned of a tray as usual, where the traces are not as they should be."""

import numpy as np

from wardian.rules.observing.usual import PULSE_MIN, _mat, heating


def test_a_probe_that_is_away_in_every_pulse_teaches_nothing_and_warns_of_nothing() -> None:
    """Found by fuzzing: numpy complained of a slice in which nothing is known, and the mat had no temperatures."""
    medium = 23 + np.abs(np.arange(600) % 60 - 30) / 20
    whole = _mat(medium, heating(medium))
    assert whole is not None
    assert 23 <= whole.on_c < whole.off_c <= 24.5
    medium[:: PULSE_MIN - 3] = np.nan
    assert heating(medium).any()
    assert _mat(medium, heating(medium)) is None
