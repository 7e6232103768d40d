"""What people read: values in their units, times at their bench, and the message of an alarm.

The rule of this file: a message names tray, crop, day and stage, what is wrong by how much and since
when, the likely cause, and one thing to do with the time there is for it.
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Any, Final, Self

from wardian.daemon.config import Site
from wardian.daemon.library import Advice
from wardian.rules.crops import Band, day_of
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import DueMessage, Message
from wardian.rules.quantities import QUANTITIES, Quantity
from wardian.rules.transitions import RAISED, RETURNED, SENSOR_IMPLAUSIBLE, SENSOR_SILENT, Transition
from wardian.rules.uncertainty import is_saturated

_EPOCH: Final = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Tongue:
    """How a site reads numbers and times: its zone, and °F or °C."""

    zone: tzinfo
    fahrenheit: bool = False

    @classmethod
    def of(cls, site: Site) -> Self:
        """Return how a site reads them, as its configuration says."""
        return cls(site.zone, fahrenheit=site.units == "US")

    def value(self, quantity: Quantity, value: float) -> str:
        """Return a value in the unit people here use, with sensible digits."""
        if self.fahrenheit and quantity.dimension == "temperature":
            return f"{value * 9 / 5 + 32:.{quantity.decimals}f} °F"
        return f"{value:.{quantity.decimals}f} {quantity.unit}"

    def difference(self, quantity: Quantity, difference: float) -> str:
        """Return a difference of two values; of temperatures in °F or K."""
        if quantity.dimension != "temperature":
            return self.value(quantity, difference)
        if self.fahrenheit:
            return f"{difference * 9 / 5:.{quantity.decimals}f} °F"
        return f"{difference:.{quantity.decimals}f} K"

    def uncertain(
        self, quantity: Quantity, value: float, uncertainty: float | None, none_at_all: str = "saturated"
    ) -> str:
        """Return a value as ``0.26 ± 0.09 kPa``; a deficit that may be none as ``saturated (below 0.14 kPa)``.

        The uncertainty is the expanded one; the bound is where the interval ends that it spans.
        """
        if not uncertainty:
            return self.value(quantity, value)
        if is_saturated(quantity.name, value, uncertainty):
            steps = 10**quantity.decimals
            # What lies a hair above a step for being computed in binary is that step.
            bound = math.ceil(round((value + uncertainty) * steps, 6)) / steps
            return f"{none_at_all} (below {self.value(quantity, bound)})"
        number, _, unit = self.value(quantity, value).partition(" ")
        spread, _, _ = self.difference(quantity, max(uncertainty, 10**-quantity.decimals)).partition(" ")
        return f"{number} ± {spread} {unit}"

    def band(self, quantity: Quantity, band: Band | None) -> str:
        """Return a band as ``68.0 to 77.0 °F``, ``at least 90 %`` or ``at most 0.40 kPa``."""
        low, high = (band.threshold(name) if band else None for name in ("low", "high"))
        if low is not None and high is not None:
            number, _, _ = self.value(quantity, low).partition(" ")
            return f"{number} to {self.value(quantity, high)}"
        if low is not None:
            return f"at least {self.value(quantity, low)}"
        return f"at most {self.value(quantity, high)}" if high is not None else "no band"

    def moment(self, time_ms: int) -> str:
        """Return an instant as the clock at the bench shows it: ``Wed 4 Mar 06:12``."""
        local = (_EPOCH + timedelta(milliseconds=time_ms)).astimezone(self.zone)
        return f"{local:%a} {local.day} {local:%b %H:%M}"


def span_words(milliseconds: int) -> str:
    """Return a span of time in the words of a person: ``40 s``, ``58 min``, ``2 h 10 min``, ``3 days``."""
    minutes = round(milliseconds / 60_000)
    if milliseconds < 90_000:
        return f"{round(milliseconds / 1000)} s"
    if minutes < 120:
        return f"{minutes} min"
    if minutes < 48 * 60:
        return f"{minutes // 60} h {minutes % 60} min".removesuffix(" 0 min")
    return f"{round(minutes / 1440)} days"


def utc_text(time_ms: int) -> str:
    """Return an instant as RFC 3339 in UTC with milliseconds."""
    return (
        (_EPOCH + timedelta(milliseconds=time_ms)).isoformat(timespec="milliseconds").replace("+00:00", "Z")
    )


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
    trays: Mapping[str, TrayWords]
    advice: Callable[[str, str], Advice]
    channels: Sequence[str] = ()
    on_due: Callable[[], None] = field(default=lambda: None)

    def fields(self, transition: Transition) -> dict[str, Any]:
        """Return a transition as the JSON object that programs read."""
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
        }

    def messages(self, transition: Transition, fields: Mapping[str, Any]) -> list[DueMessage]:
        """Return the message of a transition for every channel."""
        if not self.channels:
            return []
        message = self.message(transition, fields)
        return [DueMessage(channel, message) for channel in self.channels]

    def message(self, transition: Transition, fields: Mapping[str, Any]) -> Message:
        """Return the message of a transition."""
        advice = self._advice(transition)
        subject = f"{transition.tray}: {self._headline(transition, advice)}"
        to_do = _what_to_do(advice) if transition.event == RAISED else []
        body = "\n".join([_place(fields), fields["message"], *to_do])
        key = f"{transition.tray}/{transition.quantity}/{transition.condition}/{transition.event}/{transition.time_ms}"
        return Message(key, subject, body, fields)

    def about(self, fields: Mapping[str, Any]) -> Message:
        """Return the message of an entry by what it says itself: what people did, or the end of a shelf."""
        advice = self.advice(fields["quantity"], fields["condition"])
        # A breach in doubt is asked of people with less urgency, as when it was raised.
        asked = advice.in_doubt() if fields["priority"] != advice.priority else advice
        to_do = _what_to_do(asked) if fields.get("abnormal") else []
        over = ", returned to normal" if fields["event"] == RETURNED else ""
        subject = f"{fields['tray']}: {fields['alarm'].replace('-', ' ')}{over}"
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
        if transition.limit is None:
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
        return self.tongue.uncertain(quantity, value, transition.uncertainty, "saturation")

    def _about_sensor(self, transition: Transition) -> str:
        words = QUANTITIES[transition.quantity].words
        since = self.tongue.moment(transition.since_ms)
        if transition.event != RAISED:
            return f"{words} is read again since {since}."
        if transition.condition == SENSOR_SILENT:
            return f"nothing is known of {words} since {since}; that is not the same as fine."
        assert transition.condition == SENSOR_IMPLAUSIBLE
        return f"a reading of {words} at {since} cannot be true and was not judged."

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


def _what_to_do(advice: Advice) -> list[str]:
    return [
        f"Likely: {advice.cause}",
        f"If nothing is done: {advice.consequence}",
        f"To do {advice.within}: {advice.action}",
    ]


def _place(fields: Mapping[str, Any]) -> str:
    named = f", {fields['stage']}" if fields["stage"] else ""
    return f"{fields['tray']}: {fields['crop']}, day {fields['day']}{named}. Priority {fields['priority']}."


def _key(fields: Mapping[str, Any]) -> str:
    return f"{fields['tray']}/{fields['quantity']}/{fields['condition']}/{fields['event']}/{fields['time']}"
