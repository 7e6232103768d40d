"""The crops of the library: no gap, a mark for every value, and figures that fit each other."""

from collections.abc import Iterator

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.bands import doubt_band
from wardian.daemon.crop_library import MARKS, crop_library, crop_named, library_crops
from wardian.daemon.crop_values import STAGES, Sourced
from wardian.daemon.library import document_of
from wardian.daemon.written import Written
from wardian.rules.air import vapour_pressure_deficit_kpa
from wardian.rules.crops import Aim, Band, Crop, Stage
from wardian.rules.documents import Document, Path
from wardian.rules.quantities import QUANTITIES

KNOWN = crop_library(parse)
NAMES = list(KNOWN.all)
WRITTEN = document_of(parse, "crops.yaml").value
STAGE_NAMES = ("callusing", "rooting", "toning")
CHILLED = ("coleus", "poinsettia", "new-guinea-impatiens", "basil", "tomato")
#: The table's deficits are rounded to 0.05 kPa, so by up to 0.025, and were made with another form of the saturation
#: pressure, which differs by less than 0.4 % from ours: of 1.1 kPa, the largest, 0.0044.
DEFICIT_ROUNDED_KPA = 0.03


def stages_of(name: str) -> Iterator[Stage]:
    yield from crop_named(parse, name).stages


def both(aim: Aim) -> tuple[float, float]:
    assert aim.low is not None
    assert aim.high is not None
    return aim.low, aim.high


def test_every_value_is_marked_with_one_of_four_words() -> None:
    for crop in KNOWN.all.values():
        for path, one in crop.values.items():
            assert one.mark.partition(":")[0] in MARKS, (crop.name, path)
            assert one.line is None


def test_what_is_read_names_publisher_and_year_or_says_that_none_is_shown() -> None:
    for source in WRITTEN["sources"].values():
        assert any(word in source for word in ("19", "20", "year not shown", "years not shown")), source
        assert len(source.split()) > 5


def test_every_source_is_cited_and_nothing_else() -> None:
    marks = {one.mark for crop in KNOWN.all.values() for one in crop.values.values()}
    assert {
        name for name, text in WRITTEN["sources"].items() if not any(text in one for one in marks)
    } == set()


def test_every_name_of_a_quantity_is_one_that_is_known() -> None:
    """Those of water may come later than its bands."""
    named = {
        str(path[3])
        for crop in KNOWN.all.values()
        for path in crop.values
        if path[0] == STAGES and len(path) > 3
    }
    assert named - set(QUANTITIES) <= KNOWN.optional
    assert {"water_lost", "medium_moisture"} == KNOWN.optional


@pytest.mark.parametrize("name", NAMES)
def test_a_crop_says_everything_that_care_and_batches_need(name: str) -> None:
    crop = crop_named(parse, name)
    assert crop.notes
    assert [stage.name for stage in crop.stages] == list(STAGE_NAMES)
    assert crop.stages[0].from_day == 0
    days = (crop.due_day, crop.pot_day, crop.feed_day)
    assert all(day is not None and day > 0 for day in days)
    assert crop.stick_within_h is not None
    assert crop.stick_within_h > 0
    assert crop.warmth_base_c is not None
    for stage in crop.stages:
        assert both(stage.mistings or Aim()) <= (3, 3)
        assert both(stage.feed_mg_l or Aim()) <= (150, 150)
        assert {"water_ph", "water_ec", "light_hours", "daily_light_integral"} <= set(stage.aims)
        assert stage.optional <= {"water_lost", "medium_moisture"}
        assert "medium_moisture" in stage.optional


