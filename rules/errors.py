"""Every error that a user, a sensor or a broken disk can cause.

Nothing else is raised on purpose. Each names the thing, the value and what is accepted.
"""

from dataclasses import dataclass


class WardianError(Exception):
    """The root of the tree, never raised itself."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One mistake in a configuration: where it is, what is wrong and what is accepted.

    Line 0 is that of what stands in no file, such as an option of a command.
    """

    path: str
    line: int
    problem: str
    hint: str = ""

    def in_file(self, file: str) -> str:
        """Return the line that a person reads: ``FILE:LINE: path.to.key: problem; hint``."""
        line = f":{self.line}" if self.line else ""
        place = f"{file}{line}: " + (f"{self.path}: " if self.path else "")
        return place + self.problem + (f"; {self.hint}" if self.hint else "")


class BadConfig(WardianError):
    """A configuration that cannot be used, with all its mistakes at once."""

    def __init__(self, file: str, mistakes: list[Mistake]) -> None:
        """Keep every mistake of one file, in the order of its lines."""
        self.file = file
        self.mistakes = sorted(mistakes, key=lambda mistake: mistake.line)
        super().__init__("\n".join(mistake.in_file(file) for mistake in self.mistakes))


class BadReading(WardianError):
    """Something that arrived and is no reading: counted and kept, never ends the loop."""

    def __init__(self, source: str, why: str) -> None:
        """Say which sensor, topic or line it came from, and why it is refused."""
        self.source = source
        self.why = why
        super().__init__(f"{source}: {why}")


class OutsideValidity(WardianError, ValueError):
    """A number outside the range in which a formula or a quantity holds."""

    def __init__(self, name: str, value: float, low: float, high: float, unit: str) -> None:
        """Name the quantity, its value and the range that is accepted."""
        self.name = name
        self.value = value
        super().__init__(f"{name} {value:.15g} {unit} is outside {low:g} to {high:g} {unit}")


class AdapterError(WardianError):
    """The world outside failed; ``may_heal`` says whether trying again can help."""

    may_heal = True

    def __init__(self, adapter: str, why: str) -> None:
        """Name the adapter as the configuration does."""
        self.adapter = adapter
        self.why = why
        super().__init__(f"{adapter}: {why}")


class SensorUnreachable(AdapterError):
    """A sensor, bus or broker does not answer."""


class DeliveryFailed(AdapterError):
    """A message was not taken; it stays due."""


class DeliveryRefused(AdapterError):
    """A message will never be taken this way: stop trying here, try the other channels."""

    may_heal = False


class StoreFailed(AdapterError):
    """The store cannot keep its promise."""

    def __init__(self, adapter: str, why: str, *, may_heal: bool = False) -> None:
        """``may_heal`` when only the moment is bad: a lock held by another, a full disk."""
        super().__init__(adapter, why)
        self.may_heal = may_heal


class StoreFull(StoreFailed):
    """There is no room left where things are kept; it may come again."""

    def __init__(self, adapter: str, why: str) -> None:
        """Name the store."""
        super().__init__(adapter, why, may_heal=True)


class StoreDamaged(StoreFailed):
    """What is kept cannot be read as it was written."""
