"""The bench that fuzzed messages are sent to: every form of payload, on topics of its own."""

from collections.abc import Iterator, Mapping

from fake_clock import FakeClock
from reference_payloads import POSSIBLE, Telling

from wardian.adapters.brokers import BrokerSettings
from wardian.adapters.json_payloads import JsonForm
from wardian.adapters.mqtt_connection import Message
from wardian.adapters.payloads import Form, NumberForm, Target
from wardian.adapters.senml import SenmlForm
from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings, Subscription
from wardian.rules.ports import Arrival

TRAYS = ("tray-a", "tray-b", "ledge 3.1", "Ü_9")
QUANTITIES = tuple(POSSIBLE)

_POINTERS = {
    "/t": ("air_temperature", "°F", None),
    "/air/h": ("relative_humidity", "/", None),
    "/list/1": ("ppfd", "", None),
    "/a~1b/~0m": ("tray_mass", "kg", None),
}
_ONE = {"/t": ("air_temperature", "", None)}
#: The first level of the topics → what their payloads mean. Another level tells the tray, a third the quantity.
TELLINGS: Mapping[str, Telling] = {
    "number": Telling("number", {"": (None, "", None)}),
    "degrees": Telling("number", {"": ("air_temperature", "°F", None)}),
    "grams": Telling("number", {"": ("tray_mass", "kg", None)}),
    "json": Telling("json", _POINTERS),
    "whole": Telling("json", {"": ("water_ec", "µS/cm", None)}),
    "dated": Telling("json", _POINTERS, "/at", "rfc3339"),
    "seconds": Telling("json", _ONE, "/at", "unix_s"),
    "milliseconds": Telling("json", _ONE, "/meta/0/at", "unix_ms"),
    "senml": Telling("senml", {"{quantity}": (None, "", None), "battery": None}),
    "pack": Telling(
        "senml",
        {
            "bench:{tray}:{quantity}": (None, "", None),
            "bench:tray-a:tray_mass": ("tray_mass", "kg", "tray-a"),
            "probe-7": ("leaf_temperature", "", "tray-b"),
            "bench:{tray}:door": None,
        },
    ),
}
#: Those whose topics have no level for the tray.
WITHOUT_TRAY = frozenset({"pack"})


def topic_of(place: str, tray: str, quantity: str) -> str:
    """Return the topic on which a reading is told."""
    if place in WITHOUT_TRAY:
        return f"{place}/all"
    return f"{place}/{tray}/{quantity}" if place == "number" else f"{place}/{tray}"


def told_by(topic: str) -> Iterator[tuple[Telling, Mapping[str, str]]]:
    """Yield what means something on a topic, and what the topic tells; by its levels, one by one."""
    levels = topic.split("/")
    telling = TELLINGS.get(levels[0])
    if telling is None:
        return
    if levels[0] in WITHOUT_TRAY:
        if len(levels) >= 1:
            yield telling, {}
    elif levels[0] == "number":
        if len(levels) == 3:
            yield telling, {"tray": levels[1], "quantity": levels[2]}
    elif len(levels) == 2:
        yield telling, {"tray": levels[1]}


def sensor(clock: FakeClock) -> MqttSensor:
    """Return the real sensor with all subscriptions, its connection never opened."""
    broker = BrokerSettings("127.0.0.1", 1, "fuzz")
    subscriptions = tuple(
        Subscription(_pattern(place), _form(telling)) for place, telling in TELLINGS.items()
    )
    return MqttSensor(MqttSettings("bench", broker, subscriptions), frozenset(TRAYS), clock)


def _pattern(place: str) -> str:
    if place in WITHOUT_TRAY:
        return f"{place}/#"
    return f"{place}/{{tray}}/{{quantity}}" if place == "number" else f"{place}/{{tray}}"


def _form(telling: Telling) -> Form:
    targets = {
        name: None if target is None else Target(target[0], target[2], target[1])
        for name, target in telling.targets.items()
    }
    if telling.form == "senml":
        return SenmlForm(targets)
    meant = {name: target for name, target in targets.items() if target is not None}
    if telling.form == "json":
        return JsonForm(meant, telling.time_pointer, telling.time_form)
    return NumberForm(meant[""])


def arrival(bench: MqttSensor, topic: str, payload: bytes, received_ms: int, *, is_retained: bool) -> Arrival:
    """Return a message as the network thread hands it over."""
    return Arrival(bench, received_ms, Message(1, 1, 1, is_retained, topic, payload))
