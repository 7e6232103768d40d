"""Pretended batches of two weeks: the cause that was planted is named first, and of a healthy one nothing is named.

The seeds are some of many: the figures over ten seeds of every cause are printed by the benchmarks.
"""

import pytest
from pretended_batches import PLANTED, ground_of, named, pretended_batch, with_record

pytestmark = pytest.mark.journey


CASES = [
    ("healthy", 21),
    ("heater dead for days", 22),
    ("cover left off early", 23),
    ("never aired", 24),
    ("half the lamp for days", 25),
    ("medium left dry", 26),
]


@pytest.mark.parametrize(("cause", "seed"), CASES)
def test_the_planted_cause_is_named_first_with_and_without_a_record(cause: str, seed: int) -> None:
    batch = pretended_batch(cause, seed)
    ground, right = ground_of(batch), PLANTED[cause].finding
    for case in (batch.case, with_record(batch, right)):
        assert [one.name for one in named(ground, case)][:1] == ([right] if right else [])
