"""What settings made of the same readings, side by side: for people as tables, for programs as one object."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from math import inf, isinf
from typing import Any, Final

from wardian.daemon.report import columns
from wardian.daemon.tongue import Tongue, span_words, utc_text
from wardian.daemon.trade import Found, not_beaten, trade
from wardian.daemon.tune import BandFigures, Figures
from wardian.daemon.vary import Choice, flow
from wardian.daemon.weeks import Week
from wardian.rules.documents import dotted
from wardian.rules.quantities import QUANTITIES

_NOT_BEATEN: Final = "* not beaten: no other is at least as early and as quiet, and better in one of the two."
_WITH_TRUTH: Final = (
    "Early is the median lateness after a fault begins, never where one is not found; quiet is few unneeded "
    "alarms. A fault counts where at least one setting found or missed it."
)
_WITHOUT_TRUTH: Final = (
    "Early is little time untold: beyond a band while no alarm says so; quiet is few alarms. Without a truth "
    "nobody knows which of them were needed, and a wider band looks better in both."
)


def week_lines(site: Tongue, week: Week, watched: Collection[str]) -> Iterator[str]:
    """Yield what was read of one file, or of the store."""
    yield (
        f"{week.name}: {week.readings} readings from {site.moment(week.from_ms)} to "
        f"{site.moment(week.until_ms - 1)}, {week.refused_rows} refused"
    )
    for tray in sorted({series.tray for series in week.chunk} - set(watched)):
        yield f"{week.name}: tray {tray!r} is in no configuration: not judged"


def week_json(week: Week) -> dict[str, Any]:
    """Return the same for programs."""
    return {
        "file": week.name,
        "readings": week.readings,
        "refused": week.refused_rows,
        "from": utc_text(week.from_ms),
        "to": utc_text(week.until_ms - 1),
        "truth": week.truth is not None,
    }


# ------------------------------------------------------------------------------------- for people


def summary_lines(every: Sequence[Figures]) -> Iterator[str]:
    """Yield the settings one below the other: what each cost and what it gave, and which are not beaten."""
    keys = _varied(every)
    for name, choice in keys.items():
        if name != choice.vary.written:
            yield f"{name}: {choice.vary.written}"
    with_truth = every[0].found is not None
    header = ["", *(keys or ["setting"]), "alarms"]
    header += ["found", "median lateness", "worst", "unneeded a tray-week"] if with_truth else ["untold"]
    rows = [tuple(header)]
    for number, (figures, stays) in enumerate(zip(every, unbeaten(every), strict=True), start=1):
        named = [flow(choice.value) for choice in figures.setting.choices] or [figures.setting.name]
        mark = f"{number}{' *' if stays else ''}"
        rows.append((mark, *named, str(figures.alarms), *_told(figures)))
    yield from columns(rows)
    yield _NOT_BEATEN
    yield _WITH_TRUTH if with_truth else _WITHOUT_TRUTH


def _varied(every: Sequence[Figures]) -> Mapping[str, Choice]:
    """Return the varied keys by the shortest ends of their paths that tell them apart."""
    chosen = every[0].setting.choices
    for length in range(1, max((len(choice.vary.path) for choice in chosen), default=0) + 1):
        names = [dotted(choice.vary.path[-length:]) for choice in chosen]
        if len(set(names)) == len(names):
            return dict(zip(names, chosen, strict=True))
    return {}


def _told(figures: Figures) -> tuple[str, ...]:
    found = figures.found
    if found is None:
        return (span_words(figures.untold_ms),)
    return (
        f"{len(found.lateness_ms)} of {found.faults}",
        _lateness(found.median_ms),
        _lateness(found.worst_ms),
        f"{found.unneeded_a_week:.2f}",
    )


def _lateness(late_ms: float | None) -> str:
    if late_ms is None:
        return "-"
    return "never" if isinf(late_ms) else span_words(round(late_ms))


def tray_lines(every: Sequence[Figures]) -> Iterator[str]:
    """Yield each tray's bands, each under every setting."""
    for tray in _trays(every):
        yield ""
        yield tray
        rows: list[tuple[str, ...]] = [
            ("band", "setting", "within", "beyond", "unknown", "alarms", "longest beyond")
        ]
        for quantity in _quantities(every, tray):
            words = QUANTITIES[quantity].words
            for figures in every:
                rows.append((words, figures.setting.name, *_band(figures, tray, quantity)))
                words = ""
        words = "sensors"
        for figures in every:
            watched = figures.trays.get(tray)
            alarms = str(watched.sensor_alarms) if watched else "not watched"
            rows.append((words, figures.setting.name, "", "", "", alarms, ""))
            words = ""
        yield from columns(rows)


