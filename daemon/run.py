"""The daemon: everything opened in order, the loop until told to stop, everything closed in order.

The main thread only waits for signals, so that none can interrupt a commit.
"""

import logging
import os
import signal
import sys
import threading
from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon import logs, wiring
from wardian.daemon.bench_watch import Watch
from wardian.daemon.config import Config
from wardian.daemon.exit_status import DOES_NOT_HOLD, DONE
from wardian.daemon.last_words import say_last_words, tell_of_last_end
from wardian.rules.errors import AdapterError, StoreFailed, WardianError

if TYPE_CHECKING:
    from wardian.daemon.config_page import PageKeys

log = logging.getLogger(__name__)

#: How long one thread may keep the others waiting: with Python's own 5 ms, one that computes leaves the threads that
#: receive a few messages a second.
TURN_S: Final = 0.0005
_SIGNALS: Final = frozenset({signal.SIGTERM, signal.SIGINT})


def watch(config_path: Path) -> int:
    """Watch until SIGTERM or SIGINT, which every thread must block; return the exit status.

    Raises:
        BadConfig: The configuration cannot be used.
        StoreFailed: The store cannot keep its promise.
        AdapterError: A notifier can never work as configured.
    """
    config = wiring.load_config(config_path)
    logs.begin()
    sys.setswitchinterval(TURN_S)
    try:
        with ExitStack() as opened:
            watching = open_whole(config, opened)
            if watching.troubles is not None:
                tell_of_last_end(config, watching.troubles)
            return _until_told(watching, lambda error: say_last_words(config, error))
    except Exception as error:
        # What cannot work as configured is told to whoever configures it: its channels may be what is wrong.
        if isinstance(error, StoreFailed) or not isinstance(error, WardianError):
            say_last_words(config, error)
        raise


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


def _until_told(watching: Watch, say_last_words: Callable[[BaseException], None]) -> int:
    """Run the loop in a thread of its own; a loop that ends by itself ends the daemon."""
    failures: list[BaseException] = []

    def work() -> None:
        try:
            watching.loop_until_stopped()
        except BaseException as error:  # noqa: BLE001  # handed to the main thread, which raises it
            failures.append(error)
        finally:
            os.kill(os.getpid(), signal.SIGTERM)

    threading.excepthook = lambda broken: _end_at_once(broken, say_last_words)
    thread = threading.Thread(target=work, name="loop")
    thread.start()
    received = signal.sigwait(_SIGNALS)
    log.info("stopping", extra={"signal": signal.Signals(received).name})
    watching.stop()
    thread.join()
    if failures:
        raise failures[0]
    return DONE


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
