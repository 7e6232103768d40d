"""A part that stands still is found: whoever is silent for longer than it said, and whose thread has ended."""

import threading

from fake_clock import FakeClock

from wardian.daemon.progress import Late, Progress


def names(progress: Progress) -> list[str]:
    return [late.name for late in progress.late()]


def test_a_part_is_late_once_its_time_is_over_and_no_sooner() -> None:
    clock = FakeClock()
    progress = Progress(clock)
    progress.expect("loop", 30.0)
    clock.step(30_000)
    assert names(progress) == []
    clock.step(1)
    assert progress.late() == [Late("loop", has_ended=False, is_vital=True)]
    progress.expect("loop", 30.0)
    assert names(progress) == []


def test_a_wall_clock_that_is_set_makes_nobody_late() -> None:
    clock = FakeClock()
    progress = Progress(clock)
    progress.expect("loop", 30.0)
    clock.now_ms += 10 * 365 * 86_400_000
    assert names(progress) == []


def test_a_part_that_waits_for_nothing_is_not_late_however_long_it_waits() -> None:
    clock = FakeClock()
    progress = Progress(clock)
    progress.expect("outbox mail", None)
    clock.step(365 * 86_400_000)
    assert names(progress) == []


def test_a_part_whose_thread_has_ended_is_missed_even_if_it_waited_for_nothing() -> None:
    progress = Progress(FakeClock())
    thread = threading.Thread(target=progress.expect, args=("beat", None), kwargs={"is_vital": False})
    thread.start()
    thread.join()
    assert progress.late() == [Late("beat", has_ended=True, is_vital=False)]
    assert progress.late()[0].words() == "beat has ended by itself"


def test_a_part_that_has_left_is_not_waited_for() -> None:
    clock = FakeClock()
    progress = Progress(clock)
    progress.expect("summary", 1.0)
    progress.leaves("summary")
    progress.leaves("summary")
    clock.step(10_000)
    assert names(progress) == []
