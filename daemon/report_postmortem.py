"""The page about a batch: its facts beside those of the best batch of its crop, then what may be behind it.

The rule of this file: what was seen comes before what may be behind it, and what no sensor sees is said at the end.
"""

from collections.abc import Iterator
from typing import Final

from wardian.daemon.fact_words import facts_in_words, hours_words, longest_words, wanted_words
from wardian.daemon.finding_lines import Words, finding_lines
from wardian.daemon.postmortem import Beside, Explained, Usual
from wardian.daemon.report import columns
from wardian.daemon.report_batches import share_words
from wardian.daemon.tongue import Tongue
from wardian.rules.batches import Outcome, outcome
from wardian.rules.postmortem.bands import StageTime
from wardian.rules.quantities import QUANTITIES

#: A silence at the end of a time that is told before anything else.
_SILENT_MS: Final = 6 * 3_600_000
CANNOT_KNOW: Final = (
    "None of this is proof: it is what was out of line, held against what is said to harm cuttings. No sensor sees the "
    "stock plant, the hormone, the knife, disease or pests, one corner that fared otherwise, or what happened before "
    "sticking. Two batches are two batches: try one change at a time, side by side."
)


def explained_lines(one: Explained, words: Words, tongue: Tongue) -> Iterator[str]:
    """Yield the whole page."""
    yield from _heading(one, tongue)
    yield ""
    if not one.facts.readings:
        yield "NO READINGS of this time: nothing can be said of it."
    elif one.facts.span[1] - one.facts.last_ms >= _SILENT_MS:
        yield f"NOTHING WAS READ since {tongue.moment(one.facts.last_ms)}; what is told by day ends there."
    yield from _stages(one, tongue)
    yield ""
    yield from _facts(one, tongue)
    yield from _notes(one, tongue)
    yield ""
    yield from finding_lines(one, words, tongue)
    yield ""
    yield CANNOT_KNOW


def _heading(one: Explained, tongue: Tongue) -> Iterator[str]:
    from_ms, to_ms = one.subject.span
    what = f"batch {one.subject.name} in {one.subject.tray}" if one.subject.batch else f"{one.subject.tray}"
    crop = one.subject.case.crop.name
    yield f"{what}: {crop}, {tongue.moment(from_ms)} to {tongue.moment(to_ms)}, day {one.facts.day}."
    if one.subject.batch:
        yield outcome_words(outcome(one.subject.batch))
    elif one.is_past_due:
        yield "Roots were due by now. Nobody put a batch on record here: what became of it is not known."
    if one.beside:
        yield f"Beside it: batch {one.beside.batch.name}, the surest success of this crop. {outcome_words(outcome(one.beside.batch))}"


def outcome_words(became: Outcome) -> str:
    """Return what became of a batch in a line."""
    lost = ", ".join(f"{reason} {count}" for reason, count in became.losses.items())
    told = [f"{became.stuck} stuck", f"lost: {lost}" if lost else "none lost"]
    if became.success is not None:
        told.append(f"rooted and fit {share_words(became.success)}")
    elif became.sample is not None:
        told.append(f"with roots {share_words(became.sample)} looked at last")
    return f"{'; '.join(told)}."


def _stages(one: Explained, tongue: Tongue) -> Iterator[str]:
    best = {(time.stage, time.quantity): time for time in one.beside.facts.stages} if one.beside else {}
    heading = ("stage", "quantity", "wanted", "within", "above", "below", "unknown", "longest beyond")
    rows = [
        (*_stage_row(time, tongue), *_best_row(best.get((time.stage, time.quantity)), one.beside))
        for time in one.facts.stages
    ]
    if not rows:
        yield "Nobody says what this crop wants: its bands are empty."
        return
    yield from columns([(*heading, *(("best: within", "beyond") if one.beside else ())), *rows])


def _stage_row(time: StageTime, tongue: Tongue) -> list[str]:
    hours = (time.within_h, time.above_h, time.below_h, time.unknown_h)
    wanted = wanted_words(time.quantity, time.wanted, tongue)
    return [
        time.stage,
        QUANTITIES[time.quantity].words,
        wanted,
        *map(hours_words, hours),
        longest_words(time, tongue),
    ]


def _best_row(time: StageTime | None, beside: Beside | None) -> list[str]:
    if beside is None:
        return []
    return [hours_words(time.within_h), hours_words(time.above_h + time.below_h)] if time else ["", ""]


def _facts(one: Explained, tongue: Tongue) -> Iterator[str]:
    best = dict(facts_in_words(one.beside.facts, tongue)) if one.beside else {}
    for label, told in facts_in_words(one.facts, tongue):
        yield f"{label}: {told}."
        if label == "Warmth of the medium" and one.facts.warmth and one.usual:
            yield _usual(one.facts.warmth.degree_h, one.usual)
        if label in best and label not in ("Alarms", "Not seen"):
            yield f"    best: {best[label]}."
    if one.unsafe:
        yield f"Unsafe to say, for what was not seen: {', '.join(sorted(one.unsafe))}."


def _usual(degree_h: float, usual: Usual) -> str:
    count = f"{usual.batches} past batch{'' if usual.batches == 1 else 'es'}"
    share = f", this is {degree_h / usual.degree_h:.0%} of it" if usual.degree_h else ""
    return f"    usual: {usual.degree_h:,.0f} K h in as many days, the median of {count}{share}."


def _notes(one: Explained, tongue: Tongue) -> Iterator[str]:
    for note in one.notes:
        what = note.fields.get("event", note.kind)
        yield f"Said, {tongue.moment(note.time_ms)}{f' by {note.who}' if note.who else ''} ({what}): {note.why}"
