"""The daemon: everything opened in order, the loop until told to stop, everything closed in order.

The main thread only waits for signals, so that none can interrupt a commit, and looks whether all the others move.
"""

import logging
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from wardian.daemon import logs, wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.clock_watch import Anew
from wardian.daemon.config import Config
from wardian.daemon.configuration_kept import log_warnings
from wardian.daemon.exit_status import DOES_NOT_HOLD, DONE, STORE_FAILED
from wardian.daemon.last_words import say_last_words, tell_of_last_end
from wardian.daemon.lookout import Lookout
from wardian.daemon.notify_socket import ServiceManager
from wardian.daemon.signals import ENDED, ENDING, TAKEN
from wardian.rules.errors import AdapterError, StoreFailed, WardianError

if TYPE_CHECKING:
    from wardian.daemon.config_page import PageKeys

log = logging.getLogger(__name__)

#: Whatever still hangs so long after the end was asked for is left behind: all that was acknowledged is kept.
LONGEST_STOP_S: Final = 9.0
#: The same for an end that nobody asked for, of which people are told first.
LONGEST_END_S: Final = 60.0
#: How long a start waits for a machine's clock that cannot be right, and how often it looks.
TIME_PATIENCE_S: Final = 60.0
_LOOK_S: Final = 0.25
#: How long one thread may keep the others waiting: with Python's own 5 ms, one that computes leaves the threads that
#: receive a few messages a second.
TURN_S: Final = 0.0005


def watch(config_path: Path) -> int:
    """Watch until a signal ends it, which every thread must block; return the exit status.

    Raises:
        BadConfig: The configuration cannot be used.
        StoreFailed: The store cannot keep its promise.
        AdapterError: A notifier can never work as configured.
    """
    config = wiring.load_config(config_path)
    logs.begin()
    sys.setswitchinterval(TURN_S)
    log_warnings(config)
    try:
        return _watch_until_told(config, ServiceManager(os.environ)) if _time_came(config) else DONE
    except StoreFailed as error:
        say_last_words(config, error)
        raise
    except WardianError:
        # What cannot work as configured is told to whoever configures it: its channels may be what is wrong.
        raise
    except Exception as error:  # what nobody foresaw must not look like a mistake of the configuration
        # Never the status of a configuration that cannot be used: after that no service manager starts anew.
        log.critical("watching ended by what nobody foresaw", exc_info=True)
        say_last_words(config, error)
        return DOES_NOT_HOLD


def leave(status: int) -> NoReturn:
    """End the process at once: Python would wait for what still hangs."""
    logging.shutdown()
    os._exit(status)


def _watch_until_told(config: Config, manager: ServiceManager) -> int:
    """Watch, and begin anew each time that an era is to be moved, for the clock was wrong."""
    anew: Anew | None = None
    while True:
        with ExitStack() as opened:
            watching = open_whole(config, opened, anew)
            if watching.troubles is not None and anew is None:
                tell_of_last_end(config, watching.troubles)
            status = _until_told(watching, manager, lambda error: say_last_words(config, error))
        anew = watching.anew
        if anew is None:
            return status
        log.info("beginning anew by another time")
        manager.feed()  # nobody looks until all is open again
        wiring.move_era(config, anew)


def _time_came(config: Config) -> bool:
    """Wait a little for a machine's clock that cannot be right yet; return False where one was told to stop meanwhile.

    Until then nothing is opened: what waits at a broker waits there, and keeps its time.
    """
    machine = wiring.machine_clock()
    begun_s, known_ms = machine.monotonic_s(), wiring.earliest_ms(config)
    if machine.wall_ms() < known_ms:
        log.warning("waiting for the clock to be set", extra={"at_most_s": TIME_PATIENCE_S})
    while machine.wall_ms() < known_ms and machine.monotonic_s() - begun_s < TIME_PATIENCE_S:
        if signal.sigtimedwait(ENDING, _LOOK_S) is not None:
            return False
    return True


def open_whole(config: Config, opened: ExitStack, anew: Anew | None = None) -> Watch:
    """Open all that runs, the page included; it is closed with ``opened``.

    Raises:
        StoreFailed: The store cannot keep its promise.
        AdapterError: Something can never work as configured.
    """
    watching = wiring.open_watch(config, opened, anew)
    if config.outward.page is not None:
        _open_page(config, config.outward.page, watching, opened)
    return watching


