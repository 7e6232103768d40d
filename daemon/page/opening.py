"""The page put together for a running daemon."""

from wardian.daemon.config_brokers import is_loopback
from wardian.daemon.config_page import PageKeys
from wardian.daemon.outward import Around
from wardian.daemon.page.app import Application
from wardian.daemon.page.doing import Doing
from wardian.daemon.page.drawings import Drawings
from wardian.daemon.page.guard import Guard
from wardian.daemon.page.looking import Looking
from wardian.daemon.page.server import PageServer
from wardian.daemon.page.site import Site, is_slow


def open_page(keys: PageKeys, password: str | None, around: Around) -> PageServer:
    """Return what serves the page, not started yet."""
    guard = Guard(keys.names, password, around.machine, is_open=not is_loopback(keys.listen.host))
    looking = Looking(around.config, around.machine)
    drawings = Drawings(around.config, around.machine)
    site = Site(looking, drawings, Doing(around.config, around.loop.queue.hurry), guard)
    return PageServer(Application(site.answer, is_slow), keys.listen)