@pytest.mark.parametrize("name", NAMES)
def test_stages_follow_from_the_day_on_which_roots_are_due(name: str) -> None:
    crop = crop_named(parse, name)
    assert crop.due_day is not None
    assert crop.roots_days is not None
    assert crop.pot_day is not None
    _, rooting, toning = crop.stages
    assert rooting.from_day == crop.due_day // 2
    assert toning.from_day == crop.due_day + 1
    assert crop.roots_days[0] <= crop.roots_days[1] <= crop.due_day < toning.from_day < crop.pot_day
    assert 5 <= crop.pot_day - toning.from_day <= 10  # toning takes five to ten days, from memory


@pytest.mark.parametrize("name", NAMES)
def test_low_is_below_high_and_limits_stand_around_what_is_aimed_at(name: str) -> None:
    for stage in stages_of(name):
        for quantity, aim in stage.aims.items():
            assert aim.low is None or aim.high is None or aim.low < aim.high, (stage.name, quantity)
            band = stage.bands.get(quantity, Band(quantity, ()))
            low, high = band.threshold("low"), band.threshold("high")
            assert low is None or aim.low is None or low <= aim.low
            assert high is None or aim.high is None or high >= aim.high


@pytest.mark.parametrize("name", NAMES)
def test_what_is_alarmed_is_what_a_grower_can_and_should_mend(name: str) -> None:
    for stage in stages_of(name):
        limits = {quantity: {limit.name for limit in band.limits} for quantity, band in stage.bands.items()}
        is_toning = stage.name == "toning"
        assert {"low", "high"} <= limits["air_temperature"]
        assert {"low", "high", "high_high"} <= limits["medium_temperature"]
        assert ("high" in limits["relative_humidity"]) == is_toning
        assert "low" in limits["relative_humidity"]
        assert limits["vapour_pressure_deficit"] == {"high"}
        assert limits["light_hours"] == {"low", "high"}
        assert not limits.keys() & {"daily_light_integral", "water_ph", "water_ec"}


@pytest.mark.parametrize("name", CHILLED)
def test_a_crop_that_chills_has_an_urgent_limit_for_cold_air(name: str) -> None:
    for stage in stages_of(name):
        cold = stage.bands["air_temperature"].threshold("low_low")
        assert cold is not None
        assert 10 <= cold <= 12


@pytest.mark.parametrize("name", NAMES)
def test_deficits_are_those_of_the_humidity_in_the_middle_of_the_air(name: str) -> None:
    for stage in stages_of(name):
        low, high = both(stage.aims["vapour_pressure_deficit"])
        wet, dry = reversed(both(stage.aims["relative_humidity"]))
        middle_c = sum(both(stage.aims["air_temperature"])) / 2
        assert low == pytest.approx(vapour_pressure_deficit_kpa(middle_c, wet), abs=DEFICIT_ROUNDED_KPA)
        assert high == pytest.approx(vapour_pressure_deficit_kpa(middle_c, dry), abs=DEFICIT_ROUNDED_KPA)


@pytest.mark.parametrize("name", NAMES)
def test_air_at_its_driest_and_mildest_raises_nothing(name: str) -> None:
    """The deficit of the humidity limit, in the middle of the air that is aimed at, is not beyond its own limit."""
    for stage in stages_of(name):
        middle_c = sum(both(stage.aims["air_temperature"])) / 2
        driest = stage.bands["relative_humidity"].threshold("low")
        most = stage.bands["vapour_pressure_deficit"].threshold("high")
        assert driest is not None
        assert most is not None
        assert vapour_pressure_deficit_kpa(middle_c, driest) < most


@pytest.mark.parametrize("name", NAMES)
def test_no_band_is_one_that_is_hardly_meant(name: str) -> None:
    written = Written(Document("crops.yaml", {}, {}))
    for stage in stages_of(name):
        for quantity, band in stage.bands.items():
            doubt_band(written, (name, stage.name, quantity), QUANTITIES[quantity], band)
    assert written.warnings == []


