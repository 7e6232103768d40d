"""A configuration that holds, changed text by text, for the tests of what it becomes."""

from pathlib import Path

from wardian.adapters.yaml_file import parse
from wardian.daemon.config import Config, build
from wardian.daemon.library import library
from wardian.rules.crops import Band

BASE = (Path(__file__).parents[1] / "daemon" / "data" / "base.yaml").read_text()
EXAMPLE = Path(__file__).parents[2] / "config.example.yaml"
SENSORS = BASE[BASE.index("sensors:") :]
KERNEL = """\
sensors:
  - name: chips
    kind: kernel
    every: {every}
    channels:
      - {{tray: tray-a, quantity: air_temperature, file: hwmon0/temp1_input}}
"""
NOTIFIERS = "notifiers:\n  - {name: terminal, kind: console}\n"


def built(text: str) -> Config:
    return build(parse(text.encode(), "c.yaml"), Path("/bench"), library(parse))


def changed(*changes: tuple[str, str]) -> Config:
    text = BASE
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    return built(text)


def warnings_of(*changes: tuple[str, str]) -> list[str]:
    return [warning.in_file("").removeprefix(":") for warning in changed(*changes).warnings]


def first_band(config: Config, quantity: str) -> Band:
    return config.trays[0].crop.stages[0].bands[quantity]
