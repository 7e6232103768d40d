"""What a pretended grower sets keeps a settled tray where the bands of its stage want it."""

from collections.abc import Mapping, Sequence
from functools import cache
from typing import NamedTuple

import numpy as np
import pytest
from pretended_weeks import example

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.simulator.bench import Bench
from wardian.simulator.growing import bench_setup, wanted
from wardian.simulator.setup import SOME_TIME_MS, BenchSetup, Regime
from wardian.simulator.wall import MS_PER_DAY, MS_PER_HOUR, MS_PER_MINUTE

#: Midnight of 1 March 2026 in UTC.
START_MS = 1_772_323_200_000
#: By then what a bench began with has dried or settled.
SETTLED_DAYS = 2
STAGES = [
    (crop.name, stage)
    for crop in {tray.crop.name: tray.crop for tray in example().trays}.values()
    for stage in crop.stages
]
NAMES = [f"{crop} {stage.name}" for crop, stage in STAGES]


class Mean(NamedTuple):
    """What a tray comes to on the last of its days: medians, which no airing moves."""

    air_c: float
    medium_c: float
    humidity_pct: float
    lit_h: float


def settled(setup: BenchSetup) -> list[Mean]:
    trace = Bench(setup, START_MS).advance(START_MS + SETTLED_DAYS * MS_PER_DAY)
    last = trace.times_ms >= START_MS + (SETTLED_DAYS - 1) * MS_PER_DAY
    return [
        Mean(
            air_c=float(np.median(trace.air_c[last, place])),
            medium_c=float(np.median(trace.medium_c[last, place])),
            humidity_pct=float(np.median(trace.humidity_pct[last, place])),
            lit_h=float((trace.light_lx[last, place] > 1000).sum() / 60),
        )
        for place in range(len(setup.trays))
    ]


def alone(stage: Stage) -> tuple[StageSpan, ...]:
    return (StageSpan(0, stage),)


@cache
def of_examples() -> dict[str, tuple[Stage, Mean]]:
    """Return what every stage of the example configuration comes to, beside the same stage of other crops."""
    found = {}
    for name in dict.fromkeys(stage.name for _, stage in STAGES):
        crops = [(crop, stage) for crop, stage in STAGES if stage.name == name]
        means = settled(bench_setup([(crop, alone(stage)) for crop, stage in crops], START_MS))
        found.update(
            {f"{crop} {name}": (stage, mean) for (crop, stage), mean in zip(crops, means, strict=True)}
        )
    return found


def limits(stage: Stage, quantity: str) -> tuple[float, float]:
    band = stage.bands.get(quantity)
    low = band.threshold("low") if band else None
    high = band.threshold("high") if band else None
    return (-np.inf if low is None else low, np.inf if high is None else high)


@pytest.mark.parametrize("name", NAMES)
def test_a_settled_tray_is_in_the_middle_of_the_bands_of_its_stage(name: str) -> None:
    stage, mean = of_examples()[name]
    low, high = limits(stage, "air_temperature")
    coldest, warmest = limits(stage, "medium_temperature")
    assert low + 0.3 < mean.air_c < high - 0.3
    assert coldest + 0.3 < mean.medium_c < warmest - 0.3
    is_bound = mean.medium_c > warmest - 1.3 or mean.medium_c < coldest + 1.3
    assert is_bound or abs(mean.air_c - (low + high) / 2) < 0.7
    dry, moist = limits(stage, "relative_humidity")
    assert dry < mean.humidity_pct < moist


@pytest.mark.parametrize("name", [name for name in NAMES if name.endswith("toning")])
def test_air_that_must_not_be_too_moist_is_vented_to_the_middle_of_its_band(name: str) -> None:
    stage, mean = of_examples()[name]
    assert mean.humidity_pct == pytest.approx(sum(limits(stage, "relative_humidity")) / 2, abs=5)


def test_the_example_s_trays_are_set_stage_by_stage_the_evening_before() -> None:
    trays = example().trays
    setup = bench_setup([(tray.name, tray.plan.spans) for tray in trays], START_MS)
    assert [tray.name for tray in setup.trays] == [tray.name for tray in trays]
    for tray, made in zip(trays, setup.trays, strict=True):
        begins_ms = [regime.from_ms for regime in made.regimes]
        assert begins_ms[0] == SOME_TIME_MS
        leads_ms = [
            span.from_ms - begin for span, begin in zip(tray.plan.spans[1:], begins_ms[1:], strict=True)
        ]
        assert all(0 < lead < MS_PER_HOUR for lead in leads_ms)
        assert [regime.is_misted for regime in made.regimes] == [True, True, False]


