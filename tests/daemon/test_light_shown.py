"""What people and programs are shown of a tray's light: today, yesterday, and the lamp."""

from typing import Any, Final

import pytest
from base_config import built

from wardian.adapters.stores.memory import MemoryStore
from wardian.daemon import wiring
from wardian.daemon.config import Config
from wardian.daemon.lives import Lives
from wardian.daemon.look import bench_now
from wardian.daemon.report import status_lines
from wardian.daemon.summary import summed_up
from wardian.daemon.summary_words import summary_json, summary_lines
from wardian.rules.ports import Round
from wardian.rules.readings import Reading
from wardian.rules.transitions import RAISED, Transition

MINUTE_MS: Final = 60_000
HOUR_MS: Final = 60 * MINUTE_MS
#: 2026-03-05T00:00Z, midnight in Lisbon, too; lamps burn from 5:00 to 23:00.
MIDNIGHT_MS: Final = 1_772_668_800_000
LAMP: Final = "light: {lit_above: 1000 lx, lit_deadband: 100 lx, lamp: white LED 4000 K}\n"
TEXT: Final = (
    """\
site: {name: Teaching bench, timezone: Europe/Lisbon, units: SI}
store: {url: "memory:"}
trays:
  - {name: tray-a, crop: coleus, stuck: 2026-03-01}
  - {name: tray-b, crop: coleus, stuck: 2026-03-01}
crops:
  coleus:
    stages:
      - {name: callusing, from_day: 0, bands: {daily_light_integral: {low: 3}}}
"""
    + LAMP
)


