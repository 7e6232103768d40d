"""The crop library's words and numbers: what is used where a configuration says nothing, and what to do.

Both come from files beside the rules, ``defaults.yaml`` and ``alarms.yaml``, each figure with its
reason. The rule of this file: a library with a gap is a broken program, so every gap is refused.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any, Final

from wardian.daemon.reasoned import ConditionFigure, Reasoned, condition_figure, reasoned
from wardian.rules.amounts import duration_ms, exact_amount, split_amount
from wardian.rules.crops import LIMITS
from wardian.rules.documents import Document, Parse
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.transitions import SENSOR_IMPLAUSIBLE, SENSOR_SILENT

PRIORITIES: Final = ("low", "medium", "high")
SENSOR_CONDITIONS: Final = (SENSOR_SILENT, SENSOR_IMPLAUSIBLE)
_SHARE: Final = "of the limit"


@dataclass(frozen=True, slots=True)
class Default:
    """What holds for one quantity where a configuration says nothing.

    ``accuracy`` is there for what a derived uncertainty follows from.
    """

    quantity: str
    deadband: Reasoned
    on_delay: Reasoned
    off_delay: Reasoned
    silent_after: Reasoned
    accuracy: Reasoned | None = None

    def deadband_of(self, threshold: Fraction) -> Fraction:
        """Return the deadband of a limit, exactly, in the quantity's own unit."""
        return _deadband(QUANTITIES[self.quantity], self.deadband.text, threshold)

    @property
    def on_delay_ms(self) -> int:
        """How long a value must be beyond a limit."""
        return duration_ms(self.on_delay.text)

    @property
    def off_delay_ms(self) -> int:
        """How long a value must be within again."""
        return duration_ms(self.off_delay.text)

    @property
    def silent_after_ms(self) -> int:
        """How long a value may be unknown."""
        return duration_ms(self.silent_after.text)


@dataclass(frozen=True, slots=True)
class Advice:
    """What one alarm is called and what it asks for, in plain words.

    ``within`` says how soon, as the middle of a sentence: "within 30 min", "at the next round".
    ``condition`` says what raises an alarm about a sensor or a condition of the traces; it is empty where
    that is a limit. One that latches stays, once it was raised, until somebody resets it. ``watch`` is
    whether a condition of the traces is looked for at all, ``hides`` the alarms of its tray that only follow
    from it and are suppressed while it stands.
    """

    alarm: str
    priority: str
    cause: str
    consequence: str
    action: str
    within: str
    condition: str = ""
    latch: bool = False
    watch: bool = True
    hides: tuple[str, ...] = ()

    def in_doubt(self) -> "Advice":
        """Return what is asked for where the breach is smaller than its uncertainty, which is never urgent."""
        if self.priority != "high":
            return self
        action = f"look at the cuttings and the probe, since this may be no breach at all; then {self.action}"
        return replace(self, priority="medium", action=action, within="within 4 h")


