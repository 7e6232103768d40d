"""Calls into libraries that may hang, each with an outer deadline.

A thread cannot be ended from outside. So a call that outlives its deadline is left behind, and the
next one waits for it: there is never more than one, and what they send stays in order.
"""

import threading
from collections.abc import Callable
from concurrent.futures import Future, wait


class OneAtATime:
    """Runs calls one after the other, in threads of their own that never keep the program alive."""

    def __init__(self, name: str) -> None:
        """Name the threads after the adapter they work for."""
        self._name = name
        self._key = ""
        self._left_behind: Future[None] | None = None

    def call(self, key: str, work: Callable[[], None], within_s: float) -> None:
        """Return once ``work`` has, or raise what it raises; takes at most twice ``within_s``.

        A call that was left behind and has succeeded since stands for the next one of the same key:
        a peer that is merely slow is not told everything again and again.

        Raises:
            TimeoutError: This call, or an earlier one, has not ended within the time.
        """
        if self._left_behind is not None:
            succeeded = _outcome(self._left_behind, within_s)
            self._left_behind = None
            if succeeded and self._key == key:
                return
        self._begin(key, work)
        self._result(within_s)

    def _begin(self, key: str, work: Callable[[], None]) -> None:
        future: Future[None] = Future()
        self._key, self._left_behind = key, future
        threading.Thread(target=_carry_out, args=(work, future), name=self._name, daemon=True).start()

    def _result(self, within_s: float) -> None:
        future = self._left_behind
        assert future is not None
        if wait([future], within_s).not_done:
            raise TimeoutError(f"no end within {within_s:g} s")
        self._left_behind = None
        future.result()


def _outcome(left_behind: "Future[None]", within_s: float) -> bool:
    if wait([left_behind], within_s).not_done:
        raise TimeoutError("an earlier try has not ended yet")
    return left_behind.exception() is None


def _carry_out(work: Callable[[], None], future: "Future[None]") -> None:
    try:
        work()
    except BaseException as error:  # noqa: BLE001 - carried to the caller, who knows what to do
        future.set_exception(error)
    else:
        future.set_result(None)
