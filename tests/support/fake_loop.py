"""What a sensor hands over to, in place of the daemon's loop."""

from dataclasses import dataclass, field

from wardian.rules.ports import Arrival


@dataclass
class FakeLoop:
    """Takes arrivals while there is room."""

    room: int = 1_000_000
    taken: list[Arrival] = field(default_factory=list)

    def take(self, arrival: Arrival) -> bool:
        if not self.room:
            return False
        self.room -= 1
        self.taken.append(arrival)
        return True