@dataclass(frozen=True, slots=True)
class Library:
    """Defaults by quantity; general ones by name; advice by quantity and limit, or by condition.

    ``sensors`` are the conditions that the contract of the engine knows, ``conditions`` those that are read
    from the traces; ``figures`` are of the latter, by condition and name. ``watch`` is what goes wrong with the
    watch itself. ``parse`` reads what else lies beside the rules, when it is asked for.
    """

    defaults: Mapping[str, Default]
    general: Mapping[str, Reasoned]
    limits: Mapping[tuple[str, str], Advice]
    sensors: Mapping[str, Advice]
    conditions: Mapping[str, Advice]
    watch: Mapping[str, Advice]
    figures: Mapping[str, Mapping[str, ConditionFigure]]
    parse: Parse

    def advice(self, quantity: str, condition: str) -> Advice:
        """Return the advice about a limit of a quantity, its sensor, a condition of the traces, or the watch itself."""
        found = self.sensors.get(condition) or self.conditions.get(condition) or self.watch.get(condition)
        return found or self.limits[quantity, condition]

    def alarms(self) -> Iterator[Advice]:
        """Yield the advice about every alarm there is."""
        yield from self.limits.values()
        yield from self.sensors.values()
        yield from self.conditions.values()
        yield from self.watch.values()

    def overridden(
        self, changes: Mapping[str, Mapping[str, Any]], figures: Mapping[str, Mapping[str, str]]
    ) -> "Library":
        """Return a library in which alarms, by name, have other fields and figures; this one stays as it is."""
        return replace(
            self,
            limits={key: replace(one, **changes.get(one.alarm, {})) for key, one in self.limits.items()},
            sensors={key: replace(one, **changes.get(one.alarm, {})) for key, one in self.sensors.items()},
            conditions={
                key: replace(one, **changes.get(one.alarm, {})) for key, one in self.conditions.items()
            },
            watch={key: replace(one, **changes.get(one.alarm, {})) for key, one in self.watch.items()},
            figures={
                key: {name: one.written(figures.get(key, {}).get(name)) for name, one in of.items()}
                for key, of in self.figures.items()
            },
        )

    def hiding(self) -> dict[str, list[str]]:
        """Return, by the name of an alarm, the conditions from which it only follows."""
        found: dict[str, list[str]] = {}
        for condition, advice in self.conditions.items():
            for name in advice.hides if advice.watch else ():
                found.setdefault(name, []).append(condition)
        return found

    def watched_figures(self) -> dict[str, dict[str, float]]:
        """Return the figures of every condition that is looked for."""
        return {
            name: {key: one.amount for key, one in of.items()}
            for name, of in self.figures.items()
            if self.conditions[name].watch
        }

    def accuracy_of(self, quantity: str) -> Fraction:
        """Return how far a reading of a quantity may be off, in its own unit of a difference."""
        accuracy = self.defaults[quantity].accuracy
        assert accuracy is not None
        return exact_amount(accuracy.text, QUANTITIES[quantity].difference)


@cache
def library(parse: Parse) -> Library:
    """Return the crop library that comes with the program, read and checked once.

    Raises:
        ValueError: It has a gap or a figure that cannot be used; tests see to it that it has none.
    """
    defaults = document_of(parse, "defaults.yaml").value
    alarms = document_of(parse, "alarms.yaml").value
    conditions = alarms["conditions"] or {}
    return Library(
        defaults={name: _default(name, defaults["quantities"][name]) for name in QUANTITIES},
        general={name: reasoned(keys) for name, keys in defaults["general"].items()},
        limits={
            (name, limit): _advice(alarms["limits"][name][limit]) for name in QUANTITIES for limit in LIMITS
        },
        sensors={condition: _advice(alarms["sensors"][condition]) for condition in SENSOR_CONDITIONS},
        conditions={name: _advice(_without_figures(keys)) for name, keys in conditions.items()},
        watch={name: _advice(keys) for name, keys in (alarms["watch"] or {}).items()},
        figures={
            name: {figure: condition_figure(of) for figure, of in keys["figures"].items()}
            for name, keys in conditions.items()
        },
        parse=parse,
    )


def document_of(parse: Parse, name: str) -> Document:
    """Return a file that lies beside the rules."""
    return parse((files("wardian.rules") / name).read_bytes(), name)


def _default(name: str, keys: Mapping[str, Any]) -> Default:
    default = Default(name, **{key: reasoned(value) for key, value in keys.items()})
    # Each is computed once, so that none can fail later.
    default.deadband_of(Fraction(1))
    if min(default.on_delay_ms, default.off_delay_ms, default.silent_after_ms) < 0:
        raise ValueError(f"{name} has a delay below zero")
    if default.accuracy and exact_amount(default.accuracy.text, QUANTITIES[name].difference) < 0:
        raise ValueError(f"{name} has an accuracy below zero")
    return default


def _deadband(quantity: Quantity, text: str, threshold: Fraction) -> Fraction:
    number, unit = split_amount(text)
    if unit.endswith(_SHARE):
        return abs(threshold) * Fraction(number) / 100
    return exact_amount(text, quantity.difference)


def _without_figures(keys: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in keys.items() if name != "figures"}


def _advice(keys: Mapping[str, Any]) -> Advice:
    advice = Advice(**{**keys, "hides": tuple(keys.get("hides", ()))})
    if advice.priority not in PRIORITIES or not all((advice.cause, advice.consequence, advice.action)):
        raise ValueError(
            f"{advice.alarm} needs cause, consequence, action, and a priority: {', '.join(PRIORITIES)}"
        )
    return advice
