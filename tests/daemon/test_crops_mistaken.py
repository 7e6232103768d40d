"""Crops that are wrong: told at what is written, with its line, also where it is wrong only beside the library's value."""

import pytest
from crop_configs import callusing, mistakes


@pytest.mark.parametrize(
    ("tray", "told"),
    [
        ("colius", "4: trays[0].crop: 'colius' is none of the crops; did you mean coleus?"),
        ("fuschia", "4: trays[0].crop: 'fuschia' is none of the crops; did you mean fuchsia?"),
        (
            "orchid of somebody",
            (
                "4: trays[0].crop: 'orchid of somebody' is none of the crops; "
                "a crop of this file, or of the library as `wardian crops` lists it, is accepted"
            ),
        ),
    ],
)
def test_a_crop_that_is_nowhere_is_told_with_what_was_meant(tray: str, told: str) -> None:
    assert mistakes("", tray) == [told]


@pytest.mark.parametrize(
    ("crops", "told"),
    [
        (
            "  one: {like: two}\n  two: {like: one}\n",
            "7: crops.two.like: leads in a circle: one, two, one; take one `like` out",
        ),
        ("  one: {like: one}\n", "6: crops.one.like: leads in a circle: one, one; take one `like` out"),
        (
            "  one: {like: lavendar}\n",
            "6: crops.one.like: 'lavendar' is none of the crops; did you mean lavender?",
        ),
        ("  one: {like: 3}\n", "6: crops.one.like: is 3; text is accepted: put quotes around it"),
        (
            "  one: {stages: {}}\n",
            (
                "6: crops.one.stages: is a mapping, and 'one' is no crop of the library; "
                "a list of stages, or `like` with the name of a crop, is accepted"
            ),
        ),
        (
            "  one: {stages: {callusing: {from_day: 0}}}\n",
            (
                "6: crops.one.stages: is a mapping, and 'one' is no crop of the library; "
                "a list of stages, or `like` with the name of a crop, is accepted"
            ),
        ),
        ("  one: {due: 12}\n", "6: crops.one.stages: is missing; a list with at least one stage is accepted"),
    ],
)
def test_a_crop_after_none_that_there_is_is_told(crops: str, told: str) -> None:
    assert mistakes(crops) == [told]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        (
            "{bands: {air_temperature: {low: 26 °C}}}",
            (
                "6: crops.coleus.stages.callusing.bands.air_temperature.low: '26 °C' is above high, which is 25 in the "
                "crop it takes after; limits must rise: low_low, low, high, high_high"
            ),
        ),
        (
            "{bands: {air_temperature: {high: 18 °C}}}",
            (
                "6: crops.coleus.stages.callusing.bands.air_temperature.high: '18 °C' is below low, which is 19 in the "
                "crop it takes after; limits must rise: low_low, low, high, high_high"
            ),
        ),
        (
            "{bands: {air_temperature: {low: 26 °C, high: 24 °C}}}",
            (
                "6: crops.coleus.stages.callusing.bands.air_temperature.high: '24 °C' is below low, which is '26 °C'; "
                "limits must rise: low_low, low, high, high_high"
            ),
        ),
        (
            "{aims: {daily_light_integral: {low: 7}}}",
            (
                "6: crops.coleus.stages.callusing.aims.daily_light_integral.low: 7 is above high, which is 6 in the "
                "crop it takes after; limits must rise: low_low, low, high, high_high"
            ),
        ),
        (
            "{aims: {ppfd: {low: 7, high: 6}}}",
            "6: crops.coleus.stages.callusing.aims.ppfd.high: 6 is below low, which is 7",
        ),
        (
            "{bands: {dew_point: {deadband: 1 K}}}",
            (
                "6: crops.coleus.stages.callusing.bands.dew_point: has no limit; "
                "one of low_low, low, high, high_high is needed"
            ),
        ),
        (
            "{bands: {air_temperatur: {low: 20}}}",
            (
                "6: crops.coleus.stages.callusing.bands.air_temperatur: 'air_temperatur' is no quantity; "
                "did you mean air_temperature?"
            ),
        ),
        (
            "{bands: {air_temperature: {lo: 20}}}",
            "6: crops.coleus.stages.callusing.bands.air_temperature.lo: is no known key; did you mean low?",
        ),
        (
            "{bands: {air_temperature: {low: 23,9 °C}}}",
            (
                "6: crops.coleus.stages.callusing.bands.air_temperature.'9 °C': has nothing written behind it; "
                "write a decimal point, not a comma"
            ),
        ),
        (
            "{from_day: 6}",
            (
                "6: crops.coleus.stages.callusing.from_day: day 6 is not before day 6 of the stage rooting; "
                "stages are accepted in the order of their days"
            ),
        ),
        (
            "{mistings: [3, 2]}",
            "6: crops.coleus.stages.callusing.mistings: falls from 3 to 2; the lower number is accepted first",
        ),
        (
            "{mistings: 3}",
            "6: crops.coleus.stages.callusing.mistings: is 3; a list of two numbers a day such as [2, 3] is accepted",
        ),
        (
            "{from_day: null}",
            "6: crops.coleus.stages.callusing.from_day: has nothing written behind it; write a value, or take the key out",
        ),
    ],
)
def test_what_does_not_fit_the_crop_is_told_at_what_is_written(text: str, told: str) -> None:
    assert mistakes(callusing(text)) == [told]


@pytest.mark.parametrize(
    ("crops", "told"),
    [
        (
            "  coleus: {stages: {calusing: {from_day: 0}}}\n",
            "6: crops.coleus.stages.calusing: 'calusing' is no stage of this crop; did you mean callusing?",
        ),
        (
            "  coleus:\n    stages:\n      toning: {from_day: 5}\n",
            (
                "8: crops.coleus.stages.toning.from_day: day 5 is not after day 6 of the stage rooting; "
                "stages are accepted in the order of their days"
            ),
        ),
        (
            "  coleus: {roots: [10, 5]}\n",
            "6: crops.coleus.roots: falls from 10 to 5; the lower number is accepted first",
        ),
        (
            "  coleus: {roots: [10]}\n",
            "6: crops.coleus.roots: is a list; a list of two days after sticking such as [5, 10] is accepted",
        ),
        ("  coleus: {potted: 3}\n", "6: crops.coleus.potted: is no known key; did you mean pot?"),
        (
            "  coleus: {eaten: maybe}\n",
            "6: crops.coleus.eaten: is the text 'maybe'; true or false is accepted",
        ),
        (
            "  coleus: {warmth_base: 90 °C}\n",
            "6: crops.coleus.warmth_base: '90 °C' is no heat for cuttings; 0 to 60 °C is accepted",
        ),
        ("  coleus:\n", "6: crops.coleus: has nothing written behind it; write a value, or take the key out"),
    ],
)
def test_what_is_wrong_in_a_crop_is_told_with_its_line(crops: str, told: str) -> None:
    assert mistakes(crops) == [told]
