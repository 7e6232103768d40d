"""Batches for people and for programs: a line each, or everything of one."""

from collections.abc import Iterable, Iterator, Mapping
from typing import Any, Final

from wardian.daemon.batch_fields import FIELDS, Field, written, written_counts
from wardian.daemon.batch_words import DEGREES, TIME
from wardian.daemon.report import columns
from wardian.daemon.tongue import Tongue, utc_text
from wardian.rules.batches import SCORE_WORDS, Batch, Outcome, outcome
from wardian.rules.crops import wall_time
from wardian.rules.proportions import Share, wilson_interval
from wardian.rules.quantities import QUANTITIES

_HEADINGS: Final = ("batch", "crop", "tray", "stuck", "cuttings", "left", "rooted and fit")


# ------------------------------------------------------------------------------------------ for people


def list_lines(site: Tongue, known: Iterable[Batch]) -> Iterator[str]:
    """Yield a line for each batch."""
    rows = [_row(site, batch) for batch in known]
    yield from columns([_HEADINGS, *rows]) if rows else ["there is no such batch"]


def _row(site: Tongue, batch: Batch) -> tuple[str, ...]:
    became = outcome(batch)
    left = "closed" if batch.closed else str(became.left)
    success = share_words(became.success) if became.success else _so_far(became)
    stuck = day_words(site, batch.stuck_ms)
    return batch.name, batch.crop, batch.tray, stuck, str(batch.count_stuck), left, success


def _so_far(became: Outcome) -> str:
    return (
        f"so far {became.sample.part} of {became.sample.whole} seen with roots"
        if became.sample
        else "not yet"
    )


def show_lines(site: Tongue, batch: Batch) -> Iterator[str]:
    """Yield all that is known of a batch."""
    said = f", {batch.why}" if batch.why else ""
    yield f"batch {batch.name}: {batch.count_stuck} cuttings of {batch.crop} in tray {batch.tray}"
    yield from columns(
        [("stuck", f"{_clock(site, batch.stuck_ms)} by {batch.stuck_by}{said}"), *_details(site, batch)]
    )
    happened = sorted(_happened(site, batch), key=lambda one: one[0])
    if happened:
        yield from columns([row for _, row in happened])
    yield from _outcome_lines(outcome(batch))


def _details(site: Tongue, batch: Batch) -> Iterator[tuple[str, str]]:
    for field in FIELDS:
        value = getattr(batch.details, field.name)
        if value is not None and field.name != "stuck_by":
            yield field.word.word.replace("-", " "), _detail(site, field, value)
    # Of two bare days, which are noons, nobody knows the hours.
    if batch.held_h:
        yield "held for", f"{batch.held_h:.1f} h"


def _detail(site: Tongue, field: Field, value: Any) -> str:
    if field.word.kind == TIME:
        return _clock(site, value)
    if field.word.kind == DEGREES:
        return site.value(QUANTITIES["air_temperature"], value)
    return f"{value:g} {field.unit}" if isinstance(value, float) else written(field, value)


def _happened(site: Tongue, batch: Batch) -> Iterator[tuple[int, tuple[str, ...]]]:
    """Yield when something happened to a batch, and the row that tells it."""
    for removal in batch.removals:
        yield (
            removal.time_ms,
            _told(site, removal, f"{removal.cuttings} taken out: {removal.reason}", removal.why),
        )
    for scores in batch.scores:
        words = f"{scores.rooted} of {scores.looked_at} with roots: {_scores_words(scores.counts)}"
        yield scores.time_ms, _told(site, scores, words, scores.why)
    for note in batch.notes:
        yield note.time_ms, _told(site, note, note.text, "")
    closed = batch.closed
    if closed:
        lost = f", discarded {written_counts(closed.discarded)}" if closed.discarded else ""
        yield (
            closed.time_ms,
            _told(site, closed, f"{closed.potted} potted, {closed.fit} fit{lost}", closed.why),
        )


