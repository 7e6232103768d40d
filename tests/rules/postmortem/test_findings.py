"""What is named of trays whose minutes were written by hand: the one thing that is wrong, and of a healthy one nothing."""

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from still_trays import BEGIN_MS, CROP, DAY, HOUR, MINUTE_MS, TRAY, ground, healthy, plan_of, put, stuck_at

from wardian.rules.batches import Batch, Closed, Details, Removal, Scores
from wardian.rules.crops import Aim, Crop, Stage, StageSpan
from wardian.rules.observing.looks import LIFTED, MISTED, Care
from wardian.rules.plans import Masses
from wardian.rules.postmortem.became import became
from wardian.rules.postmortem.blindness import blindness, unsafe_findings
from wardian.rules.postmortem.findings import Finding, findings
from wardian.rules.postmortem.ground import Ground
from wardian.rules.postmortem.harm import (
    CHILLED,
    FINDINGS,
    FLOWERING,
    HELD_LONG,
    LITTLE_LIGHT,
    MEDIUM_DRY,
    MUCH_LIGHT,
    NOTHING,
    TOO_COLD,
    TOO_DRY_AIR,
    TOO_HOT,
    TOO_WET,
    UNSEEN,
)
from wardian.rules.postmortem.light import days_of

DAYS = 14


def found(grown: Ground, *, is_past_due: bool = False) -> list[Finding]:
    blind = blindness(grown, {})
    what = became(grown.case, is_past_due=is_past_due)
    return findings(grown, days_of(grown), what, unsafe_findings(blind))


def names(grown: Ground, *, is_past_due: bool = False) -> list[str]:
    return [one.name for one in found(grown, is_past_due=is_past_due)]


def hours(first: float, last: float) -> slice:
    return slice(round(first * HOUR), round(last * HOUR))


def batch(**more: Any) -> Batch:
    return Batch("spring", TRAY, "coleus", BEGIN_MS, 40, **more)


def test_a_healthy_tray_names_nothing() -> None:
    assert names(ground(healthy(DAYS))) == []


@pytest.mark.parametrize(
    ("quantity", "part", "value", "name"),
    [
        ("medium_temperature", hours(30, 60), 17.0, TOO_COLD),
        ("medium_temperature", hours(30, 36), 8.0, CHILLED),
        ("medium_temperature", hours(30, 40), 34.0, TOO_HOT),
        ("medium_temperature", hours(30, 30.6), 41.0, TOO_HOT),
        ("relative_humidity", hours(30, 34), 55.0, TOO_DRY_AIR),
        ("relative_humidity", hours(24, 150), 96.0, TOO_WET),
        ("illuminance", hours(48, 96), 0.0, LITTLE_LIGHT),
        ("illuminance", hours(72, 168), 2500.0, MUCH_LIGHT),
        ("tray_mass", hours(100, 140), 2000.0, MEDIUM_DRY),
    ],
)
def test_the_one_thing_that_was_out_of_line_is_named(
    quantity: str, part: slice, value: float, name: str
) -> None:
    assert names(ground(put(healthy(DAYS), quantity, part, value)))[0] == name


@pytest.mark.parametrize(
    ("quantity", "part", "value"),
    [
        ("medium_temperature", hours(30, 60), 20.5),
        ("medium_temperature", hours(30, 33), 17.0),
        ("medium_temperature", hours(30, 33), 27.0),
        ("relative_humidity", hours(30, 30.7), 45.0),
        ("relative_humidity", hours(24, 60), 96.0),
        ("illuminance", hours(53, 71), 0.0),
        ("tray_mass", hours(100, 120), 2500.0),
    ],
)
def test_less_than_what_is_said_to_harm_is_not_named(quantity: str, part: slice, value: float) -> None:
    assert names(ground(put(healthy(DAYS), quantity, part, value))) == []


def test_what_is_out_of_line_in_toning_is_not_held_against_cuttings_with_roots() -> None:
    minutes = put(healthy(20), "medium_temperature", slice(15 * DAY, None), 15.0)
    assert TOO_COLD not in names(ground(minutes))


def test_cuttings_that_were_set_back_from_toning_have_no_roots_again() -> None:
    callusing, rooting, toning = plan_of().spans
    back = StageSpan(toning.from_ms + 2 * DAY * MINUTE_MS, rooting.stage)
    minutes = put(healthy(25), "medium_temperature", slice(18 * DAY, 20 * DAY), 16.0)
    set_back = replace(plan_of(), spans=(callusing, rooting, toning, back))
    assert TOO_COLD not in names(ground(minutes))
    assert names(ground(minutes, plan=set_back))[0] == TOO_COLD


def test_cold_in_whose_midst_it_chilled_is_the_chills() -> None:
    minutes = put(healthy(DAYS), "medium_temperature", hours(30, 90), 15.0)
    assert names(ground(put(minutes, "medium_temperature", hours(50, 55), 9.0))) == [CHILLED]
    # An hour of it injures nothing, and the cold stays what it was.
    assert names(ground(put(minutes, "medium_temperature", hours(50, 51), 9.0))) == [TOO_COLD]


