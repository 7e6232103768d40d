"""The daily summary as a person reads it at six in the morning, and as programs do.

The rule of this file: what wants somebody comes first, what is as it should be takes one line, and silence is
never told as health.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any, Final

from wardian.daemon.config import Site
from wardian.daemon.light_seen import day_json
from wardian.daemon.light_words import day_words
from wardian.daemon.summary import BandDay, Summary, TrayDay
from wardian.daemon.tongue import Tongue, ms_of, span_words, utc_text
from wardian.rules import life
from wardian.rules.ports import Message
from wardian.rules.quantities import QUANTITIES

#: What is unknown for less is the pause between two readings.
_UNKNOWN_MS: Final = 60_000
#: So many alarms that a tray raised are named.
_NAMED: Final = 4
#: So many reasons are told; the rest is counted.
_REASONS: Final = 3
_LONGEST_REASON: Final = 80
_HEADINGS: Final = {
    life.UNACKNOWLEDGED: "Stands, and nobody has acknowledged it",
    life.ACKNOWLEDGED: "Stands, acknowledged",
    life.LATCHED_UNACKNOWLEDGED: "Returned, kept until somebody acknowledges and resets it",
    life.LATCHED_ACKNOWLEDGED: "Returned, kept until somebody resets it",
    life.RETURNED_UNACKNOWLEDGED: "Returned, and nobody has acknowledged it",
}
_STANDS: Final = (life.UNACKNOWLEDGED, life.ACKNOWLEDGED)
_TIMES: Final = {1: "once", 2: "twice"}


def summary_message(summary: Summary, site: Site, key: str) -> Message:
    """Return a summary as a message; its fields are those of an alarm's that is about no tray, and more."""
    tongue = Tongue.of(site)
    day, _, _ = tongue.moment(_minute_ms(summary.to_ms)).rpartition(" ")
    subject = f"summary, {day}: {_headline(summary)}"
    body = "\n".join(summary_lines(summary, site))
    fields = {
        "time": utc_text(summary.to_ms),
        "tray": "no tray",
        "quantity": None,
        "limit": "summary",
        "event": "summary",
        "alarm": "summary",
        "priority": "low",
        "value": None,
        "threshold": None,
        "stage": None,
        "message": subject,
        **summary_json(summary),
    }
    return Message(key, subject, body, fields)


def _headline(summary: Summary) -> str:
    """Return the most important of it in a few words."""
    silent = sum(not tray.readings for tray in summary.trays)
    unseen = sum(fields["life"] == life.UNACKNOWLEDGED for fields in summary.standing)
    stand = sum(fields["life"] == life.ACKNOWLEDGED for fields in summary.standing)
    told = [
        f"{silent} of {len(summary.trays)} trays without readings" if silent else "",
        f"{unseen} not acknowledged" if unseen else "",
        f"{stand} acknowledged" if stand else "",
    ]
    return ", ".join(part for part in told if part) or "no alarm stands"


# --------------------------------------------------------------------------------------- for people


def summary_lines(summary: Summary, site: Site) -> Iterator[str]:
    """Yield a summary line by line, the most important first."""
    tongue = Tongue.of(site)
    hours = span_words(summary.to_ms - summary.from_ms)
    from_words, to_words = (tongue.moment(_minute_ms(at_ms)) for at_ms in (summary.from_ms, summary.to_ms))
    yield f"{site.name}: {from_words} to {to_words} ({hours})."
    if not any(fields["life"] in _STANDS for fields in summary.standing):
        yield "No alarm stands."
    for state, some in groupby(summary.standing, key=lambda fields: fields["life"]):
        yield f"{_HEADINGS.get(state, state)}:"
        yield from (f"  {_alarm(fields, tongue)}" for fields in some)
    yield ""
    for tray in summary.trays:
        yield from _tray_lines(tray, tongue)
    yield ""
    yield from _aside(summary, tongue)
    yield from _troubles(summary, tongue)
    yield from (f"{caution[0].upper()}{caution[1:]}." for caution in summary.cautions)
    if summary.watched_ms is not None:
        yield f"wardian watched {span_words(summary.watched_ms)} of these {hours}."


def _alarm(fields: Mapping[str, Any], tongue: Tongue) -> str:
    since = fields.get("since")
    words = f"{fields['tray']}: {_name(fields)}, priority {fields.get('priority')}"
    return f"{words}, since {tongue.moment(ms_of(since))}" if since else words


