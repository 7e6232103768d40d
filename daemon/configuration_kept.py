"""What the configuration of the last run watched, kept beside the readings and held against that of this run.

The rule of this file: whoever changed the file knows it; whoever did not is told where less is watched than before.
"""

import logging
from collections.abc import Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.beside import Extra
from wardian.daemon.config import Config
from wardian.daemon.lives import Lives
from wardian.daemon.tongue import Tongue
from wardian.daemon.watched_facts import (
    changed_sections,
    left_unwatched,
    less_watched,
    watched_facts,
    words_of,
)

if TYPE_CHECKING:
    from wardian.daemon.own_troubles import OwnTroubles

log = logging.getLogger(__name__)

#: The note that says what was watched, when that last changed, and in which sections.
NOTE: Final = "configuration"
#: The name of the trouble that less is watched.
LESS: Final = "watches-less"
#: So long it is said where people look that it changed.
SAID_MS: Final = 24 * 3_600_000
#: So many warnings are named; the rest is counted.
_NAMED: Final = 5


class ConfigurationKept:
    """Takes part in the first round alone, with the facts of this run."""

    def __init__(self, config: Config, before: Mapping[str, Any], troubles: "OwnTroubles") -> None:
        """Hold the configuration against the facts that the last run left, if any."""
        self._facts = watched_facts(config)
        self._before = before
        self._is_kept = False
        self._changed = changed_sections(before, self._facts) if before else []
        less = less_watched(before, self._facts, Tongue.of(config.site)) if before else []
        if self._changed:
            log.warning("configuration changed", extra={"sections": self._changed, "less": less})
        if less:
            troubles.happened(LESS, words_of(less))

    def work(self, now_ms: int, _lives: Lives) -> Extra:
        """Return the facts to keep, until they are."""
        if self._is_kept:
            return Extra()
        when = {"changed_ms": now_ms, "changed": self._changed}
        if not self._changed:
            when = {name: self._before[name] for name in when if name in self._before}
        return Extra(notes={NOTE: {**self._facts, **when}})

    def committed(self) -> None:
        """Hear that they are kept."""
        self._is_kept = True


def log_warnings(config: Config) -> None:
    """Log what a configuration can be used with but hardly means; at every start."""
    for warning in config.warnings:
        log.warning("configuration warns", extra={"of": warning.in_file(config.document.file)})


def cautions(config: Config, notes: Mapping[str, Any], now_ms: int) -> list[str]:
    """Return what people should bear in mind about the configuration, a line each.

    That it changed within the last day, what it leaves unwatched for good, and what it is warned of.
    """
    note, tongue = notes.get(NOTE, {}), Tongue.of(config.site)
    changed_ms = note.get("changed_ms")
    told = []
    if changed_ms is not None and 0 <= now_ms - changed_ms < SAID_MS:
        told.append(
            f"configuration changed in {', '.join(note['changed'])} (start of {tongue.moment(changed_ms)})"
        )
    if unwatched := left_unwatched(config):
        told.append(f"left unwatched by the configuration: {', '.join(unwatched)}")
    return [*told, *_warned(config.warnings)]


def _warned(warnings: Sequence[Any]) -> Iterator[str]:
    for warning in warnings[:_NAMED]:
        yield f"configuration, line {warning.line}: {warning.path} {warning.problem}"
    if len(warnings) > _NAMED:
        yield f"configuration: {len(warnings) - _NAMED} more warnings; `wardian check` names them"
