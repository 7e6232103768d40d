"""A message names the cause that the traces tell, with its evidence and its action; or says that they cannot tell."""

from base_config import BASE, built

from wardian.daemon import wiring
from wardian.daemon.belonging import tags_of
from wardian.rules.evidence import Evidence, slope, span
from wardian.rules.observing.causes import Cause
from wardian.rules.transitions import RAISED, RETURNED, Transition

AT_MS = 1_772_463_600_000
DRY = Transition(AT_MS, "tray-a", "relative_humidity", "low", RAISED, "low", 70.0, 90.0, "callusing", AT_MS)
COLD = DRY._replace(quantity="air_temperature", value=21.0, threshold=24.0)
LEFT_OFF = Cause("cover left off", (Evidence("the cover was lifted {} ago", (span(2_700_000),)),))
DEAD = Cause("heater dead", (Evidence("the medium fell by {}", (slope("medium_temperature", 1.0),)),))


def lines(transition: Transition, cause: Cause | None) -> list[str]:
    teller = wiring.teller(built(BASE))
    return teller.message(teller.fields(transition, cause)).body.splitlines()


def tags(transition: Transition, cause: Cause | None) -> frozenset[str]:
    return tags_of(wiring.teller(built(BASE)).fields(transition, cause))


def test_a_named_cause_takes_the_place_of_the_usual_ones_with_its_evidence_and_its_action() -> None:
    *_, likely, _, to_do = lines(DRY, LEFT_OFF)
    assert likely == "Likely: the cover was not put back; the cover was lifted 45 min ago"
    assert to_do.endswith(": put the cover back and mist")
    assert to_do.startswith("To do within 30 min")


def test_evidence_is_told_in_the_units_of_the_site() -> None:
    *_, likely, _, _ = lines(COLD, DEAD)
    assert likely == "Likely: the mat gives no heat; the medium fell by 1.8 °F an hour"


def test_where_the_traces_cannot_tell_the_message_says_so_beside_the_usual_causes() -> None:
    *_, likely, _, to_do = lines(DRY, Cause(None))
    assert likely.startswith("Likely (the traces cannot tell which): the cover is off or ajar")
    assert "seat the cover" in to_do


def test_where_nobody_looked_at_the_traces_only_the_usual_causes_are_told() -> None:
    *_, likely, _, _ = lines(DRY, None)
    assert likely.startswith("Likely: the cover is off or ajar")


def test_what_is_in_doubt_is_looked_at_first_whatever_its_cause() -> None:
    deficit = DRY._replace(quantity="vapour_pressure_deficit", limit="high", condition="high", in_doubt=True)
    *_, to_do = lines(deficit, LEFT_OFF)
    assert "look at the cuttings and the probe" in to_do
    assert to_do.endswith("then put the cover back and mist")


def test_a_return_asks_for_nothing() -> None:
    assert not any(line.startswith(("Likely", "To do")) for line in lines(DRY._replace(event=RETURNED), None))


def test_alarms_of_one_cause_belong_together_and_others_only_where_they_go_the_same_way() -> None:
    assert tags(DRY, LEFT_OFF) & tags(COLD, LEFT_OFF)
    assert not tags(DRY, Cause(None)) & tags(COLD, Cause(None))
    assert not tags(DRY, LEFT_OFF) & tags(COLD, DEAD)
    warm_medium = COLD._replace(quantity="medium_temperature")
    assert tags(COLD, Cause(None)) & tags(warm_medium, DEAD)


def test_each_probe_is_a_trouble_of_its_own() -> None:
    silent = DRY._replace(limit=None, condition="sensor-silent", value=None, threshold=None)
    other = silent._replace(quantity="air_temperature")
    cause = Cause("sensor silent")
    assert not tags(silent, cause) & tags(other, cause)
    assert tags(silent, cause) & tags(
        silent._replace(condition="sensor-implausible"), Cause("sensor implausible")
    )
