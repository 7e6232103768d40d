"""How well a replay told the truth: a table for people, an object for programs."""

from collections.abc import Iterator
from typing import Any, Final

from wardian.daemon.config import Config
from wardian.daemon.report import columns, journal_lines
from wardian.daemon.tongue import span_words, utc_text
from wardian.daemon.words import Teller
from wardian.rules.quantities import QUANTITIES
from wardian.rules.scores import RESULTS, STANDING, WITHIN, Finding, Lateness, Score
from wardian.rules.truth import TrueFault

_HEADINGS: Final = ("tray", "fault", "from", "result", "alarm", "late", "after the limit", "it waits")


def score_lines(config: Config, teller: Teller, score: Score) -> Iterator[str]:
    """Yield each fault and what became of it, the totals, and the alarms that nobody needed."""
    yield ""
    if score.findings:
        yield from columns([_HEADINGS, *(_row(teller, one) for one in score.findings)])
    yield from _totals(score)
    if score.unneeded:
        yield from journal_lines(config, [teller.fields(one) for one in score.unneeded])
    for fault in score.not_judged:
        watched = fault.tray in score.tray_weeks
        why = "there are no readings of its time" if watched else "the tray is not in the configuration"
        yield f"tray {fault.tray!r}: {_fault_words(fault)} is not judged: {why}"


def _row(teller: Teller, finding: Finding) -> tuple[str, ...]:
    fault, alarm = finding.fault, finding.alarm
    if alarm:
        name = f"{teller.fields(alarm)['alarm']} ({QUANTITIES[alarm.quantity].words})"
    else:
        name = f"none; beyond for {span_words(finding.beyond_ms)}" if finding.beyond_ms else "none"
    return (
        fault.tray,
        _fault_words(fault),
        teller.tongue.moment(fault.from_ms),
        finding.result,
        name,
        _span(finding.late_ms),
        _span(finding.late_after_limit_ms),
        _span(finding.on_delay_ms),
    )


def _fault_words(fault: TrueFault) -> str:
    return f"{fault.fault} ({QUANTITIES[fault.quantity].words})" if fault.quantity else fault.fault


def _span(span_ms: int | None) -> str:
    return "" if span_ms is None else span_words(span_ms)


def _totals(score: Score) -> Iterator[str]:
    yield (
        f"found {score.found} of {score.found + score.missed} faults that took a tray out of its band or spoiled a "
        f"sensor; {score.count(WITHIN)} stayed within, {score.count(STANDING)} came while their alarm stood already"
    )
    for lateness, since in (
        (score.after_beginning, "the fault began"),
        (score.after_limit, "the limit was crossed"),
    ):
        if lateness:
            median, worst = span_words(round(lateness.median_ms)), span_words(lateness.worst_ms)
            yield f"raised {median} after {since} in the median, {worst} at worst"
    yield (
        f"alarms that belong to no fault: {len(score.unneeded)}, "
        f"{score.unneeded_per_tray_week:.2f} of a tray in a week ({sum(score.tray_weeks.values()):.2f} tray-weeks)"
    )


# ------------------------------------------------------------------------------------ for programs


def score_json(teller: Teller, score: Score) -> dict[str, Any]:
    """Return a score as a JSON object: times in RFC 3339, lateness in seconds."""
    return {
        "faults": [_finding_json(teller, one) for one in score.findings],
        "not_judged": [_fault_json(one) for one in score.not_judged],
        "unneeded": [teller.fields(one) for one in score.unneeded],
        **totals_json(score),
        "by_tray": {
            tray: {result: score.count(result, tray) for result in RESULTS}
            | {"unneeded": score.unneeded_of(tray), "tray_weeks": round(weeks, 6)}
            for tray, weeks in score.tray_weeks.items()
        },
    }


def totals_json(score: Score) -> dict[str, Any]:
    """Return the totals of a score as the members of a JSON object."""
    return {
        **{result: score.count(result) for result in RESULTS},
        **_lateness_json("late", score.after_beginning),
        **_lateness_json("late_after_limit", score.after_limit),
        "tray_weeks": round(sum(score.tray_weeks.values()), 6),
        "unneeded_per_tray_week": round(score.unneeded_per_tray_week, 6),
    }


def _lateness_json(name: str, lateness: Lateness | None) -> dict[str, float | None]:
    return {
        f"median_{name}_s": lateness.median_ms / 1000 if lateness else None,
        f"worst_{name}_s": lateness.worst_ms / 1000 if lateness else None,
    }


def _finding_json(teller: Teller, finding: Finding) -> dict[str, Any]:
    alarm = finding.alarm
    return {
        **_fault_json(finding.fault),
        "result": finding.result,
        "alarm": teller.fields(alarm)["alarm"] if alarm else None,
        "alarm_quantity": alarm.quantity if alarm else None,
        "limit": alarm.limit if alarm else None,
        "raised": utc_text(alarm.time_ms) if alarm else None,
        "late_s": _seconds(finding.late_ms),
        "late_after_limit_s": _seconds(finding.late_after_limit_ms),
        "on_delay_s": _seconds(finding.on_delay_ms),
        "beyond_s": _seconds(finding.beyond_ms),
        "out_of_band": finding.out_of_band,
    }


def _fault_json(fault: TrueFault) -> dict[str, Any]:
    return {
        "tray": fault.tray,
        "fault": fault.fault,
        "quantity": fault.quantity,
        "from": utc_text(fault.from_ms),
        "to": utc_text(fault.to_ms),
    }


def _seconds(span_ms: int | None) -> float | None:
    return None if span_ms is None else span_ms / 1000
