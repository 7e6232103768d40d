"""What was looked up stands for a while, however many ask."""

from fake_clock import FakeClock

from wardian.daemon.page.looking import Remembered


class _Looks:
    """Counts looks, each of which takes some time."""

    def __init__(self, clock: FakeClock, takes_ms: int) -> None:
        self.clock, self.takes_ms, self.count = clock, takes_ms, 0

    def __call__(self) -> int:
        self.clock.step(self.takes_ms)
        self.count += 1
        return self.count


def test_it_is_looked_up_again_only_once_it_is_too_old() -> None:
    clock = FakeClock()
    seen = Remembered(_Looks(clock, 0), 2.0, clock)
    assert [seen.get(), seen.get()] == [1, 1]
    clock.step(1_999)
    assert seen.get() == 1
    clock.step(1)
    assert seen.get() == 2


def test_looks_that_take_long_are_made_less_often() -> None:
    clock = FakeClock()
    seen = Remembered(_Looks(clock, 1_000), 2.0, clock)
    assert seen.get() == 1
    clock.step(8_999)
    assert seen.get() == 1
    clock.step(1)
    assert seen.get() == 2


def test_what_somebody_did_is_looked_up_at_once() -> None:
    clock = FakeClock()
    seen = Remembered(_Looks(clock, 1_000), 2.0, clock)
    assert seen.get() == 1
    seen.forget()
    assert seen.get() == 2
