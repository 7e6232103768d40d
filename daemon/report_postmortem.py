"""The page about a batch: its facts beside those of the best batch of its crop, then what may be behind it.

The rule of this file: a finding is told as likely or possible, never as proven, and what no sensor sees is said at the end.
"""

from collections.abc import Iterator, Mapping
from typing import Final

from wardian.daemon.fact_words import facts_in_words, hours_words, longest_words, wanted_words
from wardian.daemon.finding_words import FindingWords
from wardian.daemon.postmortem import Beside, Explained
from wardian.daemon.report import columns
from wardian.daemon.report_batches import share_words
from wardian.daemon.tongue import Tongue
from wardian.rules.batches import Outcome, outcome
from wardian.rules.postmortem.bands import StageTime
from wardian.rules.postmortem.findings import Finding
from wardian.rules.postmortem.harm import NOTHING, UNSEEN
from wardian.rules.quantities import QUANTITIES

Words = Mapping[str, FindingWords]
#: So many findings are told where there is little room.
SHORT: Final = 3
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
        if label == "Warmth of the medium" and one.usual:
            count = f"{one.usual.batches} past batch{'' if one.usual.batches == 1 else 'es'}"
            share = (
                one.facts.warmth.degree_h / one.usual.degree_h
                if one.facts.warmth and one.usual.degree_h
                else None
            )
            of_usual = f", this is {share:.0%} of it" if share is not None else ""
            yield f"    usual: {one.usual.degree_h:,.0f} K h in as many days, the median of {count}{of_usual}."
        if label in best and label not in ("Alarms", "Not seen"):
            yield f"    best: {best[label]}."
    if one.unsafe:
        yield f"Unsafe to say, for what was not seen: {', '.join(sorted(one.unsafe))}."


def _notes(one: Explained, tongue: Tongue) -> Iterator[str]:
    for note in one.subject.batch.notes if one.subject.batch else ():
        yield f"Note, {tongue.moment(note.time_ms)}{f', {note.who}' if note.who else ''}: {note.text}"


def finding_lines(one: Explained, words: Words, tongue: Tongue) -> Iterator[str]:
    """Yield what may be behind it, the weightiest first."""
    if not one.findings:
        yield "Nothing that was measured was out of line for so long that it is said to harm cuttings."
        if one.is_past_due:
            yield f"If there are no roots, {words[NOTHING].reading}."
        return
    yield "What may be behind it, the weightiest first:"
    for place, finding in enumerate(one.findings, start=1):
        yield f"{place:>2}. {headline(finding, words)}"
        yield f"    How a propagator reads it: {words[finding.name].reading}."
        yield f"    What comes of it: {words[finding.name].consequence}."
        yield from (f"    Seen: {tongue.evidence(seen)}." for seen in finding.evidence)
        yield from (f"    It fits that {tongue.evidence(fit)}." for fit in finding.fits)
        yield f"    Next time: {words[finding.name].next_time}."
        yield f"    ({words[finding.name].mark})"


def headline(finding: Finding, words: Words) -> str:
    """Return a finding in a line."""
    said = words[finding.name].words
    if finding.name in (NOTHING, UNSEEN):
        return f"{said[0].upper()}{said[1:]}."
    doubt = (
        " Unsafe: a good part of what this is read from was not seen, or is not to be trusted."
        if finding.is_unsafe
        else ""
    )
    return f"{'Likely' if finding.is_likely else 'Possible'}: {said}.{doubt}"


def short_lines(one: Explained, words: Words, tongue: Tongue) -> Iterator[str]:
    """Yield the short form: up to three findings with what was seen, and where to read on."""
    name = f"{one.subject.name}" if one.subject.batch else f"--tray {one.subject.tray}"
    yield f"{one.subject.tray}: roots of {one.subject.case.crop.name} are past due. What may be behind it, if there are none:"
    for place, finding in enumerate(one.findings[:SHORT], start=1):
        yield f"{place}. {headline(finding, words)}"
        yield from (f"   Seen: {tongue.evidence(seen)}." for seen in finding.evidence[:1])
        yield f"   Next time: {words[finding.name].next_time}."
    if not one.findings:
        yield f"Nothing that was measured was out of line. If there are no roots, {words[NOTHING].reading}."
    yield f"The whole page: wardian batch explain {name}. A likelihood, never a proof: tug five of them gently first."
