import threading

import pytest

from wardian.adapters.deadlines import OneAtATime

SHORT_S = 0.05


class FakeWork:
    """Counts its calls; each waits until it is let go."""

    def __init__(self, error: Exception | None = None) -> None:
        self.calls = 0
        self.let_go = threading.Event()
        self._error = error

    def __call__(self) -> None:
        self.calls += 1
        assert self.let_go.wait(10)
        if self._error is not None:
            raise self._error


def ready(error: Exception | None = None) -> FakeWork:
    work = FakeWork(error)
    work.let_go.set()
    return work


def test_a_call_does_its_work_once_and_ends() -> None:
    work, calls = ready(), OneAtATime("test")
    calls.call("a", work, 10)
    calls.call("a", work, 10)
    assert work.calls == 2


def test_an_error_of_the_work_is_the_error_of_the_call() -> None:
    with pytest.raises(ConnectionResetError, match="gone"):
        OneAtATime("test").call("a", ready(ConnectionResetError("gone")), 10)


def test_a_call_that_hangs_ends_at_its_deadline_and_the_next_does_not_begin_beside_it() -> None:
    hanging, other, calls = FakeWork(), ready(), OneAtATime("test")
    with pytest.raises(TimeoutError, match="no end within"):
        calls.call("a", hanging, SHORT_S)
    with pytest.raises(TimeoutError, match="an earlier try has not ended yet"):
        calls.call("b", other, SHORT_S)
    assert other.calls == 0
    hanging.let_go.set()
    calls.call("b", other, 10)
    assert (hanging.calls, other.calls) == (1, 1)


def test_a_call_that_succeeded_late_stands_for_the_next_of_its_key() -> None:
    slow, calls = FakeWork(), OneAtATime("test")
    with pytest.raises(TimeoutError):
        calls.call("a", slow, SHORT_S)
    slow.let_go.set()
    calls.call("a", slow, 10)
    assert slow.calls == 1
    calls.call("a", slow, 10)
    assert slow.calls == 2


def test_a_call_that_failed_late_is_done_again() -> None:
    slow, calls = FakeWork(OSError("late")), OneAtATime("test")
    with pytest.raises(TimeoutError):
        calls.call("a", slow, SHORT_S)
    slow.let_go.set()
    with pytest.raises(OSError, match="late"):
        calls.call("a", slow, 10)
    assert slow.calls == 2
