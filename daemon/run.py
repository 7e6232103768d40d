"""The daemon: everything opened in order, the loop until told to stop, everything closed in order.

The main thread only waits for signals, so that none can interrupt a commit, and looks whether all the others move.
"""

import logging
import os
import signal
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NoReturn

from wardian.daemon import logs, wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.config import Config
from wardian.daemon.exit_status import DOES_NOT_HOLD, DONE, STORE_FAILED
from wardian.daemon.lookout import Lookout
from wardian.daemon.notify_socket import ServiceManager
from wardian.daemon.signals import ENDING, TAKEN
from wardian.rules.errors import AdapterError, StoreFailed

if TYPE_CHECKING:
    from wardian.daemon.config_page import PageKeys

log = logging.getLogger(__name__)

#: Whatever still hangs so long after the end has begun is left behind: all that was acknowledged is kept.
LONGEST_STOP_S: Final = 9.0


def watch(config_path: Path) -> int:
    """Watch until a signal ends it, which every thread must block; return the exit status.

    Raises:
        BadConfig: The configuration cannot be used.
        StoreFailed: The store cannot keep its promise.
        AdapterError: A notifier can never work as configured.
    """
    config = wiring.load_config(config_path)
    logs.begin()
    manager = ServiceManager(os.environ)
    try:
        with ExitStack() as opened:
            return _until_told(open_whole(config, opened), manager)
    except OSError as error:
        # Not of the configuration: to begin anew may help.
        log.critical("cannot go on", extra={"file": error.filename, "why": error.strerror or str(error)})
        return DOES_NOT_HOLD


def leave(status: int) -> NoReturn:
    """End the process at once: Python would wait for what still hangs."""
    logging.shutdown()
    os._exit(status)


def open_whole(config: Config, opened: ExitStack) -> Watch:
    """Open all that runs, the page included; it is closed with ``opened``.

    Raises:
        StoreFailed: The store cannot keep its promise.
        AdapterError: Something can never work as configured.
    """
    watching = wiring.open_watch(config, opened)
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


def _until_told(watching: Watch, manager: ServiceManager) -> int:
    """Run the loop in a thread of its own; a loop that ends by itself ends the daemon."""
    failures: list[BaseException] = []

    def work() -> None:
        try:
            watching.loop_until_stopped()
        except BaseException as error:  # noqa: BLE001  # handed to the main thread, which raises it
            failures.append(error)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)

    def status() -> int:
        if failures:
            return STORE_FAILED if isinstance(failures[0], StoreFailed) else DOES_NOT_HOLD
        return DOES_NOT_HOLD if thread.is_alive() else DONE

    threading.excepthook = _end_at_once
    # A loop that hangs for good must not keep the process: the guard ends it.
    thread = threading.Thread(target=work, name="loop", daemon=True)
    thread.start()
    try:
        _wait_for_the_end(Lookout(watching, manager, wiring.machine_clock()))
    finally:
        _guard_the_end(status)
        manager.stopping()
        watching.stop()
        thread.join()
    if failures:
        raise failures[0]
    return DONE


def _wait_for_the_end(lookout: Lookout) -> None:
    """Look after the parts until a signal ends that."""
    while True:
        received = signal.sigtimedwait(TAKEN, lookout.look())
        if received is None:
            continue
        name = signal.Signals(received.si_signo).name
        if received.si_signo in ENDING:
            log.info("stopping", extra={"signal": name})
            return
        log.warning("the configuration is read at a start only; start anew", extra={"signal": name})


def _guard_the_end(status: Callable[[], int]) -> None:
    """End the process in time, whatever hangs."""

    def end() -> None:
        hanging = ", ".join(sorted({one.name for one in threading.enumerate()} - {"MainThread", guard.name}))
        log.critical("ending, though something hangs", extra={"threads": hanging})
        os._exit(status())

    guard = threading.Timer(LONGEST_STOP_S, end)
    guard.name, guard.daemon = "last resort", True
    guard.start()


def _end_at_once(broken: Any) -> None:
    """End the process when a thread died of what nobody foresaw: alive and deaf would be worse."""
    error = (broken.exc_type, broken.exc_value, broken.exc_traceback)
    name = broken.thread.name if broken.thread else "unknown"
    log.critical("thread died, ending", extra={"thread_name": name}, exc_info=error)
    logging.shutdown()
    os._exit(DOES_NOT_HOLD)
