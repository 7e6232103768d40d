"""Ready weeks: which faults come, in which tray, and when."""

from collections import Counter
from dataclasses import replace
from datetime import datetime
from itertools import combinations

import pytest

from wardian.rules.faults import FAULTS
from wardian.rules.truth import TrueFault
from wardian.simulator.bench import truth
from wardian.simulator.evening_class import EVENING_CLASS, START_MS
from wardian.simulator.probes import PROBES
from wardian.simulator.scenarios import SCENARIOS, scenario_name, with_scenarios
from wardian.simulator.wall import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

TRAYS = [tray.name for tray in EVENING_CLASS.trays]
SINGLE = {scenario_name(fault): fault for fault in FAULTS}
OF_ROOM = ("cold night", "heat wave", "mains lost")
SEEDS = range(31)


def planned(*names: str, seed: int = 1, days: float = 7, trays: int = len(TRAYS)) -> tuple[TrueFault, ...]:
    setup = replace(EVENING_CLASS, seed=seed, trays=EVENING_CLASS.trays[:trays])
    return with_scenarios(setup, names, START_MS, START_MS + round(days * MS_PER_DAY)).faults


def local(time_ms: int) -> datetime:
    return datetime.fromtimestamp(time_ms / 1000, EVENING_CLASS.zone)


def meet(one: TrueFault, other: TrueFault) -> bool:
    return one.tray == other.tray and one.from_ms < other.to_ms and other.from_ms < one.to_ms


def test_every_fault_has_a_scenario_of_its_own_and_words() -> None:
    assert set(SINGLE) < set(SCENARIOS)
    for name, fault in SINGLE.items():
        assert {one.fault for one in planned(name)} == {fault}
        assert SCENARIOS[name] == FAULTS[fault].words
    assert all(words and "\n" not in words for words in SCENARIOS.values())


def test_in_a_steady_week_nothing_goes_wrong() -> None:
    assert planned("steady") == planned() == ()


def test_a_week_of_several_faults_says_which_and_has_each() -> None:
    several = set(SCENARIOS) - set(SINGLE) - {"steady"}
    assert several == {"winter-week", "summer-week", "forgetful-week", "week-of-bad-probes", "bad-week"}
    for name in several:
        faults = {one.fault for one in planned(name)}
        assert faults == set(SCENARIOS[name].split(", "))
        assert len(faults) >= 3


def test_names_are_words_with_hyphens_between_and_spaces_are_taken_too() -> None:
    assert all(name == scenario_name(name) and " " not in name for name in SCENARIOS)
    assert scenario_name("  heater  dead ") == scenario_name("heater dead") == "heater-dead"
    with pytest.raises(KeyError):
        planned("heater dead")


@pytest.mark.parametrize("days", [1, 3, 7])
@pytest.mark.parametrize("name", sorted(SCENARIOS))
def test_faults_lie_within_the_time_on_whole_minutes_and_do_not_meet_in_a_tray(name: str, days: int) -> None:
    for seed in SEEDS:
        faults = planned(name, seed=seed, days=days)
        for one in faults:
            assert START_MS <= one.from_ms < one.to_ms <= START_MS + days * MS_PER_DAY
            assert one.from_ms % MS_PER_MINUTE == one.to_ms % MS_PER_MINUTE == 0
            assert one.tray in TRAYS
        assert not any(meet(*pair) for pair in combinations(faults, 2))


@pytest.mark.parametrize("trays", [1, 2, 6])
def test_faults_of_several_scenarios_do_not_meet_in_a_tray_however_few_there_are(trays: int) -> None:
    names = ("bad-week", "winter-week", "heater-dead", "heater-dead", "sensor-silent")
    for seed in SEEDS:
        faults = planned(*names, seed=seed, days=14, trays=trays)
        befallen = Counter(one.fault for one in faults)
        assert befallen["heater dead"] == 3
        assert befallen["mains lost"] == befallen["cold night"] == trays
        assert not any(meet(*pair) for pair in combinations(faults, 2))


