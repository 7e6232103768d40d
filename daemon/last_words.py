"""What people hear when nobody watches any more: that it is so, why, and what to do.

The rule of this file: it needs no store, takes no longer than some seconds, and tells at most once an hour however
often a service manager starts us again. What went wrong is told once more by the next run that watches.
"""

import logging
import threading
from collections.abc import Sequence
from contextlib import ExitStack
from dataclasses import replace
from typing import TYPE_CHECKING, Final

from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.last_end import End, last_end, note_end, places
from wardian.daemon.opening import open_notifiers
from wardian.daemon.own_troubles import entry_about
from wardian.daemon.tongue import Tongue, utc_text
from wardian.daemon.visiting import another_watches, database_of
from wardian.rules.errors import AdapterError, StoreFailed
from wardian.rules.ports import Message, Notifier

if TYPE_CHECKING:
    from wardian.daemon.own_troubles import OwnTroubles

log = logging.getLogger(__name__)

#: The name of it among what goes wrong with the watch itself.
NOT_WATCHING: Final = "not-watching"
SELDOM_MS: Final = 3_600_000
#: An end that nobody foresaw is told by the next run; one that comes again so soon is told at once.
AGAIN_MS: Final = 10 * 60_000
ENOUGH_S: Final = 10.0


def say_last_words(config: Config, error: BaseException) -> None:
    """Tell people that nobody watches any more, where they have not heard it within the hour."""
    if another_watches(config):
        return
    now_ms = wiring.machine_clock().wall_ms()
    kept_in = places(database_of(config))
    before = last_end(kept_in)
    end = End(now_ms, _why(error), before.told_ms if before else None)
    is_again = before is not None and _is_within(before.ended_ms, now_ms, AGAIN_MS)
    is_told = end.told_ms is not None and _is_within(end.told_ms, now_ms, SELDOM_MS)
    if (isinstance(error, StoreFailed) or is_again) and not is_told:
        # Kept first: whoever ends us in the middle must not make us tell it again and again.
        end = replace(end, told_ms=now_ms)
        note_end(kept_in, end)
        _tell(config, end)
    else:
        note_end(kept_in, end)


def tell_of_last_end(config: Config, troubles: "OwnTroubles") -> None:
    """Tell, now that somebody watches again, how the last run ended, where it was not told to end."""
    kept_in = places(database_of(config))
    end = last_end(kept_in)
    if end is None or not end.is_news:
        return
    moment = Tongue.of(config.site).moment(end.ended_ms)
    why = f": {end.why}" if end.why else ""
    troubles.happened(NOT_WATCHING, f"it ended at {moment}{why}. It watches again now.")
    note_end(kept_in, replace(end, is_news=False))


def _tell(config: Config, end: End) -> None:
    message = _message(config, end)
    try:
        with ExitStack() as opened:
            _send(open_notifiers(config, opened), message)
    except AdapterError as error:
        log.error("nobody can be told", extra={"why": error.why})  # noqa: TRY400 - the words say it all


def _message(config: Config, end: End) -> Message:
    advice = replace(config.library.watch[NOT_WATCHING], priority="high")
    fields = entry_about(NOT_WATCHING, advice, end.ended_ms, f"nobody watches: {end.why}")
    hour = utc_text(end.ended_ms)[:13]
    told = wiring.teller(config).message(fields)
    return replace(told, key=f"{fields['tray']}/{NOT_WATCHING}/{hour}")


def _send(notifiers: Sequence[Notifier], message: Message) -> None:
    """Send it through every channel at the same time; one that hangs is left behind."""
    threads = [threading.Thread(target=_send_one, args=(one, message), daemon=True) for one in notifiers]
    clock = wiring.machine_clock()
    until_s = clock.monotonic_s() + ENOUGH_S
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(max(0.0, until_s - clock.monotonic_s()))


def _send_one(notifier: Notifier, message: Message) -> None:
    try:
        notifier.send(message)
    except AdapterError as error:
        log.error("last words not taken", extra={"channel": notifier.name, "why": error.why})  # noqa: TRY400 - as above
    except Exception as error:  # noqa: BLE001 - the words of an error we do not know may hold a secret
        why = f"unexpected {type(error).__name__}"
        log.error("last words not taken", extra={"channel": notifier.name, "why": why})  # noqa: TRY400 - as above


def _why(error: BaseException) -> str:
    if isinstance(error, StoreFailed):
        return error.why
    return f"an error that nobody foresaw ({type(error).__name__}); the log has all of it"


def _is_within(then_ms: int, now_ms: int, span_ms: int) -> bool:
    """Whether it was so lately, whichever way the clock was set since."""
    return abs(now_ms - then_ms) < span_ms
