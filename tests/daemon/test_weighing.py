"""What trays weigh full and dry: by the configuration, and by records that hold from when they were made."""

import re
from typing import Any

import pytest
from base_config import BASE, built, changed

from wardian.daemon.config import TraySettings
from wardian.daemon.effective import effective_lines
from wardian.daemon.planning import plan_of
from wardian.daemon.weighing import refuse_impossible
from wardian.rules.crops import day_start_ms
from wardian.rules.errors import BadConfig
from wardian.rules.plans import Masses
from wardian.rules.records import MASSES, WITHDRAWN, Record

TRAY = "crop: coleus, stuck: 2026-03-02"
DAY_MS = 86_400_000


def with_mass(mass: str) -> TraySettings:
    return changed((TRAY, f"{TRAY}, mass: {mass}")).trays[0]


def bare() -> TraySettings:
    return built(BASE).trays[0]


def stuck_ms(of: TraySettings) -> int:
    return day_start_ms(of.stuck, built(BASE).site.zone)


def planned(of: TraySettings, *records: Record) -> list[tuple[int, float, float, bool]]:
    """Return the masses in days since sticking, grams, and whether dry is estimated."""
    plan = plan_of(of, records, built(BASE).site.zone)
    return [((one.from_ms - stuck_ms(of)) // DAY_MS, *one[1:]) for one in plan.masses]


def weighed(number: int, day: int, corrects: int | None = None, **grams: float) -> Record:
    at_ms = stuck_ms(bare()) + day * DAY_MS
    return Record(
        MASSES, at_ms, at_ms, "tray-a", who="evening class", fields=grams, corrects=corrects, number=number
    )


# The configuration


def test_what_is_written_holds_from_the_day_the_cuttings_went_in() -> None:
    of = with_mass("{saturated: 3000 g, dry: 1.2 kg}")
    assert of.plan.masses == (Masses(stuck_ms(of), 3000, 1200),)
    assert of.plan.retakes_mass


def test_a_dry_mass_that_nobody_weighed_is_estimated_and_says_so() -> None:
    assert with_mass("{saturated: 3000 g, volume: 9 l}").plan.masses[0][1:] == (3000, 1035, True)
    of = with_mass("{saturated: 3000 g, volume: 4000 ml, empty: 500 g}")
    assert of.plan.masses[0][1:] == (3000, 960, True)


def test_a_tray_of_which_nothing_is_written_weighs_nothing_known() -> None:
    assert bare().plan.masses == ()
    assert with_mass("{retake: false}").plan.masses == ()
    assert not with_mass("{retake: false}").plan.retakes_mass


@pytest.mark.parametrize(
    ("mass", "key", "why"),
    [
        ("{saturated: 3000 g, dry: 3200 g}", "", "dry 3200 g is not below saturated 3000 g"),
        ("{saturated: 3000 g, dry: 3000 g}", "", "dry 3000 g is not below saturated 3000 g"),
        ("{saturated: 1 kg, volume: 9 l}", "", "dry 1035 g, estimated from the volume, is not below"),
        ("{saturated: 3000 g}", "", "saturated with dry or with volume is accepted"),
        ("{dry: 1200 g}", "", "saturated with dry or with volume is accepted"),
        ("{saturated: 3 kg, dry: 1 kg, volume: 9 l}", "", "both dry and volume"),
        ("{saturated: 3 kg, dry: 1 kg, empty: 1 kg}", "", "empty is accepted beside a volume only"),
        ("{saturated: -3 kg, dry: 1 kg}", ".saturated", "is too little"),
        ("{saturated: 3 t, dry: 1 kg}", ".saturated", "accepted: g, kg"),
        ("{saturated: 3000 kg, dry: 1 kg}", ".saturated", "is too much"),
        ("{saturated: 3 kg, volume: 9 kg}", ".volume", "accepted: ml, l"),
        ("{saturated: 3 kg, dry: 1 kg, retake: maybe}", ".retake", "true or false is accepted"),
        ("{full: 3 kg}", ".full", "is no known key"),
    ],
)
def test_a_mistake_names_its_place_and_what_is_accepted(mass: str, key: str, why: str) -> None:
    with pytest.raises(BadConfig) as caught:
        with_mass(mass)
    (mistake,) = caught.value.mistakes
    assert (mistake.path, mistake.line) == (f"trays[0].mass{key}", 6)
    assert why in mistake.in_file("c.yaml")


def test_every_value_in_force_is_listed() -> None:
    lines = list(effective_lines(changed((TRAY, f"{TRAY}, mass: {{saturated: 3 kg, dry: 1.2 kg}}"))))
    shown = [line.partition("  #")[0] for line in lines if re.match(r"trays\[0\]\.mass", line)]
    assert shown == [
        "trays[0].mass.saturated = 3 kg",
        "trays[0].mass.dry = 1.2 kg",
        "trays[0].mass.retake = true",
    ]


def test_a_band_of_lost_water_without_a_mass_is_doubted() -> None:
    band = (
        "relative_humidity: {low: 90 %}",
        "relative_humidity: {low: 90 %}\n          water_lost: {high: 33 %}",
    )
    (warning,) = changed(band).warnings
    assert (warning.path, warning.line) == ("trays[0]", 6)
    assert "cannot alarm before somebody says what it weighs full and dry" in warning.problem
    assert changed(band, (TRAY, f"{TRAY}, mass: {{saturated: 3 kg, dry: 1 kg}}")).warnings == ()


# Records


def test_a_record_holds_from_when_the_tray_was_weighed() -> None:
    of = with_mass("{saturated: 3000 g, dry: 1200 g}")
    assert planned(of, weighed(1, 3, saturated_g=3050.0), weighed(2, 5, dry_g=1250.0)) == [
        (0, 3000, 1200, False),
        (3, 3050, 1200, False),
        (5, 3050, 1250, False),
    ]


def test_a_dry_mass_that_was_weighed_is_estimated_no_more() -> None:
    of = with_mass("{saturated: 3000 g, volume: 9 l}")
    assert planned(of, weighed(1, 3, saturated_g=3050.0), weighed(2, 5, dry_g=1250.0)) == [
        (0, 3000, 1035, True),
        (3, 3050, 1035, True),
        (5, 3050, 1250, False),
    ]


def test_records_alone_are_enough_once_both_are_said() -> None:
    assert planned(bare(), weighed(1, 2, saturated_g=3000.0)) == []
    assert planned(bare(), weighed(1, 2, saturated_g=3000.0), weighed(2, 4, dry_g=1200.0)) == [
        (4, 3000, 1200, False)
    ]


def test_a_correction_takes_the_place_of_a_record_and_a_withdrawal_leaves_none() -> None:
    wrong = weighed(1, 3, saturated_g=3500.0, dry_g=1200.0)
    right = weighed(2, 3, corrects=1, saturated_g=3050.0, dry_g=1200.0)
    assert planned(bare(), wrong, right) == [(3, 3050, 1200, False)]
    gone = right._replace(kind=WITHDRAWN, fields={}, number=3, corrects=2)
    assert planned(bare(), wrong, right, gone) == []


def test_what_was_weighed_before_the_cuttings_went_in_or_of_another_tray_changes_nothing() -> None:
    of = with_mass("{saturated: 3000 g, dry: 1200 g}")
    other = weighed(2, 3, saturated_g=9000.0)._replace(tray="tray-b")
    assert planned(of, weighed(1, -1, saturated_g=9000.0), other) == [(0, 3000, 1200, False)]


@pytest.mark.parametrize(
    ("grams", "why"),
    [
        ({"saturated_g": 1100.0}, "dry 1200 g is not below saturated 1100 g"),
        ({"dry_g": 3000.0}, "dry 3000 g is not below saturated 3000 g"),
        ({"saturated_g": 900.0, "dry_g": 950.0}, "dry 950 g is not below saturated 900 g"),
    ],
)
def test_a_record_by_which_a_tray_weighs_less_full_than_dry_is_refused(
    grams: dict[str, Any], why: str
) -> None:
    of = with_mass("{saturated: 3000 g, dry: 1200 g}")
    with pytest.raises(ValueError, match=re.escape(why)):
        refuse_impossible(built(BASE), of, [weighed(1, 1, saturated_g=3000.0), weighed(2, 2, **grams)])


def test_a_record_after_which_a_mass_is_missing_is_refused_with_what_is_needed() -> None:
    with pytest.raises(ValueError, match="nobody said what tray-a weighs dry; say that with it: --dry"):
        refuse_impossible(built(BASE), bare(), [weighed(1, 1, saturated_g=3000.0)])
    with pytest.raises(ValueError, match="weighs saturated; say that with it: --saturated"):
        refuse_impossible(built(BASE), bare(), [weighed(1, 1, dry_g=1200.0)])
