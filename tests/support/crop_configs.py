"""Configurations whose trays have crops of the library, for the tests of what becomes of them."""

from base_config import built

from wardian.daemon.config import Config
from wardian.rules.crops import Band, Crop, Stage
from wardian.rules.errors import BadConfig

BENCH = """\
site: {name: Bench, timezone: Europe/Lisbon}
store: {url: "memory:"}
trays:
  - {name: tray-a, crop: CROP, stuck: 2026-03-02}
"""


def with_crops(crops: str, tray: str = "coleus") -> Config:
    """Return a bench with one tray, and what stands below ``crops``, the first line of which is line 6."""
    return built(BENCH.replace("CROP", tray) + (f"crops:\n{crops}" if crops else ""))


def mistakes(crops: str, tray: str = "coleus") -> list[str]:
    """Return what is told of a bench that is wrong, each with its line."""
    try:
        with_crops(crops, tray)
    except BadConfig as error:
        return [mistake.in_file("").removeprefix(":") for mistake in error.mistakes]
    return []


def crop_of(config: Config) -> Crop:
    """Return the crop of the first tray."""
    return config.trays[0].crop


def stage_of(config: Config, name: str) -> Stage:
    """Return a stage of the first tray's crop."""
    return next(stage for stage in crop_of(config).stages if stage.name == name)


def limits_of(band: Band) -> dict[str, float]:
    """Return the thresholds of a band by limit."""
    return {limit.name: limit.threshold for limit in band.limits}


def callusing(text: str) -> str:
    """Return the crops of a bench whose coleus is otherwise while callusing."""
    return f"  coleus: {{stages: {{callusing: {text}}}}}\n"
