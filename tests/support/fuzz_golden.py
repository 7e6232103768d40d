"""Golden configurations: the example, and many that are put together of parts that fit, each of them valid."""

from collections.abc import Mapping, Sequence
from itertools import count
from pathlib import Path
from random import Random

from base_config import BASE, EXAMPLE

HERE = Path(__file__).parent

_SITES = (
    "site: {name: Teaching bench, timezone: Europe/Lisbon, units: US}\n",
    "site:\n  name: \"Bench no. 2\"\n  timezone: America/New_York   # local days\n  units: SI\n",
    "site: {timezone: Australia/Lord_Howe}\n",
)
_STORES = (
    'store: {url: "sqlite:///wardian.db", commit_every: 10 s}\n',
    "store: {url: 'sqlite:///a bench.db'}\n",
    "store:\n  url: sqlite:////var/lib/wardian/bench.db\n",
    "",
)
_TRAYS = (
    "trays:\n  - {name: tray-a, crop: coleus, stuck: 2026-03-02}\n  - {name: tray-b, crop: mint, stuck: 2026-03-01}\n",
    "trays:\n  - name: tray-a\n    crop: mint\n    stuck: 2026-03-02\n    mass: {saturated: 3310 g, dry: 1500 g}\n"
    "  - name: tray-b\n    crop: coleus\n    stuck: 2026-02-27\n    readings: {hold: 10 min, leaf_offset: 1 K}\n"
    "    light: {lit_above: 20 umol/m2/s, lit_deadband: 2 umol/m2/s}\n",
    "trays: [{name: tray-a, crop: coleus, stuck: 2026-03-02}, {name: tray-b, crop: fuchsia, stuck: '2024-02-29'},\n"
    "  {name: Ünser Kasten 3.1, crop: mint, stuck: 2026-12-31}]\n",
)
_CROPS = (
    "crops:\n  coleus:\n    stages:\n      - name: callusing\n        from_day: 0\n        bands:\n"
    "          air_temperature: {low: 75 °F, high: 80 °F, deadband: 1 °F, on_delay: 10 min, off_delay: 5 min}\n"
    "          relative_humidity: {low_low: 70 %, low: 90 %}\n          light_hours: {low: 17 h, high: 19 h}\n"
    "      - name: rooting\n        from_day: 8\n        bands:\n          air_temperature:\n            low_low: 15\n"
    "            low: 18\n            high: 24\n            high_high: 30\n"
    "  mint:\n    stages:\n      - {name: all, from_day: 0, bands: {relative_humidity: {low: 85 %}}}\n",
    "crops:\n  coleus:\n    due: 14\n    roots: [5, 10]\n    pot: 24\n    feed_from: 9\n    dry: false\n"
    "    notes: [\"Ours drop leaves above 27 °C.\"]\n    stages:\n      callusing:\n"
    "        bands: {air_temperature: {low: 20.5, high: 26.25}, light_hours: {high: null}}\n        mistings: [2, 3]\n"
    "        aims: {daily_light_integral: {low: 4, high: 6}}\n"
    "  mint:\n    like: coleus\n    stick_within: 4 h\n    warmth_base: 10 °C\n",
    "crops:\n  mint: {like: general}\n  coleus:\n    like: coleus\n    stages:\n    - name: one\n      from_day: 0\n"
    "      bands:\n        vapour_pressure_deficit: {high: 0.4 kPa, high_high: 8e-1 kPa}\n"
    "        medium_temperature: {low: 70 °F, high: 80 °F}\n      feed_mg_l: [50, 75]\n",
)
_LIGHTS = (
    "light: {lit_above: 1000 lx, lit_deadband: 100 lx}\n",
    "light:\n  lit_above: 1 klx\n  on: 05:00\n  off: '23:00'\n",
    "light: {lux_per_umol: 70}\n",
    "",
)
_READINGS = (
    "readings: {hold: 5 min, settle: 5 s}\n",
    "readings:\n  hold: 300\n  silent_after: 15 min\n  accuracy: {air_temperature: 0.5 K, relative_humidity: 2 %}\n",
    "settling: {lifted: 30 min, misted: 45 min, watered: 2 h}\n",
    "",
)
_ALARMS = (
    "alarms:\n  too-dry: {priority: medium, within: within 2 h}\n  sensor-stuck: {figures: {temperature_after: 3 h}}\n",
    "alarms:\n  light-too-long:\n    action: 'correct the timer: its key hangs beside the door'\n    latch: true\n",
    "",
)
_SENSORS = (
    "sensors:\n  - name: probes\n    kind: mqtt\n    broker: {host: 127.0.0.1, port: 1883}\n    subscriptions:\n"
    '      - {topic: "class/{tray}/{quantity}", payload: number}\n'
    '      - {topic: "class/{tray}/warmth", payload: number, quantity: leaf_temperature, unit: °F}\n',
    "sensors:\n  - name: documents\n    kind: mqtt\n    broker: {host: 127.0.0.1, user: bench, password_file: secret}\n"
    "    subscriptions:\n      - topic: class/{tray}/climate\n        payload: json\n"
    "        pointers: {air_temperature: /air/t, relative_humidity: /air/rh}\n        units: {relative_humidity: /}\n"
    "        time: /at\n        time_form: unix_ms\n",
    "sensors:\n  - name: packs\n    kind: mqtt\n    broker: {host: broker.example, port: 8883, tls: {}, protocol: 3.1.1}\n"
    "    subscriptions:\n      - topic: senml/#\n        payload: senml\n        names:\n"
    '          "urn:dev:ow:10e2073a01080063": {tray: tray-a, quantity: medium_temperature}\n'
    '          "{tray}/{quantity}": {}\n          "{tray}/battery": ignore\n'
    "    expect: [{tray: tray-a, quantity: medium_temperature}]\n",
    "sensors:\n  - {name: file, kind: csv, file: readings.csv, every: 5 s}\n  - name: chips\n    kind: kernel\n"
    "    every: 10 s\n    channels:\n"
    "      - {tray: tray-a, quantity: medium_temperature, file: bus/w1/devices/28-000005e2fdc3/w1_slave}\n",
    "sensors:\n  - name: pretended\n    kind: simulator\n    seed: 7\n    every: 30 s\n    speed: 600\n"
    "    start: 2026-03-02T06:00:00-05:00\n    lamp: {on: 05:00, off: 23:00}\n    faults:\n"
    "      - {tray: tray-b, fault: cover left off, after: 1 h, lasts: 4 h}\n",
    "",
)
_NOTIFIERS = (
    "notifiers:\n  - {name: terminal, kind: console}\n",
    "notifiers:\n  - {name: terminal, kind: console}\n  - name: office\n    kind: webhook\n"
    "    url: https://office.example/alarms\n    timeout: 10 s\n"
    "people:\n  - name: evening teacher\n    channels: [office]\n    hears: low\n    quiet: {from: 22:00, to: 06:30}\n"
    "    repeat: {high: 30 min, medium: never}\n",
    "notifiers: [{name: terminal, kind: console}, {name: wall, kind: mqtt, broker: {host: 127.0.0.1}, prefix: a/b}]\n",
)
_OUTWARD = (
    "care: {rounds: [08:00, 13:00, 18:30]}\n",
    "summary: {at: 07:00, channels: [terminal]}\nbeat: {url_file: beat-address, every: 5 min}\n",
    "commands:\n  broker: {host: 127.0.0.1, user: bench, password_file: secret}\n  topic: wardian/asked\n",
    "page: {listen: 127.0.0.1:8460, names: [bench.example]}\n",
    "",
)
_PARTS: Sequence[Sequence[str]] = (
    *(_SITES, _STORES, _TRAYS, _CROPS, _LIGHTS, _READINGS, _ALARMS, _SENSORS, _NOTIFIERS, _OUTWARD),
)
#: How many are put together of parts.
PUT_TOGETHER = 60


def golden() -> Mapping[str, str]:
    """Return golden configurations by name; each part is in some of them, and no two are the same."""
    found = {"base": BASE, "example": EXAMPLE.read_text(encoding="utf-8")}
    chance, texts = Random(1), set(found.values())
    for number in count():
        if len(found) == PUT_TOGETHER + 2:
            return found
        parts = [part[(number + place) % len(part)] if number < 6 else chance.choice(part) for place, part in enumerate(_PARTS)]
        text = "# A golden one.\n" + "".join(parts)
        if text not in texts:
            texts.add(text)
            found[f"golden-{len(found)}"] = text
    raise AssertionError