def test_trays_take_turns() -> None:
    names = [name for name, fault in SINGLE.items() if fault not in OF_ROOM]
    counted = Counter(one.tray for one in planned(*names[:18], days=60))
    assert set(counted.values()) == {3}
    first = {planned("heater-dead", seed=seed)[0].tray for seed in range(60)}
    assert first == set(TRAYS)


@pytest.mark.parametrize("fault", OF_ROOM)
def test_what_befalls_the_room_befalls_every_tray_at_once_and_alone(fault: str) -> None:
    for seed in SEEDS:
        faults = planned(scenario_name(fault), "heater-dead", "lamp-dead", seed=seed)
        rooms = [one for one in faults if one.fault == fault]
        others = [one for one in faults if one.fault != fault]
        assert [one.tray for one in rooms] == TRAYS
        assert len({(one.from_ms, one.to_ms) for one in rooms}) == 1
        assert all(one.to_ms <= rooms[0].from_ms or one.from_ms >= rooms[0].to_ms for one in others)


@pytest.mark.parametrize(
    ("name", "hour"), [("cold-night", 21), ("heat-wave", 8), ("lamp-on-late", 0), ("over-misted", 0)]
)
def test_what_begins_at_an_hour_begins_at_that_hour_of_the_wall(name: str, hour: int) -> None:
    for seed in SEEDS:
        for one in planned(name, seed=seed):
            assert (local(one.from_ms).hour, local(one.from_ms).minute) == (hour, 0)


@pytest.mark.parametrize("name", ["cover-left-off", "thermostat-probe-fallen-out"])
def test_what_happens_at_an_airing_begins_when_the_cover_should_be_back(name: str) -> None:
    for seed in SEEDS:
        (one,) = planned(name, seed=seed)
        setup = replace(EVENING_CLASS, seed=seed)
        care = truth(setup, START_MS, START_MS + 7 * MS_PER_DAY).care
        assert one.from_ms in {did.to_ms for did in care if (did.tray, did.event) == (one.tray, "lifted")}


def test_a_fault_of_a_sensor_names_a_quantity_that_is_probed_and_one_of_a_tray_none() -> None:
    chosen: dict[str, set[str | None]] = {}
    for seed in range(60):
        for name, fault in SINGLE.items():
            chosen.setdefault(fault, set()).update(one.quantity for one in planned(name, seed=seed))
    for fault, quantities in chosen.items():
        assert quantities <= {None, *PROBES}
        assert FAULTS[fault].of_sensor or quantities == {None}
    assert chosen["sensor saturated"] == {"relative_humidity"}
    assert len(chosen["sensor silent"]) == 5
    assert chosen["clock set back"] == {None}


def test_the_same_seed_gives_the_same_plan_and_others_other_ones() -> None:
    plans = [planned("bad-week", seed=seed) for seed in (*SEEDS, *SEEDS)]
    assert plans[: len(SEEDS)] == plans[len(SEEDS) :]
    assert len(set(plans)) == len(SEEDS)


def test_a_scenario_adds_to_the_faults_that_are_there() -> None:
    own = TrueFault(TRAYS[0], "lamp dead", START_MS, START_MS + MS_PER_HOUR)
    setup = replace(EVENING_CLASS, faults=(own,))
    faults = with_scenarios(setup, ("heater-dead",), START_MS, START_MS + MS_PER_DAY).faults
    assert [one.fault for one in faults] == ["lamp dead", "heater dead"]


def test_one_scenario_given_twice_happens_twice() -> None:
    for seed in SEEDS:
        one, other = planned("lamp-dead", "lamp-dead", seed=seed)
        assert one.tray != other.tray
        assert (one.from_ms, one.to_ms) != (other.from_ms, other.to_ms)


def test_a_fault_leaves_time_to_be_seen_even_in_a_short_while() -> None:
    for seed in SEEDS:
        for name in SINGLE:
            for one in planned(name, seed=seed, days=0.25):
                assert one.to_ms - one.from_ms >= 30 * MS_PER_MINUTE
                assert one.to_ms <= START_MS + MS_PER_DAY // 4


def test_scenarios_of_a_minute_are_possible() -> None:
    for name in SCENARIOS:
        for one in planned(name, days=1 / 1440):
            assert START_MS <= one.from_ms <= one.to_ms <= START_MS + MS_PER_MINUTE
