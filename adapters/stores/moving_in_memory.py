"""What the store in memory moves of an era, one at a time."""

from collections.abc import Mapping
from dataclasses import replace

from wardian.rules.moving import Moving, moved_json
from wardian.rules.ports import Due, Refused
from wardian.rules.readings import Reading


def moved_readings(
    readings: Mapping[tuple[int, int], Reading], moving: Moving
) -> dict[tuple[int, int], Reading]:
    """Return readings by time and the number of their series, when they belong."""
    moved = {(moving.of(time_ms), number): one for (time_ms, number), one in readings.items()}
    return {place: one._replace(time_ms=place[0]) for place, one in moved.items()}


def moved_refusal(kept: tuple[int, Refused], moving: Moving) -> tuple[int, Refused]:
    """Return when something was refused, and what, when it belongs."""
    refused_ms, one = kept
    time_ms = None if one.time_ms is None else moving.of(one.time_ms)
    return moving.of(refused_ms), one._replace(time_ms=time_ms)


def moved_due(due: Due, moving: Moving) -> Due:
    """Return a message, when it belongs; its key stays."""
    created_ms, due_ms = moving.of(due.created_ms), moving.of(due.due_ms)
    message = due.message
    if created_ms != due.created_ms:
        message = replace(message, fields=moved_json(message.fields, moving))
    return replace(due, message=message, created_ms=created_ms, due_ms=due_ms)
