"""Payloads that are no readings: refused with a reason, counted, told once, and in nobody's way."""

from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock
from fuzz_bench import arrival, sensor
from fuzz_kept import KeptBench

from wardian.rules.ports import Refused

pytestmark = pytest.mark.fault(7)

TOPIC = "number/tray-a/air_temperature"
DOCUMENT = "json/tray-a"
PACK = "senml/tray-a"
#: What comes on which topic, and what is said of it.
NONE_OF_THEM = [
    (TOPIC, b"nan", "not a plain number"),
    (TOPIC, b"inf", "not a plain number"),
    (TOPIC, b"null", "not a plain number"),
    (TOPIC, b"", "not a plain number"),
    (TOPIC, b"21,5", "not a plain number"),
    (TOPIC, b"21.5 C", "not a plain number"),
    (TOPIC, b"true", "not a plain number"),
    (TOPIC, b"[21.5]", "not a plain number"),
    (TOPIC, b"1e400", "too large"),
    (TOPIC, b"9" * 64, "impossible"),
    (TOPIC, b"9" * 4000, "not a plain number"),
    (TOPIC, b"\xff\xfe2\x001\x00", "not a plain number"),
    (TOPIC, b"80.0000001", "80.0000001 °C is impossible"),
    (DOCUMENT, b'{"t": NaN}', "NaN"),
    (DOCUMENT, b'{"t": null}', "null is not a number"),
    (DOCUMENT, b'{"t": "70"}', "a text is not a number"),
    (DOCUMENT, b'{"t": true}', "true or false is not a number"),
    (DOCUMENT, b'{"t": [70]}', "an array is not a number"),
    (DOCUMENT, b'{"t": 1e999}', "too large"),
    (DOCUMENT, b'{"t": 70, "t": 71}', "twice"),
    (DOCUMENT, b'{"u": 70}', "nothing stands at"),
    (DOCUMENT, b'{"t": 70', "not JSON"),
    (DOCUMENT, b'{"t": "\xff"}', "not UTF-8"),
    (DOCUMENT, b'{"t":' * 9 + b"1" + b"}" * 9, "nested deeper than 8"),
    (DOCUMENT, b"[" * 4000, "nested deeper than 8"),
    (DOCUMENT, b" " * 5000, "more than 4096 bytes"),
    (PACK, b"{}", "an array of one record"),
    (PACK, b'[{"n":"air_temperature","vs":"warm"}]', "a text, not a number"),
    (PACK, b'[{"n":"air_temperature","v":1,"vb":true}]', "more than one value"),
    (PACK, b'[{"n":"air_temperature"}]', "no value"),
    (PACK, b'[{"n":"air_temperature","u":"furlong","v":1}]', "furlong"),
    (PACK, b'[{"n":"air_temperature","v":1,"bver":11}]', "newer than 10"),
    (PACK, b'[{"n":"air_temperature","v":1,"t":1e300}]', "outside the years"),
    ("number/tray-z/air_temperature", b"21.5", "unknown tray 'tray-z'"),
    ("number/<script>/air_temperature", b"21.5", "unknown tray '<script>'"),
    ("number/tray-a/dew_point", b"21.5", "no sensor measures 'dew_point'"),
]


class Bench(KeptBench):
    """A loop and a store behind every form of payload."""

    def __init__(self, folder: Path) -> None:
        self.clock = FakeClock(NOON_MS)
        super().__init__(sensor(self.clock), self.clock, folder / "bench.db")

    def says(self, topic: str, payload: bytes) -> None:
        self.take(arrival(self._sensor, topic, payload, self.clock.now_ms, is_retained=False), [], 0)
        self.clock.step(10_000)
        self.round()

    def refused(self) -> list[Refused]:
        return [refused for _, refused in self._store.refused(10_000)]

    def told(self, alarm: str) -> list[str]:
        entries = [entry.fields for entry in self._store.journal()]
        return [fields["event"] for fields in entries if fields["alarm"] == alarm]


@pytest.fixture
def bench(tmp_path: Path) -> Bench:
    return Bench(tmp_path)


def test_what_is_no_reading_is_kept_with_its_reason_and_the_next_good_one_is_stored(bench: Bench) -> None:
    for topic, payload, _ in NONE_OF_THEM:
        bench.says(topic, payload)
    bench.says(TOPIC, b"21.5")
    bench.close_round()
    refused = bench.refused()
    assert len(refused) == len(NONE_OF_THEM)
    for one, (topic, payload, why) in zip(refused, NONE_OF_THEM, strict=True):
        assert why in one.why, (payload, one)
        assert topic in one.source or topic.split("/")[1] == one.tray
        assert len(one.raw) <= 200
        assert f"{one.source}{one.why}{one.raw}".isprintable()
    (kept,) = bench._store.readings(0, 2**62)
    assert kept[1:] == ("tray-a", "air_temperature", 21.5)
    assert bench._store.damage() == ""


def test_a_thousand_of_them_in_an_hour_raise_one_alarm(bench: Bench) -> None:
    for _ in range(360):
        bench.says(TOPIC, b"nan")
    assert bench.told("sensor-implausible") == ["raised"]
    assert bench._store.counts()["refused"] == 360


def test_the_alarm_returns_once_good_ones_have_come_for_ten_minutes(bench: Bench) -> None:
    bench.says(TOPIC, b"nan")
    for _ in range(70):
        bench.says(TOPIC, b"21.5")
    assert bench.told("sensor-implausible") == ["raised", "returned"]