@pytest.mark.parametrize("name", NAMES)
def test_a_medium_that_is_wet_enough_by_a_probe_is_so_by_mass(name: str) -> None:
    """What is left is what is not lost: 100 less the one is the other, in per cent of the water at saturation."""
    for stage in STAGE_NAMES:
        place: Path = (STAGES, stage, "bands")
        values = KNOWN.all[name].values
        for lost, left in (("high", "low"), ("high_high", "low_low")):
            pair = values[*place, "water_lost", lost], values[*place, "medium_moisture", left]
            assert pair[0].value + pair[1].value == 100
            assert pair[0].mark == pair[1].mark


def test_crops_that_like_it_dry_are_watered_later_and_misted_less() -> None:
    for crop in library_crops(parse).values():
        callusing = crop.stages[0]
        assert (callusing.bands["medium_moisture"].threshold("low") == 50) == crop.is_dry
        assert (callusing.mistings == Aim(1, 2)) == crop.is_dry
    assert {name for name, crop in library_crops(parse).items() if crop.is_dry} == {
        "pelargonium",
        "lavender",
        "rosemary",
    }


def test_what_is_eaten_is_known() -> None:
    eaten = {name for name, crop in library_crops(parse).items() if crop.is_eaten}
    assert eaten == {"basil", "mint", "rosemary", "tomato"}


def test_a_group_names_exactly_the_crops_that_it_was_made_from() -> None:
    for name, group in WRITTEN["groups"].items():
        members = {crop for crop, keys in WRITTEN["crops"].items() if keys["group"] == name}
        assert members
        assert members <= set(group["crops"])


def test_a_crop_takes_from_its_group_what_it_does_not_say_itself_and_a_group_from_the_general_crop() -> None:
    lavender, dry, general = (KNOWN.all[name].values for name in ("lavender", "dry", "general"))
    assert ("mistings",) not in WRITTEN["crops"]["lavender"]["stages"]["callusing"]
    place: Path = (STAGES, "callusing", "mistings")
    assert lavender[place] == dry[place] == Sourced([1, 2], "from memory")
    place = (STAGES, "callusing", "aims", "light_hours", "low")
    assert lavender[place] == dry[place] == general[place]
    place = (STAGES, "callusing", "aims", "air_temperature", "low")
    assert len({lavender[place], dry[place], general[place]}) == 3


def test_a_limit_that_follows_from_an_aim_says_so_and_how_far_it_stands() -> None:
    one = KNOWN.crops["coleus"].values[STAGES, "callusing", "bands", "air_temperature", "low"]
    assert (one.value, one.mark) == (19, "computed: 1 K outside the aim (from memory)")
    assert KNOWN.margins["air_temperature"].text == "1 K"
    assert all(len(margin.why) > 20 for margin in KNOWN.margins.values())


def test_the_library_is_read_once_and_a_crop_made_once() -> None:
    assert crop_library(parse) is KNOWN
    assert crop_named(parse, "coleus") is library_crops(parse)["coleus"]


# A broken library is refused.


def broken(old: str, new: str) -> Crop:
    def parse_changed(data: bytes, file: str) -> Document:
        text = data.decode()
        if file == "crops.yaml":
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        return parse(text.encode(), file)

    return crop_named(parse_changed, "coleus")


FIRST = "    cutting: softwood tip\n    group: warm-wet\n    mark: from memory\n"


@pytest.mark.parametrize(
    ("old", "new", "why"),
    [
        (FIRST, FIRST.replace("from memory", "from somewhere"), "is no mark"),
        (FIRST, FIRST.replace("    mark: from memory\n", ""), "is no mark"),
        (FIRST, FIRST.replace("from memory", '"read: nobody"'), "is no source"),
        (
            'mark: "common practice, no source: 75 to 80 °F"}\n        relative_humidity: {low: 88',
            "mark: x}\n        relative_humidity: {low: 88",
            "is no mark",
        ),
    ],
)
def test_a_library_with_a_value_without_a_mark_is_refused(old: str, new: str, why: str) -> None:
    with pytest.raises(ValueError, match=why):
        broken(old, new)
