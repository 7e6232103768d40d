"""A wire on which is asked from afar, without a broker: a test says what is heard, and reads the answers."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from wardian.rules.wire_health import SensorHealth


@dataclass
class Heard:
    """One message as a wire hands it over."""

    payload: bytes
    value: Any
    why: str = ""
    is_retained: bool = False
    is_repeat: bool = False


@dataclass
class FakeWire:
    """Hands over what a test gives it, and keeps what it is told."""

    name: str = "commands"
    waiting: list[Heard] = field(default_factory=list)
    over: list[Heard] = field(default_factory=list)
    answers: list[dict[str, Any]] = field(default_factory=list)

    def take(self) -> Sequence[Heard]:
        taken, self.waiting = self.waiting, []
        return taken

    def done(self, heard: Sequence[Heard]) -> None:
        self.over += heard

    def answer(self, fields: Mapping[str, Any]) -> None:
        self.answers.append(json.loads(json.dumps(fields)))

    def health(self) -> SensorHealth:
        return SensorHealth(True, "connected")