def test_cold_under_an_open_cover_is_the_covers() -> None:
    minutes = put(healthy(DAYS), "relative_humidity", hours(30, 50), 50.0)
    minutes = put(minutes, "medium_temperature", hours(31, 55), 17.0)
    assert names(ground(minutes)) == [TOO_DRY_AIR]


def test_dry_air_over_a_hot_mat_is_the_mats() -> None:
    minutes = put(healthy(DAYS), "medium_temperature", hours(30, 50), 36.0)
    minutes = put(minutes, "relative_humidity", hours(31, 52), 55.0)
    assert names(ground(minutes)) == [TOO_HOT]


def test_water_that_a_hot_mat_dried_out_is_not_laid_to_the_watering() -> None:
    minutes = put(healthy(DAYS), "medium_temperature", hours(30, 50), 36.0)
    minutes["tray_mass"] = np.interp(np.arange(DAYS * DAY), [30 * HOUR, 50 * HOUR], [3000.0, 1900.0])
    assert names(ground(minutes)) == [TOO_HOT]


def test_a_lifted_cover_is_no_water() -> None:
    off = np.zeros(DAYS * DAY)
    off[hours(40, 44)] = 1
    minutes = put(healthy(DAYS), "tray_mass", hours(40, 44), 1500.0)
    assert names(ground(minutes, cover_off=off)) == []


def test_a_weighed_tray_is_dry_by_its_own_masses() -> None:
    weighed = replace(plan_of(), masses=(Masses(BEGIN_MS, 3000.0, 2400.0),))
    minutes = put(healthy(DAYS), "tray_mass", hours(100, 140), 2700.0)
    assert names(ground(minutes)) == []
    assert names(ground(minutes, plan=weighed)) == [MEDIUM_DRY]


def test_a_humidity_probe_that_is_stuck_does_not_say_that_it_was_wet() -> None:
    minutes = put(healthy(DAYS), "relative_humidity", hours(24, 150), 96.0)
    assert names(stuck_at(ground(minutes), "relative_humidity", hours(24, 150))) == []


def test_a_probe_with_water_on_it_does_not_say_that_it_was_wet() -> None:
    minutes = put(healthy(DAYS), "relative_humidity", hours(24, 150), 100.0)
    lift = Care(LIFTED, BEGIN_MS + 60 * HOUR * MINUTE_MS, BEGIN_MS + (60 * HOUR + 5) * MINUTE_MS)
    assert names(ground(minutes)) == [TOO_WET]
    assert names(ground(minutes, care=[lift])) == []


def test_too_many_mistings_are_named() -> None:
    care = [
        Care(
            MISTED,
            BEGIN_MS + (day * DAY + hour * HOUR) * MINUTE_MS,
            BEGIN_MS + (day * DAY + hour * HOUR + 1) * MINUTE_MS,
        )
        for day in range(3)
        for hour in range(8, 15)
    ]
    assert names(ground(healthy(DAYS), care=care)) == [TOO_WET]
    assert names(ground(healthy(DAYS), care=care[:7])) == []


def test_a_crop_that_wants_it_dry_is_wet_after_half_the_time() -> None:
    dry = Crop("lavender", CROP.stages, is_dry=True)
    minutes = put(healthy(DAYS), "relative_humidity", hours(24, 59), 96.0)
    assert names(ground(minutes)) == []
    assert names(ground(minutes, crop=dry)) == [TOO_WET]


def test_light_is_held_against_what_the_crop_wants_of_photons_where_it_is_known() -> None:
    bright = Crop("basil", (Stage("callusing", 0, aims={"daily_light_integral": Aim(8.0, 14.0)}),))
    minutes = healthy(DAYS)
    minutes["ppfd"] = minutes["illuminance"] / 69.0
    assert names(ground(minutes, crop=bright)) == [LITTLE_LIGHT]


def test_a_lamp_that_lost_half_its_light_is_named() -> None:
    minutes = healthy(DAYS)
    minutes["illuminance"][5 * DAY :] *= 0.5
    assert names(ground(minutes)) == [LITTLE_LIGHT]


def test_light_that_nobody_saw_is_not_missed() -> None:
    assert names(ground(put(healthy(DAYS), "illuminance", slice(2 * DAY, 6 * DAY), np.nan))) == []


def test_a_crop_of_which_nobody_says_what_it_wants_is_still_cooked_and_frozen() -> None:
    fern = Crop("fern", (Stage("rooting", 0),))
    for medium_c, name in ((36.0, TOO_HOT), (3.0, CHILLED)):
        minutes = put(healthy(DAYS), "medium_temperature", hours(30, 50), medium_c)
        assert names(ground(minutes, crop=fern)) == [name]