def _band(figures: Figures, tray: str, quantity: str) -> tuple[str, ...]:
    watched = figures.trays.get(tray)
    band = watched.bands.get(quantity) if watched else None
    if band is None or not band.judged_ms:
        return ("not watched" if watched is None else "no band then", "", "", "", "")
    parts = (band.within_ms, band.beyond_ms, band.unknown_ms)
    shares = (f"{100 * part_ms / band.judged_ms:6.2f} %" for part_ms in parts)
    return (*shares, f"{band.alarms:6}", span_words(band.longest_ms) if band.longest_ms else "")


def _trays(every: Sequence[Figures]) -> list[str]:
    return list(dict.fromkeys(tray for figures in every for tray in figures.trays))


def _quantities(every: Sequence[Figures], tray: str) -> list[str]:
    watched = (figures.trays[tray] for figures in every if tray in figures.trays)
    return list(dict.fromkeys(quantity for one in watched for quantity in one.bands))


# ----------------------------------------------------------------------------------- for programs


def unbeaten(every: Sequence[Figures]) -> list[bool]:
    """Return of each setting whether no other beats it."""
    return not_beaten([trade(one.found, one.untold_ms, one.alarms) for one in every])


def tune_json(every: Sequence[Figures], weeks: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return everything as one object."""
    settings = [
        {
            "number": number,
            "name": figures.setting.name,
            "values": {choice.vary.written: flow(choice.value) for choice in figures.setting.choices},
            "not_beaten": stays,
            "alarms": figures.alarms,
            "untold_s": figures.untold_ms / 1000,
            **({} if figures.found is None else _found_json(figures.found)),
            "trays": [_tray_json(figures, tray) for tray in _trays(every)],
        }
        for number, (figures, stays) in enumerate(zip(every, unbeaten(every), strict=True), start=1)
    ]
    return {"readings": list(weeks), "settings": settings}


def _found_json(found: Found) -> dict[str, Any]:
    median_ms, worst_ms = found.median_ms, found.worst_ms
    return {
        "faults": found.faults,
        "found": len(found.lateness_ms),
        "missed": found.missed,
        "median_late_s": None if median_ms in (None, inf) else median_ms / 1000,
        "worst_late_s": None if worst_ms is None else worst_ms / 1000,
        "unneeded": found.unneeded,
        "unneeded_per_tray_week": found.unneeded_a_week,
    }


def _tray_json(figures: Figures, tray: str) -> dict[str, Any]:
    watched = figures.trays.get(tray)
    if watched is None:
        return {"tray": tray, "watched": False}
    bands = [_band_json(quantity, band) for quantity, band in watched.bands.items()]
    return {"tray": tray, "watched": True, "bands": bands, "sensor_alarms": watched.sensor_alarms}


def _band_json(quantity: str, band: BandFigures) -> dict[str, Any]:
    judged_ms = band.judged_ms
    parts = {"within": band.within_ms, "beyond": band.beyond_ms, "unknown": band.unknown_ms}
    return {
        "quantity": quantity,
        **{name: part_ms / judged_ms if judged_ms else None for name, part_ms in parts.items()},
        **{f"{name}_s": part_ms / 1000 for name, part_ms in parts.items()},
        "alarms": band.alarms,
        "longest_beyond_s": band.longest_ms / 1000,
        "untold_s": band.untold_ms / 1000,
    }


# -------------------------------------------------------------------------------- what to paste


def finding_lines(every: Sequence[Figures], number: int, weeks: Sequence[Mapping[str, Any]]) -> Iterator[str]:
    """Yield, as comments, what was found with one setting and on which readings."""
    figures = every[number - 1]
    names = [str(week["file"]) for week in weeks]
    files = names[0] if len(names) == 1 else f"{len(names)} files, {names[0]} to {names[-1]}"
    yield f"# Setting {number} of {len(every)} that were tried on {files}:"
    words = f"{figures.alarms} alarms, "
    found = figures.found
    if found is None:
        words += f"{span_words(figures.untold_ms)} beyond a band without one"
    else:
        words += (
            f"{len(found.lateness_ms)} of {found.faults} faults found, lateness {_lateness(found.median_ms)} (median) "
            f"and {_lateness(found.worst_ms)} (worst), {found.unneeded_a_week:.2f} unneeded a tray-week"
        )
    yield f"# {words}."
    yield "# Put each key in the place of the same names in your configuration; what stands beside it there stays."
