"""The people who are told: what each wants to hear, when, and through which channels."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.config_people import quiet_times
from wardian.daemon.library import PRIORITIES
from wardian.daemon.quiet import Quiet

if TYPE_CHECKING:
    from wardian.daemon.config_people import PersonKeys

LOW, MEDIUM, HIGH = range(len(PRIORITIES))
#: How long there is between two reminders, by rank, unless a person says otherwise.
REPEAT_MS: Final = (None, 14_400_000, 1_800_000)


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody who is told. Ranks are 0 for low, 1 for medium and 2 for high priority.

    ``repeat_ms`` is by rank, None for no reminder; ``after_ms`` is 0 for somebody who is told at once.
    """

    name: str
    channels: tuple[str, ...]
    hears: int = LOW
    quiet: Quiet | None = None
    repeat_ms: tuple[int | None, ...] = REPEAT_MS
    after_ms: int = 0

    def quiet_until_ms(self, time_ms: int) -> int | None:
        """Return when the quiet ends that holds at an instant, None where none does."""
        return self.quiet.until_ms(time_ms) if self.quiet else None

    def quiet_ended_ms(self, time_ms: int) -> int | None:
        """Return when the last quiet ended before an instant, or at it, None for whoever has none."""
        return self.quiet.ended_ms(time_ms) if self.quiet else None


def rank_of(fields: Any) -> int:
    """Return the rank of an alarm's priority."""
    return PRIORITIES.index(fields["priority"])


def people_of(keys: Iterable["PersonKeys"], channels: Sequence[str], zone: tzinfo) -> tuple[Person, ...]:
    """Return the people of a configuration with the channels that are open for them."""
    return tuple(
        Person(
            name=one.name,
            channels=tuple(name for wanted in one.channels for name in opened(wanted, channels)),
            hears=PRIORITIES.index(one.hears),
            quiet=Quiet(*times, zone) if (times := quiet_times(one)) else None,
            repeat_ms=(None, one.repeat.medium, one.repeat.high),
            after_ms=one.after or 0,
        )
        for one in keys
    )


def opened(notifier: str, channels: Sequence[str]) -> list[str]:
    """Return the channels that one notifier of a configuration opened: itself, or a numbered one an address."""
    return [name for name in channels if name.partition("#")[0] == notifier]
