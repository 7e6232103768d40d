"""A program that is nothing but an outbox: ``outbox_program.py DATABASE URL MESSAGES``.

At its first start it commits the messages; then it sends what waits until nothing does.
"""

import sys
from itertools import count
from pathlib import Path

from wardian.adapters.notifiers.webhook import WebhookNotifier, WebhookSettings
from wardian.adapters.stores.sql import SqlStore
from wardian.daemon.outbox import Outbox
from wardian.rules.ports import DueMessage, Message, Round


class FakeClock:
    """Goes on by an hour with each look."""

    def __init__(self) -> None:
        self._hours = count(1)

    def wall_ms(self) -> int:
        return next(self._hours) * 3_600_000

    def monotonic_s(self) -> float:
        return 0.0


def main(database: str, url: str, messages: int) -> None:
    """Send everything."""
    store, clock = SqlStore.open(Path(database)), FakeClock()
    if "written" not in store.notes():
        due = [DueMessage("hook", Message(f"key-{n}", "", "", {"number": n})) for n in range(messages)]
        store.keep(Round(now_ms=0, due=due, notes={"written": True}))
    outbox = Outbox(store, [WebhookNotifier(WebhookSettings("hook", url=url))], clock, str)
    while store.waiting():
        outbox.run_due(clock.wall_ms())
    store.close()


if __name__ == "__main__":
    main(sys.argv[1], sys.argv[2], int(sys.argv[3]))