def _name(fields: Mapping[str, Any]) -> str:
    name = str(fields["alarm"]).replace("-", " ")
    return name if fields.get("limit") or not fields["quantity"] else f"{name} ({_words(fields['quantity'])})"


def _words(quantity: object) -> str:
    known = QUANTITIES.get(str(quantity))
    return known.words if known else str(quantity)


def _tray_lines(tray: TrayDay, tongue: Tongue) -> Iterator[str]:
    stage = tray.stage or ("before sticking" if tray.day < 0 else "no stage yet")
    judged = [band for band in tray.bands if _judged_ms(band)]
    # What was unknown of all bands, as while nobody watched, is told once.
    silent_ms = min((band.shares.unknown_ms for band in judged), default=0)
    apart = [band for band in judged if _is_apart(band, silent_ms)]
    parts = [f"{tray.crop}, day {tray.day}, {stage}.", _bands(judged, apart, silent_ms)]
    if not tray.readings:
        parts, apart = ["NO READINGS in all this time.", parts[0]], []
    parts += [_light(tray), _yesterday(tray), _alarms(tray), _care(tray)]
    yield f"{tray.name}: {' '.join(part for part in parts if part)}"
    yield from (f"  {_band(band, silent_ms, tongue)}" for band in apart)


def _bands(judged: Sequence[BandDay], apart: Sequence[BandDay], silent_ms: int) -> str:
    """Return what all bands have in common."""
    if not judged:
        return "No band was judged."
    unknown = f"nothing known for {span_words(silent_ms)}" if silent_ms >= _UNKNOWN_MS else ""
    if apart:
        return f"{unknown[:1].upper()}{unknown[1:]}." if unknown else ""
    within = f"Within all bands {span_words(min(band.shares.within_ms for band in judged))}"
    return f"{within}, {unknown}." if unknown else f"{within}."


def _is_apart(band: BandDay, silent_ms: int) -> bool:
    return band.shares.beyond_ms > 0 or band.shares.unknown_ms - silent_ms >= _UNKNOWN_MS


def _judged_ms(band: BandDay) -> int:
    return band.shares.within_ms + band.shares.beyond_ms + band.shares.unknown_ms


def _band(band: BandDay, silent_ms: int, tongue: Tongue) -> str:
    quantity, of_time = QUANTITIES[band.quantity], band.shares
    told = f"{quantity.words}: within {_percent(of_time.within_ms, _judged_ms(band))}"
    if of_time.unknown_ms - silent_ms >= _UNKNOWN_MS:
        told += f", unknown {span_words(of_time.unknown_ms)}"
    longest = band.longest
    if longest is None:
        return told
    side = "above" if longest.limit.startswith("high") else "below"
    limit = f" {tongue.value(quantity, longest.threshold)}" if longest.threshold is not None else " its limit"
    lasted = span_words(longest.to_ms - longest.from_ms)
    return f"{told}; longest {side}{limit}: {lasted} from {tongue.moment(longest.from_ms)}"


def _percent(part_ms: int, whole_ms: int) -> str:
    """Return a share, rounded down: what is not all is never called 100 %."""
    return f"{part_ms * 100 // whole_ms} %" if whole_ms else "nothing"


def _light(tray: TrayDay) -> str:
    if tray.light_h is None:
        return "Light of the last day unknown." if tray.wants_light else ""
    unseen = f", {tray.unseen_h:.1f} h unseen" if tray.unseen_h >= 0.05 else ""
    return f"Light {tray.light_h:.1f} h{unseen}."


def _yesterday(tray: TrayDay) -> str:
    """Return the light of the last whole day on the calendar, which the last 24 h cut in two."""
    return f"Yesterday {day_words(tray.yesterday, tray.lux_per_umol)}." if tray.yesterday else ""


def _alarms(tray: TrayDay) -> str:
    most = sorted(tray.raised.items(), key=lambda one: (-one[1], one[0]))
    names = [name.replace("-", " ") + (f" {count} times" if count > 1 else "") for name, count in most]
    told = names[:_NAMED] + ([f"{len(names) - _NAMED} more"] if len(names) > _NAMED else [])
    raised = f"Raised: {', '.join(told)}." if told else ""
    return f"{raised} Returned: {tray.returned}.".strip() if tray.returned else raised


def _care(tray: TrayDay) -> str:
    done = ", ".join(f"{name} {_TIMES.get(count, f'{count} times')}" for name, count in tray.care.items())
    return f"{done[0].upper()}{done[1:]}." if done else ""


