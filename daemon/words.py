"""What people read: values in their units, times at their bench, and the message of an alarm.

The rule of this file: a message names tray, crop, day and stage, what is wrong by how much and since
when, the likely cause, and one thing to do with the time there is for it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from typing import Any

from wardian.daemon.cause_words import CauseWords
from wardian.daemon.library import Advice
from wardian.daemon.tongue import Tongue, by_factor, span_words, utc_text
from wardian.rules.crops import Band, day_of
from wardian.rules.observing.causes import Cause, group_of, is_of_sensor
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import DueMessage, Message
from wardian.rules.quantities import QUANTITIES
from wardian.rules.transitions import RAISED, RETURNED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition
from wardian.rules.water import is_estimated


@dataclass(frozen=True, slots=True)
class TrayWords:
    """What a message needs to know of a tray."""

    plan: TrayPlan
    crop: str
    stuck: date


@dataclass(frozen=True, slots=True)
class Teller:
    """Puts transitions into words, one message for each channel."""

    tongue: Tongue
    trays: dict[str, TrayWords]
    advice: Callable[[str, str], Advice]
    channels: Sequence[str] = ()
    on_due: Callable[[], None] = field(default=lambda: None)
    causes: Mapping[str, CauseWords] = field(default_factory=dict)

    def fields(self, transition: Transition, cause: Cause | None = None) -> dict[str, Any]:
        """Return a transition as the JSON object that programs read, with what the traces say of its cause."""
        tray = self.trays[transition.tray]
        advice = self._advice(transition)
        return {
            "time": utc_text(transition.time_ms),
            "tray": transition.tray,
            "quantity": transition.quantity,
            "limit": transition.limit,
            "event": transition.event,
            "alarm": advice.alarm,
            "priority": advice.priority,
            "value": transition.value,
            "threshold": transition.threshold,
            "stage": transition.stage,
            "message": self.line(transition, advice),
            "unit": QUANTITIES[transition.quantity].unit,
            "since": utc_text(transition.since_ms),
            "crop": tray.crop,
            "day": day_of(tray.stuck, self.tongue.zone, transition.time_ms),
            "condition": transition.condition,
            "uncertainty": transition.uncertainty,
            "in_doubt": transition.in_doubt,
            "group": group_of(transition),
            "cause": None if cause is None else self._cause(cause),
        }

    def _cause(self, cause: Cause) -> dict[str, Any]:
        words = self.causes[cause.name].words if cause.name else None
        evidence = [self.tongue.evidence(one) for one in cause.evidence]
        return {"name": cause.name, "words": words, "evidence": evidence}

    def what_to_do(self, fields: Mapping[str, Any]) -> list[str]:
        """Return the lines that say why, what follows, and the one thing to do: by the cause, where one is named."""
        advice, cause = self.advice(fields["quantity"], fields["condition"]), fields.get("cause") or {}
        why = f"Likely: {advice.cause}"
        if cause.get("name"):
            advice = replace(advice, action=self.causes[cause["name"]].action)
            # What the alarm itself was raised by is not said twice.
            seen = [one for one in cause["evidence"] if one not in fields["message"]]
            why = f"Likely: {'; '.join([cause['words'], *seen])}"
        elif cause and fields.get("group"):
            why = f"Likely (the traces cannot tell which): {advice.cause}"
        if fields.get("in_doubt"):
            advice = advice.in_doubt()
        return [why, f"If nothing is done: {advice.consequence}", f"To do {advice.within}: {advice.action}"]

    def messages(self, message: Message) -> list[DueMessage]:
        """Return a message for every channel."""
        return [DueMessage(channel, message) for channel in self.channels]

    def message(self, fields: Mapping[str, Any]) -> Message:
        """Return what people are told of an entry of the journal: what it says, and what to do where it stands."""
        event = fields["event"]
        to_do = self.what_to_do(fields) if fields.get("abnormal", event == RAISED) else []
        subject = f"{fields['tray']}: {_name(fields)}{', returned to normal' if event == RETURNED else ''}"
        body = "\n".join([_place(fields), fields["message"], *to_do])
        return Message(_key(fields), subject, body, fields)

    def retired(self, fields: Mapping[str, Any], now_ms: int) -> dict[str, Any]:
        """Return the end of an alarm that the configuration does not watch for any more."""
        name = fields["alarm"].replace("-", " ")
        return {
            **fields,
            "time": utc_text(now_ms),
            "event": RETURNED,
            "value": None,
            "uncertainty": None,
            "message": f"{name[0].upper()}{name[1:]}: not watched for any more, by the present configuration.",
        }

    def notices(self, fields: Mapping[str, Any]) -> list[DueMessage]:
        """Return a message that says no more than the message of the journal, for every channel."""
        message = self.notice(fields)
        return [DueMessage(channel, message) for channel in self.channels]

    def notice(self, fields: Mapping[str, Any]) -> Message:
        """Return the message that an alarm is not watched for any more."""
        subject = f"{fields['tray']}: {fields['alarm'].replace('-', ' ')}, not watched for any more"
        return Message(_key(fields), subject, f"{fields['tray']}: {fields['message']}", fields)

    def nudge(self, due: Sequence[DueMessage]) -> None:
        """Tell the outbox that messages are due."""
        if due:
            self.on_due()

    # -------------------------------------------------------------------------------------- words

    def line(self, transition: Transition, advice: Advice) -> str:
        """Return what happened as one sentence or two."""
        headline = self._headline(transition, advice)
        headline = headline[0].upper() + headline[1:]
        if transition.evidence is not None:
            return f"{headline}: {self._about_condition(transition)}"
        if transition.limit is None:
            return f"{headline}: {self._about_sensor(transition)}"
        if transition.event != RAISED:
            return f"{headline}: {self._about_return(transition)}"
        return f"{headline}: {self._about_limit(transition)}"

    def _advice(self, transition: Transition) -> Advice:
        """Return the advice about an alarm; what is in doubt is never urgent, its return included."""
        advice = self.advice(transition.quantity, transition.condition)
        return advice.in_doubt() if transition.in_doubt else advice

    def _headline(self, transition: Transition, advice: Advice) -> str:
        name = advice.alarm.replace("-", " ")
        if is_of_sensor(transition.condition):
            name += f" ({QUANTITIES[transition.quantity].words})"
        return name if transition.event == RAISED else f"{name}, returned to normal"

    def _about_limit(self, transition: Transition) -> str:
        quantity = QUANTITIES[transition.quantity]
        limit = self.tongue.value(quantity, transition.threshold or 0.0)
        side = "above" if (transition.limit or "").startswith("high") else "below"
        lasted = transition.time_ms - transition.since_ms
        since = f"since {self.tongue.moment(transition.since_ms)}" + (
            f" ({span_words(lasted)})" if lasted >= 1000 else ""
        )
        if transition.value is None or transition.threshold is None:
            return f"{quantity.words} is {side} {limit} {since}."
        far = (transition.value - transition.threshold) * (1 if side == "above" else -1)
        unsure = ", less than its uncertainty" if transition.in_doubt else ""
        # Between the limit and its deadband a value is still beyond, though it is on the better side again.
        where = (
            f"{self.tongue.difference(quantity, far)} {side} {limit}"
            if far > 0
            else f"not yet clear of {limit}"
        )
        return (
            f"{quantity.words} is at {self._value(transition, transition.value)}, {where}{unsure}, {since}. "
            f"Band: {self.tongue.band(quantity, self._band(transition))}."
        )

    def _about_return(self, transition: Transition) -> str:
        quantity = QUANTITIES[transition.quantity]
        band = self._band(transition)
        if band is None or transition.limit is None or band.threshold(transition.limit) is None:
            return f"this stage has no such limit for {quantity.words}."
        value = "" if transition.value is None else f" at {self._value(transition, transition.value)}"
        return (
            f"{quantity.words} is back{value} since {self.tongue.moment(transition.since_ms)}. "
            f"Band: {self.tongue.band(quantity, band)}."
        )

    def _value(self, transition: Transition, value: float) -> str:
        quantity = QUANTITIES[transition.quantity]
        words = self.tongue.uncertain(quantity, value, transition.uncertainty, "saturation")
        plan = self.trays[transition.tray].plan
        if is_estimated(quantity.name, plan.masses, transition.time_ms):
            return f"{words} (estimated)"
        return words + by_factor(plan.lux_per_umol if quantity.name == "daily_light_integral" else None)

    def _about_sensor(self, transition: Transition) -> str:
        words = QUANTITIES[transition.quantity].words
        since = self.tongue.moment(transition.since_ms)
        if transition.event != RAISED:
            return f"{words} is read again since {since}."
        if transition.condition == SENSOR_SILENT:
            return f"nothing is known of {words} since {since}; that is not the same as fine."
        assert transition.condition == SENSOR_IMPLAUSIBLE
        return f"a reading of {words} at {since} cannot be true and was not judged."

    def _about_condition(self, transition: Transition) -> str:
        if transition.event != RAISED:
            return f"no longer so since {self.tongue.moment(transition.since_ms)}."
        assert transition.evidence is not None
        lasted = transition.time_ms - transition.since_ms
        since = f" It has been so since {self.tongue.moment(transition.since_ms)} ({span_words(lasted)})."
        return f"{self.tongue.evidence(transition.evidence)}.{since if lasted else ''}"

    def _band(self, transition: Transition) -> Band | None:
        stage = next(
            (
                span.stage
                for span in self.trays[transition.tray].plan.spans
                if span.stage.name == transition.stage
            ),
            None,
        )
        return stage.bands.get(transition.quantity) if stage else None


def _name(fields: Mapping[str, Any]) -> str:
    """Return the name of an alarm; one about a sensor with whose sensor that is."""
    name = str(fields["alarm"]).replace("-", " ")
    return f"{name} ({QUANTITIES[fields['quantity']].words})" if is_of_sensor(fields["condition"]) else name


def _place(fields: Mapping[str, Any]) -> str:
    if not fields["crop"]:
        return f"The watch itself. Priority {fields['priority']}."
    named = f", {fields['stage']}" if fields["stage"] else ""
    return f"{fields['tray']}: {fields['crop']}, day {fields['day']}{named}. Priority {fields['priority']}."


def _key(fields: Mapping[str, Any]) -> str:
    return f"{fields['tray']}/{fields['quantity']}/{fields['condition']}/{fields['event']}/{fields['time']}"
