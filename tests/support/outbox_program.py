"""A program that is nothing but an outbox: ``outbox_program.py DATABASE URL MESSAGES``.

At its first start it commits the messages; then it sends what waits until nothing does.
"""

import sys
from pathlib import Path

from fake_clock import FakeClock

from wardian.adapters.notifiers.webhook import WebhookNotifier, WebhookSettings
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.outbox import Outbox
from wardian.rules.ports import DueMessage, Message, Round


def main(database: str, url: str, messages: int) -> None:
    """Send everything."""
    store, clock = SqlStore.open(Path(database)), FakeClock(now_ms=0, look_ms=3_600_000)
    if "written" not in store.notes():
        due = [DueMessage("hook", Message(f"key-{n}", "", "", {"number": n})) for n in range(messages)]
        store.keep(Round(now_ms=0, due=due, notes={"written": True}))
    outbox = Outbox(store, [WebhookNotifier(WebhookSettings("hook", url=url))], clock, str)
    while store.waiting():
        outbox.run_due(clock.wall_ms())
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