def _aside(summary: Summary, tongue: Tongue) -> Iterator[str]:
    """Yield what is set aside; alarms of a tray that share one reason and end, in a line."""

    def shared(fields: Mapping[str, Any]) -> tuple[str, str]:
        until = f" until {tongue.moment(ms_of(fields['until']))}" if fields.get("until") else ""
        who = f" by {fields['who']}" if fields.get("who") else ""
        why = f": {fields['why']}" if fields.get("why") else ""
        return fields["tray"], f"{fields['life']}{who}{until}{why}"

    for (tray, words), group in groupby(sorted(summary.aside, key=shared), key=shared):
        names = [_name(fields) for fields in group]
        told = ", ".join(names) if len(names) <= _REASONS else f"{len(names)} alarms"
        yield f"Set aside: {tray}: {told}, {words}."


def _troubles(summary: Summary, tongue: Tongue) -> Iterator[str]:
    refused = {f"{source}: {why[:_LONGEST_REASON]}": n for (source, why), n in summary.refused.items()}
    late = {f"{tray} {_words(quantity)}": n for (tray, quantity), n in summary.late.items()}
    for heading, counts in (("Readings refused", refused), ("Readings too late to be judged", late)):
        if counts:
            yield f"{heading}: {_counted(counts)}."
    for one in summary.waiting:
        yield f"{one.channel}: {one.words(tongue.moment)}."
    for channel, count in sorted(summary.lost.items()):
        yield f"{channel}: {count} message{'' if count == 1 else 's'} given up."


def _counted(counts: Mapping[str, int]) -> str:
    """Return a count, and of which; the most frequent first."""
    most = sorted(counts.items(), key=lambda one: (-one[1], one[0]))
    total = sum(counts.values())
    told = "; ".join(f"{what} ({count})" for what, count in most[:_REASONS])
    return f"{total}, {told}" + ("; and others" if len(most) > _REASONS else "")


# ------------------------------------------------------------------------------------- for programs


def summary_json(summary: Summary) -> dict[str, Any]:
    """Return a summary as plain JSON values; durations in seconds, values in each quantity's own unit."""
    return {
        "from": utc_text(summary.from_ms),
        "to": utc_text(summary.to_ms),
        "trays": [_tray_json(tray) for tray in summary.trays],
        "standing": [_alarm_json(fields) for fields in summary.standing],
        "set_aside": [_alarm_json(fields) for fields in summary.aside],
        "refused": [
            {"source": source, "reason": why, "count": count}
            for (source, why), count in summary.refused.items()
        ],
        "late": [
            {"tray": tray, "quantity": quantity, "count": count}
            for (tray, quantity), count in summary.late.items()
        ],
        "waiting": [
            {"channel": one.channel, "messages": one.messages, "since": utc_text(one.since_ms)}
            for one in summary.waiting
        ],
        "given_up": dict(summary.lost),
        "cautions": list(summary.cautions),
        "watched_s": None if summary.watched_ms is None else summary.watched_ms / 1000,
    }


_TOLD: Final = ("tray", "alarm", "quantity", "limit", "priority", "since", "life", "who", "why", "until")


def _alarm_json(fields: Mapping[str, Any]) -> dict[str, Any]:
    return {name: fields.get(name) for name in _TOLD}


def _tray_json(tray: TrayDay) -> dict[str, Any]:
    return {
        "name": tray.name,
        "crop": tray.crop,
        "day": tray.day,
        "stage": tray.stage,
        "readings": tray.readings,
        "bands": {band.quantity: _band_json(band) for band in tray.bands if _judged_ms(band)},
        "light_h": tray.light_h,
        "unseen_light_h": tray.unseen_h,
        "yesterday_light": day_json(tray.yesterday) if tray.yesterday else None,
        "lux_per_umol": tray.lux_per_umol,
        "raised": dict(tray.raised),
        "returned": tray.returned,
        "care": dict(tray.care),
    }


def _band_json(band: BandDay) -> dict[str, Any]:
    longest = band.longest
    return {
        "within_s": band.shares.within_ms / 1000,
        "beyond_s": band.shares.beyond_ms / 1000,
        "unknown_s": band.shares.unknown_ms / 1000,
        "longest": {
            "limit": longest.limit,
            "threshold": longest.threshold,
            "from": utc_text(longest.from_ms),
            "to": utc_text(longest.to_ms),
        }
        if longest
        else None,
    }


def _minute_ms(time_ms: int) -> int:
    """Return the nearest minute: what is judged is some seconds behind the clock on the wall."""
    return (time_ms + 30_000) // 60_000 * 60_000
