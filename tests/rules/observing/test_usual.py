"""What is learned of a tray as usual, where the traces are not as they should be."""

from itertools import combinations

import numpy as np
import pytest
from minute_by_minute import chunk_by
from tray_by_minutes import AIR, HUMIDITY, LIGHT, MASS, MEDIUM, healthy, plan_of
from watching import end_ms

from wardian.rules.observing.conditions import CONDITIONS
from wardian.rules.observing.observer import Observer
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


@pytest.mark.parametrize(
    "probes",
    [some for count in range(1, 5) for some in combinations((AIR, MEDIUM, HUMIDITY, LIGHT, MASS), count)],
)
def test_a_tray_with_some_probes_and_not_others_is_watched_like_any(probes: tuple[str, ...]) -> None:
    """A medium that is heated, or a lamp, beside no probe of the air ended the watch once an hour was over."""
    chunk = chunk_by({name: values for name, values in healthy(1.5).items() if name in probes}, 2)
    observer = Observer([plan_of()], CONDITIONS)
    observer.feed(chunk)
    observer.advance(end_ms(chunk))