def test_a_bench_of_many_crops_keeps_all_of_their_bands_of_the_day() -> None:
    trays = example().trays
    setup = bench_setup([(tray.name, tray.plan.spans) for tray in trays], START_MS)
    end_ms = START_MS + SETTLED_DAYS * MS_PER_DAY
    for tray, mean in zip(trays, settled(setup), strict=True):
        stage = [span.stage for span in tray.plan.spans if span.from_ms < end_ms - MS_PER_DAY][-1]
        for quantity, value in (
            ("air_temperature", mean.air_c),
            ("medium_temperature", mean.medium_c),
            ("relative_humidity", mean.humidity_pct),
            ("light_hours", mean.lit_h),
        ):
            low, high = limits(stage, quantity)
            assert low < value < high, (tray.name, quantity)


# ---------------------------------------------------------------------------------------- any bands


def stage_of(**bands: Mapping[str, float]) -> Stage:
    return Stage(
        "some",
        0,
        {
            quantity: Band(quantity, tuple(Limit(name, value, value, 0, 0) for name, value in given.items()))
            for quantity, given in bands.items()
        },
    )


def grown(*stages: Stage) -> list[Mean]:
    return settled(
        bench_setup([(f"tray-{place}", alone(stage)) for place, stage in enumerate(stages)], START_MS)
    )


KEPT = {
    "no bands": stage_of(),
    "ceiling": stage_of(air_temperature={"low": 20, "high": 24}, relative_humidity={"high": 80}),
    "floor": stage_of(air_temperature={"low": 23, "high": 26}, relative_humidity={"low": 85}),
    "medium": stage_of(air_temperature={"low": 24, "high": 28}, medium_temperature={"low": 20, "high": 24}),
}


@cache
def kept() -> dict[str, Mean]:
    """Return what trays with few or strange bands come to, side by side."""
    trays = [*((name, alone(stage)) for name, stage in KEPT.items()), ("no stages", ())]
    return dict(zip([*KEPT, "no stages"], settled(bench_setup(trays, START_MS)), strict=True))


@pytest.mark.parametrize("name", ["no bands", "no stages"])
def test_without_stages_or_bands_common_practice_holds(name: str) -> None:
    mean = kept()[name]
    assert 23.9 < mean.air_c < 26.7  # 75 to 80 °F: common practice, no source
    assert mean.lit_h == 18
    assert mean.humidity_pct > 90
    assert len(bench_setup([("tray-a", ())], START_MS).trays[0].regimes) == 1


def test_with_one_limit_only_the_air_keeps_a_little_away_from_it() -> None:
    edges = (22.0, 24.0, 26.0)
    above = grown(*(stage_of(air_temperature={"low": edge}) for edge in edges))
    below = grown(*(stage_of(air_temperature={"high": edge}) for edge in edges))
    for edge, warm, cool in zip(edges, above, below, strict=True):
        assert edge + 0.5 < warm.air_c < edge + 2.5
        assert edge - 2.5 < cool.air_c < edge - 0.5


def test_a_ceiling_of_humidity_alone_is_kept_below() -> None:
    mean = kept()["ceiling"]
    assert 60 < mean.humidity_pct < 78
    assert 20.5 < mean.air_c < 23.5


def test_moist_air_with_a_ceiling_is_kept_within_its_band_by_light_and_in_the_dark() -> None:
    stage = stage_of(air_temperature={"low": 21, "high": 25}, relative_humidity={"low": 75, "high": 92})
    bench = Bench(bench_setup([("tray-a", alone(stage))], START_MS), START_MS)
    trace = bench.advance(START_MS + SETTLED_DAYS * MS_PER_DAY)
    last = trace.times_ms >= START_MS + MS_PER_DAY
    is_lit = trace.light_lx[:, 0] > 1000
    for now in (last & is_lit, last & ~is_lit):
        assert 77 < np.median(trace.humidity_pct[now, 0]) < 90


