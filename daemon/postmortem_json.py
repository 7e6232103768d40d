"""The page about a batch for programs: the same facts and findings as plain JSON values.

The rule of this file: hours are hours, instants RFC 3339 in UTC, values in each quantity's own unit.
"""

from collections.abc import Mapping
from typing import Any

from wardian.daemon.finding_words import FindingWords
from wardian.daemon.postmortem import Explained
from wardian.daemon.report_batches import batch_json
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.light_days import LightDay
from wardian.rules.postmortem.bands import StageTime
from wardian.rules.postmortem.facts import AlarmTime, Facts
from wardian.rules.postmortem.findings import Finding


def explained_json(one: Explained, words: Mapping[str, FindingWords], tongue: Tongue) -> dict[str, Any]:
    """Return everything that the page says."""
    batch = one.subject.batch
    beside = one.beside
    return {
        "name": one.subject.name,
        "tray": one.subject.tray,
        "crop": one.subject.case.crop.name,
        "from": utc_text(one.subject.span[0]),
        "to": utc_text(one.subject.span[1]),
        "is_past_due": one.is_past_due,
        "batch": batch_json(batch) if batch else None,
        "facts": _facts(one.facts),
        "usual_degree_h": one.usual._asdict() if one.usual else None,
        "best": {"batch": batch_json(beside.batch), "facts": _facts(beside.facts)} if beside else None,
        "unsafe": sorted(one.unsafe),
        "notes": [
            {"time": utc_text(note.time_ms), "who": note.who, "kind": note.kind, "text": note.why}
            for note in one.notes
        ],
        "findings": [_finding(finding, words[finding.name], tongue) for finding in one.findings],
    }


def _finding(finding: Finding, words: FindingWords, tongue: Tongue) -> dict[str, Any]:
    return {
        "name": finding.name,
        "likelihood": "likely" if finding.is_likely else "possible",
        "weight": round(finding.weight, 3),
        "is_unsafe": finding.is_unsafe,
        "evidence": [tongue.evidence(seen) for seen in finding.evidence],
        "fits": [tongue.evidence(fit) for fit in finding.fits],
        "words": words.words,
        "reading": words.reading,
        "consequence": words.consequence,
        "next_time": words.next_time,
        "mark": words.mark,
    }


def _facts(facts: Facts) -> dict[str, Any]:
    longest = facts.wetness.longest
    return {
        "readings": facts.readings,
        "last": utc_text(facts.last_ms),
        "day": facts.day,
        "stages": [_stage(time) for time in facts.stages],
        "first_72_h": facts.first._asdict(),
        "warmth": facts.warmth._asdict() if facts.warmth else None,
        "light_days": [_light(day) for day in facts.light],
        "wetness": {**facts.wetness._asdict(), "longest": [*map(utc_text, longest)] if longest else None},
        "care_days": [day._asdict() for day in facts.care],
        "water_days": [day._asdict() for day in facts.water],
        "is_water_estimated": facts.is_water_estimated,
        "alarms": [_alarm(alarm) for alarm in facts.alarms],
        "blind": [one._asdict() for one in facts.blind],
    }


def _stage(time: StageTime) -> dict[str, Any]:
    longest = time.longest
    return {
        "stage": time.stage,
        "from": utc_text(time.span[0]),
        "to": utc_text(time.span[1]),
        "quantity": time.quantity,
        "low": time.wanted.low,
        "high": time.wanted.high,
        "within_h": time.within_h,
        "above_h": time.above_h,
        "below_h": time.below_h,
        "unknown_h": time.unknown_h,
        "longest": {
            "side": longest.side,
            "from": utc_text(longest.span[0]),
            "to": utc_text(longest.span[1]),
            "worst": longest.worst,
        }
        if longest
        else None,
    }


def _light(day: LightDay) -> dict[str, Any]:
    return {
        "day": day.day.isoformat(),
        "lit_h": day.lit_h,
        "dark_h": day.dark_h,
        "unknown_h": day.unknown_h,
        "mol_m2": day.photons.measured if day.photons else None,
        "may_add_mol_m2": day.photons.may_add if day.photons else None,
    }


def _alarm(alarm: AlarmTime) -> dict[str, Any]:
    return {
        "alarm": alarm.alarm,
        "quantity": alarm.quantity,
        "priority": alarm.priority,
        "raised": utc_text(alarm.raised_ms),
        "acknowledged": utc_text(alarm.acknowledged_ms) if alarm.acknowledged_ms is not None else None,
        "returned": utc_text(alarm.returned_ms) if alarm.returned_ms is not None else None,
        "is_held_back": alarm.is_held_back,
    }