def test_the_evidence_of_light_is_of_whole_days() -> None:
    minutes = {name: values[20 * HOUR :] for name, values in healthy(DAYS).items()}
    minutes["illuminance"] = healthy(DAYS)["illuminance"][: (DAYS * DAY) - 20 * HOUR]
    minutes = put(minutes, "illuminance", slice(3 * DAY, 7 * DAY), 0.0)
    (one,) = found(ground(minutes))
    assert [(seen.words, [figure.number for figure in seen.figures]) for seen in one.evidence] == [
        ("{} days of {} seen had too little light, in all as if {} days had been dark", [4.0, 13.0, 4.0]),
        ("the shortest day had {} of light", [0.0]),
    ]


# ------------------------------------------------------------------------------- with what became of it


def test_a_finding_that_fits_what_became_of_the_batch_weighs_more_than_one_that_does_not() -> None:
    minutes = put(healthy(DAYS), "medium_temperature", hours(60, 100), 17.0)
    minutes = put(minutes, "relative_humidity", hours(200, 340), 96.0)
    rotten = batch(removals=(Removal(BEGIN_MS + 9 * DAY * MINUTE_MS, 9, "mould"),))
    weights = {
        record: {one.name: one.weight for one in found(ground(minutes, batch=record))}
        for record in (None, rotten)
    }
    assert weights[rotten][TOO_WET] == pytest.approx(1.5 * weights[None][TOO_WET])
    assert weights[rotten][TOO_COLD] == pytest.approx(0.75 * weights[None][TOO_COLD])


def test_what_fits_is_told_as_evidence() -> None:
    wilted = batch(removals=(Removal(BEGIN_MS + DAY * MINUTE_MS, 12, "wilt"),))
    (one,) = found(ground(put(healthy(DAYS), "relative_humidity", hours(30, 34), 55.0), batch=wilted))
    assert [fit.words for fit in one.fits] == ["{} cuttings were taken out wilted within three days"]


def test_of_a_batch_that_did_poorly_without_anything_out_of_line_that_is_said() -> None:
    poor = batch(closed=Closed(BEGIN_MS + 14 * DAY * MINUTE_MS, 10, 8, {"no-roots": 30}))
    assert names(ground(healthy(DAYS), batch=poor)) == [NOTHING]


def test_of_a_batch_that_did_well_nothing_is_said() -> None:
    well = batch(scores=(Scores(BEGIN_MS + 13 * DAY * MINUTE_MS, (0, 0, 2, 8, 20, 10)),))
    assert names(ground(healthy(DAYS), batch=well), is_past_due=True) == []


def test_a_look_at_roots_before_they_are_due_is_no_verdict() -> None:
    early = batch(scores=(Scores(BEGIN_MS + 8 * DAY * MINUTE_MS, (0, 30, 10, 0, 0, 0)),))
    assert names(ground(healthy(DAYS), batch=early)) == []
    assert names(ground(healthy(DAYS), batch=early), is_past_due=True) == [NOTHING]


def test_cuttings_held_too_long_and_wood_in_flower_are_named_from_the_record() -> None:
    details = Details(taken_ms=BEGIN_MS - 9 * HOUR * MINUTE_MS, is_flowering=True)
    closed = Closed(BEGIN_MS + 14 * DAY * MINUTE_MS, 10, 8, {"no-roots": 30})
    assert names(ground(healthy(DAYS), batch=batch(details=details, closed=closed))) == [HELD_LONG, FLOWERING]
    # Without a verdict wood in flower is no finding, and what did well was not held too long to do so.
    assert names(ground(healthy(DAYS), batch=batch(details=details))) == [HELD_LONG]


# ---------------------------------------------------------------------------------- what was not seen


def test_too_little_seen_is_said_before_anything_else_that_could_be_missing() -> None:
    assert names(ground(put(healthy(DAYS), "medium_temperature", slice(0, 3 * DAY), np.nan))) == [UNSEEN]


def test_a_finding_from_a_probe_that_was_stuck_is_unsafe_and_not_likely() -> None:
    grown = ground(put(healthy(DAYS), "medium_temperature", slice(2 * DAY, 8 * DAY), 15.0))
    (safe,) = found(grown)
    (unsafe,) = found(stuck_at(grown, "medium_temperature", slice(2 * DAY, 8 * DAY)))
    assert (safe.is_unsafe, safe.is_likely) == (False, True)
    assert (unsafe.is_unsafe, unsafe.is_likely) == (True, False)


def test_a_silent_tray_names_nothing_but_that() -> None:
    nothing = {name: np.full(DAYS * DAY, np.nan) for name in healthy(DAYS)}
    assert names(ground(nothing)) == [UNSEEN]


def test_findings_come_in_order_of_weight_and_each_is_known_by_name() -> None:
    minutes = put(healthy(DAYS), "medium_temperature", hours(60, 130), 15.0)
    minutes = put(minutes, "illuminance", hours(144, 220), 0.0)
    told = found(ground(minutes))
    assert [one.name for one in told] == [TOO_COLD, LITTLE_LIGHT]
    assert [one.weight for one in told] == sorted((one.weight for one in told), reverse=True)
    assert {one.name for one in told} <= set(FINDINGS)