def _open_page(config: Config, keys: "PageKeys", watching: Watch, opened: ExitStack) -> None:
    from wardian.daemon.opening import page_password
    from wardian.daemon.outward import Wire

    try:
        from wardian.daemon.page.opening import Bench, open_page
    except ModuleNotFoundError as error:
        why = f"{error.name} is not installed; run: pip install 'wardian[page]'"
        raise AdapterError("page", why) from error
    bench = Bench(config, wiring.machine_clock(), watching.loop.queue.hurry)
    server = open_page(keys, page_password(keys), bench)
    server.start()
    opened.callback(server.stop)
    watching.wires.append(Wire("page", server.health))


def _until_told(
    watching: Watch, manager: ServiceManager, say_last_words: Callable[[BaseException], None]
) -> int:
    """Run the loop in a thread of its own; a loop that ends by itself ends the daemon."""
    failures: list[BaseException] = []
    ended = threading.Event()

    def work() -> None:
        try:
            watching.loop_until_stopped()
        except BaseException as error:  # noqa: BLE001  # handed to the main thread, which raises it
            failures.append(error)
        finally:
            ended.set()
            os.kill(os.getpid(), ENDED)

    def status() -> int:
        if failures:
            return STORE_FAILED if isinstance(failures[0], StoreFailed) else DOES_NOT_HOLD
        return DONE if ended.is_set() else DOES_NOT_HOLD

    threading.excepthook = lambda broken: _end_at_once(broken, say_last_words)
    # A loop that hangs for good must not keep the process: the guard ends it.
    thread = threading.Thread(target=work, name="loop", daemon=True)
    thread.start()
    is_asked = _wait_for_the_end(Lookout(watching, manager, wiring.machine_clock()), ended)
    guard = _guard_the_end(status, LONGEST_STOP_S if is_asked else LONGEST_END_S)
    watching.stop()
    if is_asked:
        manager.stopping()
    thread.join()
    if is_asked:
        watching.anew = None
    elif watching.anew:
        guard.cancel()
    if failures:
        _end_with(failures[0])
    return DONE


def _wait_for_the_end(lookout: Lookout, ended: threading.Event) -> bool:
    """Look after the parts until the loop has ended or a signal ends that; return whether one did."""
    while not ended.is_set():
        received = signal.sigtimedwait(TAKEN, lookout.look())
        if received is None or received.si_signo == ENDED:
            continue
        name = signal.Signals(received.si_signo).name
        if received.si_signo in ENDING:
            log.info("stopping", extra={"signal": name})
            return True
        log.warning("the configuration is read at a start only; start anew", extra={"signal": name})
    return False


def _guard_the_end(status: Callable[[], int], within_s: float) -> threading.Timer:
    """End the process in time, whatever hangs."""

    def end() -> None:
        hanging = ", ".join(sorted({one.name for one in threading.enumerate()} - {"MainThread", guard.name}))
        log.critical("ending, though something hangs", extra={"threads": hanging})
        os._exit(status())

    guard = threading.Timer(within_s, end)
    guard.name, guard.daemon = "last resort", True
    guard.start()
    return guard


def _end_with(error: BaseException) -> NoReturn:
    """Raise what ended the rounds: nothing that comes up in them is a mistake of the configuration."""
    if isinstance(error, StoreFailed) or not isinstance(error, WardianError):
        raise error
    raise RuntimeError(f"the rounds ended: {type(error).__name__}") from error


def _end_at_once(broken: Any, say_last_words: Callable[[BaseException], None]) -> None:
    """End the process when a thread died of what nobody foresaw: alive and deaf would be worse."""
    error = (broken.exc_type, broken.exc_value, broken.exc_traceback)
    name = broken.thread.name if broken.thread else "unknown"
    log.critical("thread died, ending", extra={"thread_name": name}, exc_info=error)
    try:
        say_last_words(broken.exc_value or broken.exc_type())
    finally:
        logging.shutdown()
        os._exit(DOES_NOT_HOLD)
