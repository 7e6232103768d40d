"""The page put together for a running daemon."""

from collections.abc import Callable
from typing import NamedTuple

from wardian.daemon.config import Config
from wardian.daemon.config_brokers import is_loopback
from wardian.daemon.config_page import PageKeys
from wardian.daemon.page.app import Application
from wardian.daemon.page.doing import Doing
from wardian.daemon.page.guard import Guard
from wardian.daemon.page.looking import Looking
from wardian.daemon.page.server import PageServer
from wardian.daemon.page.site import Site
from wardian.rules.ports import Clock


class Bench(NamedTuple):
    """What is shown: a configuration as written, the machine's clock, and what asks the daemon for its next round."""

    config: Config
    machine: Clock
    hurry: Callable[[], None]


def open_page(keys: PageKeys, password: str | None, bench: Bench) -> PageServer:
    """Return what serves the page, not started yet."""
    guard = Guard(keys.names, password, bench.machine, is_open=not is_loopback(keys.listen.host))
    looking = Looking(bench.config, bench.machine)
    site = Site(looking, Doing(bench.config, bench.hurry), guard, bench.machine)
    return PageServer(Application(site), keys.listen)