def light(quantity: str = "illuminance", value: float = 7000.0, until_h: int = 10) -> list[Reading]:
    """Return three days and some hours of light, read every minute at the first tray."""
    return [
        Reading(at_ms, "tray-a", quantity, value * (5 <= at_ms % (24 * HOUR_MS) // HOUR_MS < 23))
        for at_ms in range(MIDNIGHT_MS - 72 * HOUR_MS, MIDNIGHT_MS + until_h * HOUR_MS, MINUTE_MS)
    ]


def kept(readings: list[Reading], late: list[Reading] | None = None) -> MemoryStore:
    store = MemoryStore()
    store.keep(Round(MIDNIGHT_MS, readings=readings, late=late or []))
    return store


def shown(store: MemoryStore, config: Config, at_h: float = 10) -> tuple[list[str], Any]:
    bench = bench_now(config, store, MIDNIGHT_MS + round(at_h * HOUR_MS), {})
    return list(status_lines(config, bench)), bench.as_json()["trays"][0]["light"]


def test_a_lamp_of_known_kind_is_told_with_its_days_its_photons_and_its_level() -> None:
    lines, told = shown(kept(light()), built(TEXT))
    assert (
        "  light of today so far: 5.0 h lit, 5.0 h dark, 1.8 mol m⁻² (an estimate by 70 lx per µmol)" in lines
    )
    assert (
        "  light of yesterday: 18.0 h lit, 6.0 h dark, 6.5 mol m⁻² (an estimate by 70 lx per µmol)" in lines
    )
    assert "  lamp: usually 7000 lx, now at 100 % of it" in lines
    (integral,) = [line for line in lines if "daily light integral" in line and "tray" not in line][:1]
    assert "6.5 mol m⁻² d⁻¹ (an estimate by 70 lx per µmol)" in integral
    assert (told["yesterday"]["date"], told["yesterday"]["lit_h"], told["yesterday"]["unknown_h"]) == (
        "2026-03-04",
        18.0,
        0.0,
    )
    assert told["yesterday"]["photons_mol_m2"] == pytest.approx(100 * 18 * 0.0036)
    assert told["today"]["photons_mol_m2"] == pytest.approx(100 * 5 * 0.0036)
    assert (told["lamp_level"], told["lamp_unit"], told["lamp_share_pct"]) == (7000.0, "lx", 100.0)
    assert told["lux_per_umol"] == 70.0


def test_measured_photons_are_no_estimate() -> None:
    config = built(TEXT.replace(LAMP, "light: {lit_above: 50 umol/m2/s}\n"))
    lines, told = shown(kept(light("ppfd", 100.0)), config)
    assert "  light of yesterday: 18.0 h lit, 6.0 h dark, 6.5 mol m⁻²" in lines
    assert not [line for line in lines if "estimate" in line]
    assert told["lux_per_umol"] is None


def test_lux_without_a_lamp_has_hours_and_no_photons() -> None:
    lines, told = shown(kept(light()), built(TEXT.replace(", lamp: white LED 4000 K", "")))
    assert "  light of yesterday: 18.0 h lit, 6.0 h dark" in lines
    assert told["yesterday"]["photons_mol_m2"] is None


def test_a_lamp_at_half_its_level_is_told_as_a_share_and_one_not_read_as_unknown() -> None:
    half = [
        *light(until_h=9),
        *(one._replace(value=one.value / 2) for one in light() if one.time_ms >= MIDNIGHT_MS + 9 * HOUR_MS),
    ]
    lines, _ = shown(kept(half), built(TEXT))
    assert "  lamp: usually 7000 lx, now at 50 % of it" in lines
    lines, told = shown(kept(light(until_h=8)), built(TEXT))
    assert "  lamp: usually 7000 lx, unknown now" in lines
    assert "  light of today so far: 3.1 h lit, 5.0 h dark, 1.9 h unknown, " in "\n".join(lines)
    assert told["lamp_share_pct"] is None


def test_a_tray_without_light_is_told_nothing_of_it() -> None:
    bench = bench_now(built(TEXT), kept(light()), MIDNIGHT_MS, {})
    assert bench.trays[1].light is None
    assert bench.as_json()["trays"][1]["light"] is None


def test_in_the_first_instant_of_a_day_there_is_no_today() -> None:
    lines, told = shown(kept(light(until_h=0)), built(TEXT), at_h=0)
    assert told["today"] is None
    assert not [line for line in lines if "today" in line]


def test_late_readings_count_in_the_days() -> None:
    hour = [one for one in light() if MIDNIGHT_MS - 12 * HOUR_MS <= one.time_ms < MIDNIGHT_MS - 11 * HOUR_MS]
    _, told = shown(kept([one for one in light() if one not in hour], late=hour), built(TEXT))
    assert (told["yesterday"]["lit_h"], told["yesterday"]["unknown_h"]) == (18.0, 0.0)


@pytest.mark.parametrize(("lamp", "words"), [(LAMP, " (an estimate by 70 lx per µmol)"), ("", "")])
def test_an_alarm_about_photons_made_of_lux_says_so(lamp: str, words: str) -> None:
    teller = wiring.teller(built(TEXT.replace(LAMP, lamp)))
    told = Transition(
        MIDNIGHT_MS,
        "tray-a",
        "daily_light_integral",
        "low",
        RAISED,
        "low",
        1.8,
        3.0,
        "callusing",
        MIDNIGHT_MS,
    )
    assert f"is at 1.8 mol m⁻² d⁻¹{words}, 1.2 mol m⁻² d⁻¹ below 3.0" in teller.fields(told)["message"]


def test_the_summary_has_yesterday_on_the_calendar() -> None:
    config, store = built(TEXT), kept(light())
    to_ms = MIDNIGHT_MS + 7 * HOUR_MS
    summary = summed_up(config, store, Lives(store.last_of_alarms()), (to_ms - 24 * HOUR_MS, to_ms), None)
    (line,) = [one for one in summary_lines(summary, config.site) if one.startswith("tray-a:")]
    assert "Yesterday 18.0 h lit, 6.0 h dark, 6.5 mol m⁻² (an estimate by 70 lx per µmol)." in line
    first, second = summary_json(summary)["trays"]
    assert first["yesterday_light"]["date"] == "2026-03-04"
    assert first["yesterday_light"]["photons_mol_m2"] == pytest.approx(6.48)
    assert (second["yesterday_light"], second["lux_per_umol"]) == (None, 70.0)