def test_humidity_with_a_floor_alone_keeps_the_cover_closed() -> None:
    (tray,) = bench_setup([("tray-a", alone(KEPT["floor"]))], START_MS).trays
    (regime,) = tray.regimes
    assert regime[2:4] == Regime(0, 0.0)[2:4]
    assert regime.is_misted
    assert kept()["floor"].humidity_pct > 85


def test_the_medium_s_limits_bind_before_the_air_s_middle() -> None:
    mean = kept()["medium"]
    assert 22.5 < mean.medium_c < 24
    assert mean.air_c < 24.5


@pytest.mark.parametrize(
    ("band", "lit_h"),
    [
        ({"low": 16, "high": 19}, 18.0),
        ({"low": 13, "high": 15}, 14.0),
        ({"low": 10}, 18.0),
        ({"low": 19, "high": 24}, 21.5),
        ({"high": 12}, 6.0),
        ({"low": 20}, 22.0),
    ],
)
def test_the_lamp_burns_as_long_as_the_band_wants(band: Mapping[str, float], lit_h: float) -> None:
    assert wanted(stage_of(light_hours=band)).lit_h == lit_h


ODD: Sequence[Mapping[str, Mapping[str, float]]] = [
    {"air_temperature": {"low": 24, "high": 24}},
    {"air_temperature": {"low": -20, "high": -10}},
    {"air_temperature": {"low": 45, "high": 60}},
    {"medium_temperature": {"low": 22, "high": 22.5}},
    {"medium_temperature": {"low": 30}, "air_temperature": {"high": 20}},
    {"relative_humidity": {"low": 0, "high": 5}},
    {"relative_humidity": {"low": 99.5, "high": 100}},
    {"relative_humidity": {"high": 0}},
    {"relative_humidity": {"high": 8}},
    {"relative_humidity": {"low": 20, "high": 30}, "air_temperature": {"low": 30, "high": 40}},
    {"vapour_pressure_deficit": {"low": 1.5, "high": 2}},
    {"air_temperature": {"low_low": 10, "high_high": 35}},
    {"light_hours": {"low": 0, "high": 0}},
    {"light_hours": {"low": 24}},
]


def test_bands_that_nobody_can_keep_still_give_trays_that_live() -> None:
    setup = bench_setup([(str(bands), alone(stage_of(**bands))) for bands in ODD], START_MS)
    for tray in setup.trays:
        (regime,) = tray.regimes
        assert np.isfinite(regime[1:5]).all(), tray.name
        assert 0 <= regime.lit_h <= 24, tray.name
    trace = Bench(setup, START_MS).advance(START_MS + MS_PER_DAY)
    for column in trace[1:5]:
        assert np.isfinite(column).all()
    assert 0 < trace.humidity_pct.min() <= trace.humidity_pct.max() <= 100


@pytest.mark.parametrize("bands", ODD[:3], ids=str)
def test_a_room_is_never_colder_or_hotter_than_rooms_are(bands: Mapping[str, Mapping[str, float]]) -> None:
    assert 11 < bench_setup([("tray-a", alone(stage_of(**bands)))], START_MS).room_c < 25


def test_a_tray_is_the_same_whoever_stands_beside_it() -> None:
    stages = [stage for _, stage in STAGES]
    together = bench_setup(
        [(name, alone(stage)) for name, stage in zip(NAMES, stages, strict=True)], START_MS
    )
    again = bench_setup([(name, alone(stage)) for name, stage in zip(NAMES, stages, strict=True)], START_MS)
    assert together == again
    same = bench_setup([("tray-a", alone(stages[0])), ("tray-b", alone(stages[0]))], START_MS)
    assert same.trays[0].regimes == same.trays[1].regimes


def test_stages_that_begin_later_begin_when_they_do() -> None:
    first, later = (stage_of(air_temperature={"low": low, "high": low + 3}) for low in (24, 18))
    spans = (StageSpan(START_MS, first), StageSpan(START_MS + MS_PER_DAY, later))
    setup = bench_setup([("tray-a", spans)], START_MS)
    trace = Bench(setup, START_MS).advance(START_MS + 2 * MS_PER_DAY)
    changed = int(trace.times_ms.searchsorted(spans[1].from_ms - 30 * MS_PER_MINUTE))
    assert np.median(trace.air_c[changed - 600 : changed, 0]) == pytest.approx(25.5, abs=0.8)
    assert np.median(trace.air_c[-600:, 0]) == pytest.approx(19.5, abs=1.2)
