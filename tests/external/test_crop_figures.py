"""The library's crops beside the figures they were made from: what each crop wants, by stage, in °C, %, kPa, mol/m2/d.

The table is our own copy; its last column says of each row where it is from. Most of it is from memory of general
practice, and says so; what was read has its source. Compared exactly: the library is to hold these very numbers.
"""

import csv
from pathlib import Path
from typing import Final

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.crop_library import crop_library, general_crop, library_crops
from wardian.rules.crops import Aim, Crop, Stage

TABLE: Final = list(
    csv.DictReader((Path(__file__).parent / "data" / "crop_figures.csv").read_text("utf-8").splitlines())
)
CROPS: Final = library_crops(parse)

#: Temperature of the root zone of poinsettia: where roots began and grew best, and where rooting was very late or
#: did not happen. [°C] Wilkerson, Gates, Zolnier, Kester and Geneve, J. Amer. Soc. Hort. Sci. 130(3):302-307 (2005).
BEST_C: Final = (26, 28)
TOO_COLD_C: Final = 20
TOO_WARM_C: Final = 32


def figure(crop: Crop, stage: str, quantity: str) -> tuple[float | None, float | None]:
    if quantity == "roots":
        assert crop.roots_days is not None
        return crop.roots_days
    if quantity == "due":
        return crop.due_day, crop.due_day
    return stage_of(crop, stage).aims[quantity]


def stage_of(crop: Crop, name: str) -> Stage:
    return next(stage for stage in crop.stages if stage.name == name)


def test_the_table_and_the_library_name_the_same_crops_and_stages() -> None:
    assert len(CROPS) == 13
    assert {row["crop"] for row in TABLE} == set(CROPS)
    named = {(row["crop"], row["stage"]) for row in TABLE if row["stage"]}
    assert named == {(name, stage.name) for name, crop in CROPS.items() for stage in crop.stages}


@pytest.mark.parametrize("row", TABLE, ids=lambda row: " ".join(list(row.values())[:3]))
def test_a_crop_wants_what_the_table_says(row: dict[str, str]) -> None:
    assert row["source"]
    found = figure(CROPS[row["crop"]], row["stage"], row["quantity"])
    assert found == (float(row["low"]), float(row["high"]))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: " ".join(list(row.values())[:3]))
def test_a_figure_that_was_read_names_its_source_in_the_library_and_no_other_does(
    row: dict[str, str],
) -> None:
    values = crop_library(parse).crops[row["crop"]].values
    if not row["stage"]:
        assert values[row["quantity"],].mark == row["source"]
        return
    marks = {values["stages", row["stage"], "aims", row["quantity"], side].mark for side in ("low", "high")}
    sources = {mark.partition("read: ")[2] for mark in marks} - {""}
    assert {source for source in sources if source not in row["source"]} == set()
    assert bool(sources) == ("read: " in row["source"])


@pytest.mark.parametrize("stage", ["callusing", "rooting"])
@pytest.mark.parametrize("best_c", BEST_C)
def test_a_medium_in_which_poinsettia_rooted_best_raises_nothing(stage: str, best_c: int) -> None:
    band = stage_of(CROPS["poinsettia"], stage).bands["medium_temperature"]
    low, high = band.threshold("low"), band.threshold("high")
    assert low is not None
    assert high is not None
    assert low < best_c <= high


@pytest.mark.parametrize("stage", ["callusing", "rooting"])
def test_a_medium_in_which_poinsettia_did_not_root_is_beyond_its_limits(stage: str) -> None:
    band = stage_of(CROPS["poinsettia"], stage).bands["medium_temperature"]
    low, high = band.threshold("low"), band.threshold("high")
    assert low is not None
    assert high is not None
    assert low > TOO_COLD_C
    assert high < TOO_WARM_C
    assert (band.threshold("low_low"), band.threshold("high_high")) == (TOO_COLD_C, TOO_WARM_C)


def test_the_general_crop_is_what_is_common_practice() -> None:
    """75 to 80 °F, 18 h of light, re-watered at a third, roots in 10 to 14 days: common practice, no source."""
    general = general_crop(parse)
    callusing = stage_of(general, "callusing")
    assert callusing.aims["air_temperature"] == Aim(23.9, 26.7)
    assert callusing.aims["light_hours"] == Aim(16, 18)
    assert callusing.aims["water_ph"] == Aim(5.5, 6.0)
    assert callusing.mistings == Aim(2, 3)
    assert callusing.bands["medium_moisture"].threshold("low") == 67
    assert (general.roots_days, general.due_day) == ((10, 14), 14)
    assert general.feed_day in range(5, 8)