def _told(site: Tongue, one: Any, words: str, why: str) -> tuple[str, ...]:
    return _clock(site, one.time_ms), f"[{one.number}]", one.who, f"{words} ({why})" if why else words


def _scores_words(counts: tuple[int, ...]) -> str:
    return "; ".join(f"{count} {SCORE_WORDS[score]}" for score, count in enumerate(counts) if count)


def _outcome_lines(became: Outcome) -> Iterator[str]:
    lost = ", ".join(f"{count} {reason}" for reason, count in became.losses.items())
    yield f"lost: {lost or 'none'}" + (
        f"; not accounted for: {became.unaccounted}" if became.unaccounted else ""
    )
    if became.success:
        yield f"rooted and fit: {share_words(became.success)} of those stuck"
        return
    yield f"left in the tray: {became.left} of {became.stuck}"
    if became.rooted:
        yield f"with roots: {share_words(became.rooted)} of those stuck"
    elif became.sample:
        yield f"with roots: {share_words(became.sample)} of those looked at, which may not stand for all"


def share_words(share: Share) -> str:
    """Return a share with the interval that it leaves plausible: ``12 of 20, 60 % (39 to 78 %)``."""
    low, high = wilson_interval(share)
    return f"{share.part} of {share.whole}, {share.value * 100:.0f} % ({low * 100:.0f} to {high * 100:.0f} %)"


def day_words(site: Tongue, time_ms: int) -> str:
    """Return the local day of an instant, with its year."""
    return f"{wall_time(time_ms, site.zone):%Y-%m-%d}"


def _clock(site: Tongue, time_ms: int) -> str:
    return f"{wall_time(time_ms, site.zone):%Y-%m-%d %H:%M}"


# ---------------------------------------------------------------------------------------- for programs


def batch_json(batch: Batch) -> dict[str, Any]:
    """Return all that is known of a batch as plain values."""
    closed = batch.closed
    return {
        "batch": batch.name,
        "crop": batch.crop,
        "tray": batch.tray,
        "stuck": utc_text(batch.stuck_ms),
        "count_stuck": batch.count_stuck,
        "details": dict(_details_json(batch)),
        "held_h": batch.held_h,
        "removals": [
            {"count": one.cuttings, "reason": one.reason, **_said_json(one)} for one in batch.removals
        ],
        "scores": [
            {"counts": list(one.counts), "looked_at": one.looked_at, "rooted": one.rooted, **_said_json(one)}
            for one in batch.scores
        ],
        "closed": closed
        and {"potted": closed.potted, "fit": closed.fit, "discarded": closed.discarded, **_said_json(closed)},
        "notes": [{"text": one.text, **_said_json(one)} for one in batch.notes],
        "who": batch.who,
        "why": batch.why,
        "record": batch.number,
        "outcome": _outcome_json(outcome(batch)),
    }


def _details_json(batch: Batch) -> Iterator[tuple[str, Any]]:
    for field in FIELDS:
        value = getattr(batch.details, field.name)
        if value is not None:
            yield field.column, utc_text(value) if field.word.kind == TIME else value


def _said_json(one: Any) -> dict[str, Any]:
    return {
        "time": utc_text(one.time_ms),
        "who": one.who,
        "why": getattr(one, "why", ""),
        "record": one.number,
    }


def _outcome_json(became: Outcome) -> dict[str, Any]:
    shares: Mapping[str, Share | None] = {
        "rooted_and_fit": became.success,
        "rooted": became.rooted,
        "rooted_of_looked_at": became.sample,
    }
    return {
        "left": became.left,
        "potted": became.potted,
        "losses": became.losses,
        "unaccounted": became.unaccounted,
        **{name: share and share_json(share) for name, share in shares.items()},
    }


def share_json(share: Share) -> dict[str, Any]:
    """Return a share with its 95 % interval as plain values."""
    return {
        "count": share.part,
        "of": share.whole,
        "share": share.value,
        "interval": list(wilson_interval(share)),
    }
