"""The plan of care of every crop of the library, day by day from sticking to potting."""

from datetime import UTC, date, time, timedelta
from typing import Final

import pytest

from wardian.adapters.yaml_file import parse
from wardian.daemon.crop_library import library_crops
from wardian.daemon.tongue import Tongue
from wardian.rules.care_advice import MIST, WATER
from wardian.rules.care_done import Tended
from wardian.rules.care_plan import Task, tasks_of
from wardian.rules.crops import Crop, stage_spans

STUCK: Final = date(2026, 3, 2)
ROUNDS: Final = (time(8), time(13), time(18, 30))
CROPS: Final = library_crops(parse)
EACH: Final = pytest.mark.parametrize("crop", CROPS.values(), ids=list(CROPS))


def course(crop: Crop) -> dict[int, list[Task]]:
    """Return the tasks of each day after sticking."""
    tray = Tended(crop, STUCK, UTC, stage_spans(crop, STUCK, UTC))
    assert crop.pot_day is not None
    return {day: tasks_of(tray, STUCK + timedelta(days=day), ROUNDS) for day in range(crop.pot_day + 1)}


def first_day(days: dict[int, list[Task]], name: str) -> int:
    return min(day for day, tasks in days.items() if name in {one.name for one in tasks})


@EACH
def test_roots_are_looked_for_from_the_day_they_usually_show_and_the_tray_is_potted_on_its_day(
    crop: Crop,
) -> None:
    days = course(crop)
    assert crop.roots_days is not None
    assert (first_day(days, "roots"), first_day(days, "pot")) == (crop.roots_days[0], crop.pot_day)
    assert first_day(days, "callus") < first_day(days, "roots")


@EACH
def test_it_is_misted_as_its_stage_wants_and_not_at_all_in_toning(crop: Crop) -> None:
    days, toning = course(crop), crop.stages[-1]
    for day, tasks in days.items():
        stage = next(one for one in reversed(crop.stages) if one.from_day <= day)
        mistings = sum(one.name == MIST for one in tasks)
        assert stage.mistings is not None
        assert day == 0 or (stage.mistings.low or 0) <= mistings <= (stage.mistings.high or 0)
        assert any(one.name == "tone" for one in tasks) == (0 <= day - toning.from_day < 7)


@EACH
def test_its_water_is_plain_until_it_is_fed_and_everything_that_is_said_can_be_read(crop: Crop) -> None:
    days, tongue = course(crop), Tongue(UTC)
    fed = first_day(days, "feed")
    assert crop.feed_day is not None
    assert fed >= crop.feed_day
    for day, tasks in days.items():
        said = {one.name: tongue.evidence(one.advice.words) for one in tasks}
        assert all(said.values())
        assert day == 0 or ("plain water" in said[WATER]) == (day < fed)
