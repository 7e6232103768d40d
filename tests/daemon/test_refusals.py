"""Rubbish does not wear out a card: the first of it is kept, the rest is told as a number."""

from loop_rig import Rig

from wardian.daemon.refusals import ALL_A_MINUTE, EACH_A_MINUTE, ELSEWHERE, PLACES_TOLD, Refusals
from wardian.rules.ports import Decoded, Refused


def rubbish(number: int, source: str = "probes class/tray-a/air") -> list[Refused]:
    return [Refused(source, "is not a plain number like 21.5", f"x{n}") for n in range(number)]


def test_the_first_of_a_place_are_kept_and_the_others_counted_when_the_minute_is_over() -> None:
    refusals = Refusals(100.0)
    kept = refusals.to_keep(rubbish(500), 100.0) + refusals.to_keep(rubbish(500), 159.9)
    assert kept == rubbish(EACH_A_MINUTE)
    after = refusals.to_keep(rubbish(1), 160.0)
    assert [one.why for one in after] == [
        "940 more were refused within a minute and only counted",
        "is not a plain number like 21.5",
    ]
    assert after[0].source == "probes class/tray-a/air"
    assert refusals.to_keep([], 220.0) == []


def test_what_sensors_usually_bring_is_kept_to_the_last_one() -> None:
    refusals = Refusals(0.0)
    each = [Refused("probes", "too high", "900", 0, f"tray-{n}", "ppfd") for n in range(40)]
    for round_ in range(60):
        assert refusals.to_keep(each, round_ * 10.0) == each


def test_many_places_share_what_is_kept_and_the_sums_stay_few() -> None:
    refusals = Refusals(0.0)
    kept = [one for n in range(5_000) for one in refusals.to_keep(rubbish(2, f"topic {n}"), 1.0)]
    assert len(kept) == ALL_A_MINUTE
    sums = refusals.to_keep([], 61.0)
    assert len(sums) == PLACES_TOLD + 1
    assert sums[-1].source == ELSEWHERE
    assert sum(int(one.why.split()[0]) for one in sums) == 10_000 - ALL_A_MINUTE


def test_the_loop_keeps_the_first_of_it_acknowledges_all_and_doubts_the_sensor_all_the_same() -> None:
    rig = Rig()
    doubtful = Refused("probes", "is no number", "x", None, "tray-a", "air_temperature")
    for _ in range(1_000):
        rig.hand_over(Decoded(refused=[doubtful]))
    rig.round_at(1)
    assert len(rig.store.refused(10_000)) == EACH_A_MINUTE
    assert len(rig.sensor.acknowledged) == 1_000
    rig.round_at(3)
    assert [event for _, event in rig.events()] == ["raised"]
    assert len(rig.store.refused(10_000)) == EACH_A_MINUTE + 1
