"""The two clocks of a machine, which stand still until a test moves them."""

from dataclasses import dataclass

#: 2026-03-02T12:00Z.
NOON_MS = 1_772_452_800_000


@dataclass
class FakeClock:
    """Each look at the wall clock takes ``look_ms``; setting ``now_ms`` puts its hands, and no time passes."""

    now_ms: int = NOON_MS
    look_ms: int = 0
    passed_ms: int = 0

    def wall_ms(self) -> int:
        self.step(self.look_ms)
        return self.now_ms

    def monotonic_s(self) -> float:
        return self.passed_ms / 1000

    def step(self, by_ms: int) -> None:
        """Let time go on: both clocks do."""
        self.now_ms += by_ms
        self.passed_ms += by_ms

    def step_to(self, now_ms: int) -> None:
        """Let time go on until the wall clock shows this."""
        self.step(now_ms - self.now_ms)
