"""A flood is a trouble of the watch: told with place and rate while it lasts, and once it is over."""

from typing import Any

from loop_rig import FakeSensor

from wardian.daemon.floods import Floods
from wardian.daemon.lives import Lives
from wardian.rules.wire_health import Flood


class FakeTroubles:
    def __init__(self) -> None:
        self.told: list[str] = []

    def begin(self, name: str, words: str) -> None:
        self.told.append(f"{name}: {words}")

    def end(self, name: str) -> None:
        self.told.append(f"{name} over")


class FloodedSensor(FakeSensor):
    def __init__(self) -> None:
        super().__init__()
        self.flooded: list[Flood] = []

    def floods(self) -> list[Flood]:
        return self.flooded


def told_of(*rounds: list[Flood]) -> list[str]:
    troubles: Any = FakeTroubles()
    sensor = FloodedSensor()
    floods = Floods([FakeSensor(), sensor], troubles)
    for flooded in rounds:
        sensor.flooded = flooded
        floods.work(0, Lives({}))
        floods.committed()
    told: list[str] = troubles.told
    return told


def test_place_and_rate_of_a_flood_are_told_and_its_end_once() -> None:
    flood = Flood("'class/tray-a/probes'", 9_873.0, 120_000, is_ours=True)
    assert told_of([], [flood], [], []) == [
        (
            "flood: about 9,900 messages a second come on topic 'class/tray-a/probes' of bench; 120,000 were refused "
            "so far, and of those that are read nobody can tell whether they are the sensor's own"
        ),
        "flood over",
    ]


def test_topics_of_nobody_are_told_as_such() -> None:
    (words,) = told_of([Flood("'class/x/probes'", 31.4, 7, is_ours=False)])
    assert words == (
        "strange-topics: about 31 messages a second come on topics of bench that belong to no tray or quantity, such as "
        "'class/x/probes'; 7 were refused so far"
    )


def test_of_many_floods_the_worst_are_named_and_the_others_counted() -> None:
    (words,) = told_of([Flood(f"'{n}'", 1000.0 - n, 1, is_ours=True) for n in range(50)])
    assert words.endswith("; and 47 topics more")
    assert words.count("messages a second") == 3
