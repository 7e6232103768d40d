"""What a configuration watches at all, in few facts that are kept, so that the next start can say what is otherwise.

The rule of this file: a file that was cut off, or a limit that lost a digit, is told to people; what merely reads
otherwise is a line where they look.
"""

import hashlib
from collections.abc import Iterator, Mapping
from typing import Any, Final

from wardian.daemon.config import Config
from wardian.daemon.tongue import Tongue, span_words
from wardian.rules.quantities import QUANTITIES

Facts = Mapping[str, Any]

#: What is named in a list, and how it is called when it is gone.
_NAMED: Final = {"sensors": "sensor", "channels": "notifier", "people": "person"}
#: So much is told one by one; the rest is counted.
_TOLD: Final = 6


def watched_facts(config: Config) -> dict[str, Any]:
    """Return the facts of a configuration, as JSON can hold them.

    ``sections``: a short hash of what each says; ``trays``: the crop of each; ``limits``: by crop, by stage,
    quantity and name: threshold in the quantity's own unit and on-delay in ms; the rest are names.
    """
    value: Mapping[str, Any] = config.document.value
    crops = {tray.crop.name: tray.crop for tray in config.trays}
    return {
        "sections": {
            name: hashlib.sha256(repr(part).encode()).hexdigest()[:12] for name, part in value.items()
        },
        "trays": {tray.name: tray.crop.name for tray in config.trays},
        "limits": {
            name: {
                f"{stage.name}|{quantity}|{limit.name}": [limit.threshold, limit.on_delay_ms]
                for stage in crop.stages
                for quantity, band in stage.bands.items()
                for limit in band.limits
            }
            for name, crop in crops.items()
        },
        "sensors": [sensor.name for sensor in config.sensors],
        "channels": [notifier.name for notifier in config.notifiers],
        "people": [person.name for person in config.people],
        "unwatched": left_unwatched(config),
    }


def left_unwatched(config: Config) -> list[str]:
    """Return the conditions that a configuration leaves unwatched, for good."""
    return sorted(name for name, advice in config.library.conditions.items() if not advice.watch)


def changed_sections(before: Facts, now: Facts) -> list[str]:
    """Return the sections that say something else than before, those that came or went included."""
    old, new = before.get("sections", {}), now["sections"]
    return [name for name in {**old, **new} if old.get(name) != new.get(name)]


def less_watched(before: Facts, now: Facts, tongue: Tongue) -> list[str]:
    """Return what is watched less than before: what is gone, limits that went out, delays that became longer."""
    return [
        *(f"tray {name} is gone" for name in before.get("trays", {}) if name not in now["trays"]),
        *_limits_gone_out(before.get("limits", {}), now["limits"], tongue),
        *(
            f"{what} {name} is gone"
            for kind, what in _NAMED.items()
            for name in before.get(kind, [])
            if name not in now[kind]
        ),
        *(
            f"{name.replace('-', ' ')} is not looked for any more"
            for name in now["unwatched"]
            if name not in before.get("unwatched", now["unwatched"])
        ),
    ]


def words_of(less: list[str]) -> str:
    """Return in one sentence what is watched less."""
    more = f"; and {len(less) - _TOLD} more" if len(less) > _TOLD else ""
    return f"since the last start {'; '.join(less[:_TOLD])}{more}."


def _limits_gone_out(
    before: Mapping[str, Mapping[str, Any]], now: Mapping[str, Mapping[str, Any]], tongue: Tongue
) -> Iterator[str]:
    for crop in sorted(before.keys() & now.keys()):
        for key, (old, old_delay_ms) in before[crop].items():
            stage, quantity, name = key.split("|")
            where = f"{crop}, {stage}: {name.replace('_', ' ')} limit of {QUANTITIES[quantity].words}"
            if key not in now[crop]:
                yield f"{where} is gone"
                continue
            new, delay_ms = now[crop][key]
            if new > old if name.startswith("high") else new < old:
                yield f"{where} went from {_value(tongue, quantity, old)} to {_value(tongue, quantity, new)}"
            elif delay_ms > old_delay_ms:
                yield f"{where} waits {span_words(delay_ms)} instead of {span_words(old_delay_ms)}"


def _value(tongue: Tongue, quantity: str, value: float) -> str:
    return tongue.value(QUANTITIES[quantity], value)
