"""Sensors and notifiers of a configuration, opened: the keys of a kind become an adapter's settings.

The rule of this file: each adapter is imported by the function that opens it.
"""

import json
from collections.abc import Callable, Mapping, Sequence
from contextlib import ExitStack
from typing import TYPE_CHECKING, Any, NamedTuple

from wardian.daemon.config import Config
from wardian.rules.judging import NEVER_MS
from wardian.rules.ports import Clock, Notifier, Sensor
from wardian.rules.truth import TrueFault

if TYPE_CHECKING:
    from wardian.adapters.brokers import BrokerSettings
    from wardian.adapters.mqtt_wishes import MqttWishes
    from wardian.adapters.payloads import Form
    from wardian.adapters.sensors.mqtt import Subscription
    from wardian.daemon.config_brokers import BrokerKeys
    from wardian.daemon.config_outward import BeatKeys, CommandsKeys
    from wardian.daemon.config_page import PageKeys
    from wardian.daemon.config_sensors import FaultKeys, SubscriptionKeys


class Bench(NamedTuple):
    """What sensors are opened for; ``hurry`` asks for a commit before its time."""

    config: Config
    clock: Clock
    hurry: Callable[[], None]


def open_sensors(bench: Bench) -> list[Sensor]:
    """Return the sensors of a configuration, not started yet.

    Raises:
        AdapterError: One of them can never work as configured.
    """
    openers: dict[str, Callable[..., Sensor]] = {
        "mqtt": _mqtt_sensor,
        "kernel": _kernel_sensor,
        "csv": _csv_sensor,
        "simulator": _simulated_sensor,
    }
    return [openers[keys.kind](keys, bench) for keys in bench.config.sensors]


def _kernel_sensor(keys: Any, bench: Bench) -> Sensor:
    from wardian.adapters.sensors.kernel import KernelChannel, KernelSensor, KernelSettings

    channels = tuple(KernelChannel(one.tray, one.quantity, one.file) for one in keys.channels)
    return KernelSensor(KernelSettings(keys.name, channels, keys.root, keys.every / 1000), bench.clock)


def _csv_sensor(keys: Any, bench: Bench) -> Sensor:
    from wardian.adapters.sensors.csv_file import CsvSensor, CsvSettings
    from wardian.rules.readings import Series

    series = frozenset(Series(*pair) for pair in bench.config.expected[keys.name])
    return CsvSensor(CsvSettings(keys.name, keys.file, keys.every / 1000, series), bench.clock)


def _simulated_sensor(keys: Any, bench: Bench) -> Sensor:
    from wardian.simulator.source import SimulatedSensor, SimulatedSettings

    names = keys.trays or [tray.name for tray in bench.config.trays]
    spans = {tray.name: tray.plan.spans for tray in bench.config.trays}
    settings = SimulatedSettings(
        name=keys.name,
        trays=tuple((name, spans[name]) for name in names),
        seed=keys.seed,
        every_s=keys.every / 1000,
        faults=tuple(_planned(one) for one in keys.faults),
        set_point_c=keys.set_point,
        lamp_on_h=keys.lamp.on.hour + keys.lamp.on.minute / 60,
        lamp_off_h=keys.lamp.off.hour + keys.lamp.off.minute / 60,
        timezone=bench.config.site.zone,
        start_ms=keys.start,
    )
    return SimulatedSensor(settings, bench.clock)


def _planned(keys: "FaultKeys") -> TrueFault:
    """Return a fault in milliseconds after the start."""
    from_ms = int(keys.after)
    to_ms = from_ms + int(keys.lasts) if keys.lasts else NEVER_MS
    return TrueFault(keys.tray, keys.fault, from_ms, to_ms, keys.quantity)


def _mqtt_sensor(keys: Any, bench: Bench) -> Sensor:
    from wardian.adapters.sensors.mqtt import MqttSensor, MqttSettings

    subscriptions = tuple(subscription(one) for one in keys.subscriptions)
    settings = MqttSettings(keys.name, _broker(keys.broker, keys.name), subscriptions)
    trays = {tray.name for tray in bench.config.trays}
    return MqttSensor(settings, trays, bench.clock, bench.hurry)


def subscription(keys: "SubscriptionKeys") -> "Subscription":
    """Return a topic and what its messages mean.

    Raises:
        ValueError: The wire knows no such topic, name or unit.
    """
    from wardian.adapters.sensors.mqtt import Subscription

    return Subscription(keys.topic, _form(keys), keys.tray)


