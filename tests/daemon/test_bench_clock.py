"""The bench's clock: whatever the machine's clock does, it never goes back, and what it says to have passed has passed."""

from fake_clock import NOON_MS, FakeClock
from hypothesis import given
from hypothesis import strategies as st

from wardian.daemon.bench_clock import JUMP_MS, LONGEST_WAIT_MS, RELEASED_MS, SLOWER, TOLERABLE_MS, BenchClock

MINUTE_MS = 60_000
YEAR_MS = 365 * 86_400_000

steps = st.lists(
    st.tuples(
        st.integers(0, 3_600_000),
        st.one_of(st.just(0), st.integers(-10_000, 10_000), st.integers(-50 * YEAR_MS, 50 * YEAR_MS)),
    ),
    max_size=30,
)


@given(steps, st.booleans())
def test_it_never_goes_back_and_durations_are_right(steps: list[tuple[int, int]], is_looked_at: bool) -> None:
    machine = FakeClock()
    clock = BenchClock(machine)
    for passes_ms, jump_ms in steps:
        machine.now_ms += jump_ms
        before_ms = clock.wall_ms()
        machine.step(passes_ms)
        passed_ms = clock.wall_ms() - before_ms
        # The rest of a small difference, and what is followed of it at once, is at most what is no jump.
        assert passes_ms * (1 - SLOWER) - 2 <= passed_ms <= passes_ms + JUMP_MS + 2
        step_ms = clock.step_ms()
        if is_looked_at and step_ms is not None:
            shown_ms = clock.wall_ms()
            if step_ms > -JUMP_MS:
                clock.follow()
                assert clock.wall_ms() == max(shown_ms, machine.now_ms)
            else:
                clock.go_alone()
                assert clock.wall_ms() == shown_ms


def test_a_time_server_that_nudges_is_followed_without_an_event() -> None:
    machine = FakeClock()
    clock = BenchClock(machine)
    machine.now_ms += 4_000
    assert clock.wall_ms() == NOON_MS + 4_000
    machine.now_ms -= 4_000
    machine.step(10_000)
    assert clock.wall_ms() == NOON_MS + 4_000 + 9_000
    machine.step(30_000)
    assert clock.wall_ms() == machine.now_ms == NOON_MS + 40_000
    assert clock.step_ms() is None


def test_a_clock_before_what_was_kept_is_not_trusted_and_time_goes_on_from_there() -> None:
    machine = FakeClock(now_ms=0)
    clock = BenchClock(machine, NOON_MS)
    machine.step(90 * MINUTE_MS)
    assert clock.wall_ms() == NOON_MS + 90 * MINUTE_MS
    assert not clock.is_trusted
    assert clock.step_ms() is None
    machine.now_ms = NOON_MS + 3 * YEAR_MS
    assert clock.step_ms() == 3 * YEAR_MS - 90 * MINUTE_MS
    clock.follow()
    assert clock.is_trusted
    assert clock.era_ms == clock.wall_ms() == machine.now_ms


def test_a_clock_older_than_the_program_is_never_trusted() -> None:
    clock = BenchClock(FakeClock(now_ms=12_000))
    assert clock.wall_ms() == RELEASED_MS
    assert not clock.is_trusted


def test_a_clock_put_back_by_less_than_a_day_is_waited_for() -> None:
    machine = FakeClock()
    clock = BenchClock(machine)
    machine.now_ms -= 2 * TOLERABLE_MS
    clock.go_alone()
    assert not clock.is_trusted
    for _ in range(100):
        machine.step(MINUTE_MS)
        clock.wall_ms()
    assert clock.is_trusted
    assert -JUMP_MS < (clock.step_ms() or 0) <= 0
    clock.follow()
    assert clock.wall_ms() == machine.now_ms


def test_for_a_clock_put_back_by_more_nobody_waits() -> None:
    machine = FakeClock()
    clock = BenchClock(machine)
    machine.now_ms -= LONGEST_WAIT_MS + 1_000
    clock.go_alone()
    machine.step(600 * MINUTE_MS)
    assert clock.wall_ms() == NOON_MS + 600 * MINUTE_MS


def test_a_guess_may_be_too_late_and_the_right_time_is_still_a_step() -> None:
    machine = FakeClock(now_ms=0)
    clock = BenchClock(machine, guess_ms=NOON_MS + YEAR_MS)
    assert clock.wall_ms() == NOON_MS + YEAR_MS
    assert clock.step_ms() is None
    machine.now_ms = NOON_MS
    assert clock.step_ms() == -YEAR_MS
    clock.move(-YEAR_MS)
    assert clock.wall_ms() == clock.era_ms == NOON_MS
    assert clock.is_trusted


def test_a_guess_is_of_no_interest_where_the_machine_knows_the_time() -> None:
    assert BenchClock(FakeClock(), guess_ms=NOON_MS + YEAR_MS).wall_ms() == NOON_MS
