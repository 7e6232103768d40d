"""The yardstick: the rules of a week written for pandas, exact to the millisecond and as fast as we could.

Hysteresis by two latches filled forward, runs by shifts, delays on runs, holes by the hold time, the
deficit by as-of merges, light hours by cumulated lit and known time. One stage, so that it stays short.
"""

from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pandas as pd
from week import BANDS, DAY_MS, HOLD_MS, LIT_ABOVE_LX, LIT_DEADBAND_LX, MEASURED, SILENT_AFTER_MS, limit_of

from wardian.rules.crops import Limit

_FAR_MS = 2**62
_COLUMNS = ["time", "tray", "quantity", "limit", "event", "value"]


def journal(series: Mapping[tuple[str, str], pd.Series]) -> pd.DataFrame:
    """Judge series whose index is the time in milliseconds; return the journal in its order."""
    end_ms = max(int(one.index[-1]) for one in series.values()) + 1
    parts = [
        part
        for tray in sorted({tray for tray, _ in series})
        for part in _tray(tray, {quantity: series[tray, quantity] for quantity in MEASURED}, end_ms)
    ]
    told = pd.concat([part for part in parts if len(part)], ignore_index=True)
    # "raised" sorts before "returned".
    return told.sort_values(["time", "tray", "quantity", "limit", "event"], ignore_index=True)[_COLUMNS]


def _tray(tray: str, measured: Mapping[str, pd.Series], end_ms: int) -> Iterator[pd.DataFrame]:
    known = {quantity: _known(quantity, series) for quantity, series in measured.items()}
    for quantity, frame in known.items():
        yield _silences(frame, end_ms).assign(tray=tray, quantity=quantity)
    known["vapour_pressure_deficit"] = _deficit(known["air_temperature"], known["relative_humidity"])
    known["light_hours"] = _light_hours(known["illuminance"])
    for quantity, written in BANDS.items():
        for name in written.limits:
            changes = _changes(known[quantity], limit_of(written, name), end_ms)
            yield changes.assign(tray=tray, quantity=quantity)


def _known(quantity: str, series: pd.Series) -> pd.DataFrame:
    """Return each reading with how long it stands at most."""
    if not (series.index.is_monotonic_increasing and series.index.is_unique):
        series = series.sort_index(kind="stable")
        series = series[~series.index.duplicated()]
    if quantity == "relative_humidity":
        series = series.clip(upper=100.0)
    time = series.index.to_numpy()
    value = series.to_numpy()
    return pd.DataFrame({"time": time, "until": time + HOLD_MS, "low": value, "high": value}, copy=False)


def _silences(frame: pd.DataFrame, end_ms: int) -> pd.DataFrame:
    due = frame["until"] + SILENT_AFTER_MS
    heard = frame["time"].shift(-1, fill_value=_FAR_MS)
    silent = heard >= due
    raised, returned = due[silent], heard[silent]
    time = pd.concat([raised[raised < end_ms], returned[returned < end_ms]])
    event = np.repeat(["raised", "returned"], [int((raised < end_ms).sum()), int((returned < end_ms).sum())])
    return pd.DataFrame({"time": time, "limit": "sensor-silent", "event": event, "value": np.nan})


def _latched(value: pd.Series, threshold: float, clear: float, *, high: bool) -> pd.Series:
    beyond = value > threshold if high else value < threshold
    within = value <= clear if high else value >= clear
    return beyond.astype(float).where(beyond | within).ffill() == 1.0


def _changes(frame: pd.DataFrame, limit: Limit, end_ms: int) -> pd.DataFrame:
    value = frame["high" if limit.is_high else "low"]
    verdict = _latched(value, limit.threshold, limit.clear, high=limit.is_high)
    stood_until = frame["until"].shift(fill_value=0)
    starts = (verdict != verdict.shift(fill_value=not verdict.iloc[0])) | (stood_until < frame["time"])
    runs = pd.DataFrame({"begin": frame.loc[starts, "time"], "beyond": verdict[starts]})
    last = frame["until"].iloc[-1]
    runs["end"] = np.minimum(
        stood_until[starts].shift(-1, fill_value=last), runs["begin"].shift(-1, fill_value=_FAR_MS)
    )
    runs["last"] = np.append(runs.index[1:], len(frame)) - 1
    runs["time"] = runs["begin"] + np.where(runs["beyond"], limit.on_delay_ms, limit.off_delay_ms)
    ripe = runs[(runs["time"] <= runs["end"]) & (runs["time"] < end_ms)]
    told = ripe[ripe["beyond"] != ripe["beyond"].shift(fill_value=False)]
    place = np.minimum(frame["time"].searchsorted(told["time"], side="right") - 1, told["last"])
    return pd.DataFrame(
        {
            "time": told["time"],
            "limit": limit.name,
            "event": np.where(told["beyond"], "raised", "returned"),
            "value": value.to_numpy()[place],
        }
    )


def _deficit(temperature: pd.DataFrame, humidity: pd.DataFrame) -> pd.DataFrame:
    """Return the deficit at each reading of either, while both are known (Magnus form of WMO-No. 8)."""
    air = temperature[["time", "until", "high"]]
    water = humidity[["time", "until", "high"]]
    if air["time"].equals(water["time"]):
        both = air.assign(until_water=water["until"], high_water=water["high"])
    else:
        instants = pd.DataFrame({"time": pd.Index(air["time"]).union(pd.Index(water["time"]))})
        both = pd.merge_asof(pd.merge_asof(instants, air), water, on="time", suffixes=("", "_water"))
    until = both[["until", "until_water"]].min(axis=1, skipna=False)
    both = both[until > both["time"]]
    saturated_kpa = 0.6112 * np.exp(17.62 * both["high"] / (243.12 + both["high"]))
    value = saturated_kpa * (1.0 - both["high_water"] / 100.0)
    frame = {"time": both["time"], "until": until[both.index].astype(np.int64), "low": value, "high": value}
    return pd.DataFrame(frame).reset_index(drop=True)


def _light_hours(light: pd.DataFrame) -> pd.DataFrame:
    time = light["time"]
    lit = _latched(light["high"], LIT_ABOVE_LX, LIT_ABOVE_LX - LIT_DEADBAND_LX, high=True)
    stood = np.minimum(time.shift(-1, fill_value=_FAR_MS), light["until"]) - time
    known_before = stood.cumsum().shift(fill_value=0)
    lit_before = (stood * lit).cumsum().shift(fill_value=0)
    since = time - DAY_MS
    place = np.maximum(time.searchsorted(since, side="right") - 1, 0)
    into = np.clip(since - time.to_numpy()[place], 0, stood.to_numpy()[place])
    seen = lit_before - (lit_before.to_numpy()[place] + into * lit.to_numpy()[place])
    unseen = DAY_MS - (known_before - (known_before.to_numpy()[place] + into))
    hours = {"low": (seen + unseen) / 3_600_000, "high": seen / 3_600_000}
    return pd.DataFrame({"time": time, "until": light["until"], **hours})


def as_tuples(told: pd.DataFrame) -> list[tuple[Any, ...]]:
    """Return the journal as plain rows; a value that is missing is None."""
    return [
        (time, tray, quantity, limit, event, None if np.isnan(value) else value)
        for time, tray, quantity, limit, event, value in told.itertuples(index=False, name=None)
    ]