def _form(keys: "SubscriptionKeys") -> "Form":
    from wardian.adapters.json_payloads import JsonForm
    from wardian.adapters.payloads import NumberForm, Target
    from wardian.adapters.senml import SenmlForm

    if keys.payload == "number":
        return NumberForm(Target(keys.quantity, unit=keys.unit or ""))
    if keys.payload == "senml":
        names = keys.names or {}
        return SenmlForm(
            {
                name: Target(of.quantity or keys.quantity, of.tray, of.unit or "") if of else None
                for name, of in names.items()
            }
        )
    units = keys.units or {}
    pointers = {
        pointer: Target(quantity, unit=units.get(quantity, ""))
        for quantity, pointer in (keys.pointers or {}).items()
    }
    return JsonForm(pointers, keys.time, keys.time_form)


def open_notifiers(config: Config, opened: ExitStack) -> list[Notifier]:
    """Return the notifiers of a configuration; they are closed with ``opened``.

    Raises:
        AdapterError: One of them can never work as configured.
    """
    openers: dict[str, Callable[[Any], Sequence[Notifier]]] = {
        "console": _console,
        "mqtt": _mqtt_notifier,
        "webhook": _webhook,
        "apprise": _apprise,
    }
    notifiers = [one for keys in config.notifiers for one in openers[keys.kind](keys)]
    for notifier in notifiers:
        opened.callback(notifier.close)
    return notifiers


def _console(keys: Any) -> list[Notifier]:
    from wardian.adapters.notifiers.console import ConsoleNotifier, ConsoleSettings

    return [ConsoleNotifier(ConsoleSettings(keys.name))]


def _mqtt_notifier(keys: Any) -> list[Notifier]:
    from wardian.adapters.notifiers.mqtt import MqttNotifier, MqttNotifierSettings

    broker = _broker(keys.broker, keys.name)
    return [MqttNotifier(MqttNotifierSettings(keys.name, broker, keys.prefix, keys.timeout / 1000))]


def _webhook(keys: Any) -> list[Notifier]:
    from wardian.adapters.notifiers.webhook import WebhookNotifier, WebhookSettings

    names = ("name", "url", "url_file", "url_env", "token_file", "token_env", "allow_plain_token", "ca_file")
    same = {name: getattr(keys, name) for name in names}
    return [WebhookNotifier(WebhookSettings(**same, timeout_s=keys.timeout / 1000))]


def _apprise(keys: Any) -> list[Notifier]:
    from wardian.adapters.notifiers.apprise import AppriseSettings, open_apprise

    return open_apprise(AppriseSettings(keys.name, keys.urls_file, keys.urls_env, keys.timeout / 1000))


def open_wishes(keys: "CommandsKeys", clock: Clock, hurry: Callable[[], None]) -> "MqttWishes":
    """Return what hears what is asked from afar, not started yet.

    Raises:
        AdapterError: It can never work as configured.
    """
    from wardian.adapters.mqtt_wishes import MqttWishes, WishSettings

    return MqttWishes(WishSettings("commands", _broker(keys.broker, "commands"), keys.topic), clock, hurry)


def open_beat(keys: "BeatKeys") -> Callable[[Mapping[str, Any]], None]:
    """Return what sends one beat.

    Raises:
        AdapterError: It can never work as configured.
    """
    if keys.broker is None:
        from wardian.adapters.notifiers.webhook import WebhookNotifier, WebhookSettings
        from wardian.rules.ports import Message

        address = {name: getattr(keys, name) for name in ("url", "url_file", "url_env")}
        hook = WebhookNotifier(WebhookSettings("beat", **address, timeout_s=keys.timeout / 1000))
        return lambda fields: hook.send(Message(f"beat/{fields['time']}", "", "", fields))
    from wardian.adapters.notifiers.mqtt import MqttNotifier, MqttNotifierSettings

    settings = MqttNotifierSettings("beat", _broker(keys.broker, "beat"), timeout_s=keys.timeout / 1000)
    notifier, topic = MqttNotifier(settings), str(keys.topic)
    # Not retained: an old beat is no sign of life.
    return lambda fields: notifier.publish(topic, json.dumps(fields).encode(), is_retained=False)


def page_password(keys: "PageKeys") -> str | None:
    """Return the password of the page, None where it needs none.

    Raises:
        AdapterError: The place that is named holds none that can be used.
    """
    if not keys.has_password:
        return None
    from wardian.adapters.brokers import secret

    return secret("page", "password", keys.password_file, keys.password_env)


def _broker(keys: "BrokerKeys", name: str) -> "BrokerSettings":
    from wardian.adapters.brokers import BrokerSettings

    tls = keys.tls
    return BrokerSettings(
        host=keys.host,
        port=keys.port_used,
        client_id=keys.client_id or f"wardian-{name}",
        protocol=keys.protocol,
        keepalive_s=max(1, round(keys.keepalive / 1000)),
        user=keys.user,
        password_file=keys.password_file,
        password_env=keys.password_env,
        tls=tls is not None,
        ca_file=tls.ca_file if tls else None,
        cert_file=tls.cert_file if tls else None,
        key_file=tls.key_file if tls else None,
        allow_plain_password=keys.allow_plain_password,
    )
