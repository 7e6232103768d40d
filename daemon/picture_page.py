"""A report as one page of HTML that needs nothing else: pictures inline, tables beside them, no script.

The rule of this file: every text from outside is escaped where it is put in, and no state is told by colour alone.
"""

from collections.abc import Iterator, Mapping, Sequence
from html import escape
from typing import Final

from wardian.daemon.picture import Picture
from wardian.daemon.picture_colours import DARK, LIGHT, stylesheet
from wardian.daemon.picture_report import Seen, TrayReport
from wardian.daemon.pictures import draw
from wardian.daemon.tongue import span_words
from wardian.rules.quantities import QUANTITIES
from wardian.rules.shares import Shares

#: A picture that stands alone, and one of two side by side. [px]
_WIDTHS: Final = {1: 720, 2: 620}
#: Every instruction of the page; nothing may be loaded.
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'"
_STYLE: Final = """
:root{color-scheme:light dark;%(light)s}
@media (prefers-color-scheme:dark){@media screen{:root{%(dark)s}}}
*{box-sizing:border-box}
body{margin:0 auto;padding:1.5rem;max-width:84rem;background:var(--paper);color:var(--ink);font:1rem/1.5 'DejaVu Sans',Verdana,sans-serif}
h1{margin:0;font-size:1.7rem}h2{margin:2.5rem 0 .25rem;padding-bottom:.25rem;border-bottom:4px solid var(--wood);font-size:1.3rem}
h3{margin:1.25rem 0 .25rem;font-size:1rem}p{margin:.25rem 0}.soft{color:var(--soft)}.alarm{color:var(--alarm);font-weight:bold}
svg{display:block;width:100%%;min-width:34rem;height:auto}
.beside{display:grid;gap:1.5rem;grid-template-columns:repeat(auto-fit,minmax(min(100%%,30rem),1fr))}
@media (min-width:80rem){.alone{grid-template-columns:minmax(0,3fr) minmax(0,2fr);display:grid;gap:1.5rem;align-items:start}}
.wide{overflow-x:auto}
table{border-collapse:collapse;font-size:.86rem}caption{text-align:left;font-weight:bold;padding:.5rem 0}
th,td{padding:.3rem .9rem .3rem 0;text-align:left;vertical-align:top;border-bottom:1px solid var(--grid)}
td{white-space:nowrap}td.number{text-align:right;font-variant-numeric:tabular-nums}
a{color:var(--air)}a:focus-visible{outline:3px solid var(--lamp);outline-offset:2px}
@media print{body{padding:0;max-width:none}svg{min-width:0}section{break-inside:avoid-page}h2{break-after:avoid}nav{display:none}}
"""


def page(heading: str, about: str, trays: Sequence[TrayReport]) -> str:
    """Return the whole page.

    Raises:
        NoPictures: The charting library is not installed.
    """
    return "\n".join(_lines(heading, about, trays)) + "\n"


def _lines(heading: str, about: str, trays: Sequence[TrayReport]) -> Iterator[str]:
    colours = {"light": _variables(LIGHT), "dark": _variables(DARK)}
    yield "<!DOCTYPE html>"
    yield '<html lang="en"><head><meta charset="utf-8">'
    yield f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">'
    yield '<meta name="viewport" content="width=device-width, initial-scale=1">'
    yield f"<title>{escape(heading)}</title>"
    yield f"<style>{_STYLE % colours}{stylesheet()}</style></head><body>"
    yield f'<header><h1>{escape(heading)}</h1><p class="soft">{escape(about)}</p></header>'
    if len(trays) > 1:
        yield from _overview(trays)
    yield "<main>"
    for number, tray in enumerate(trays):
        yield from _tray(number, tray)
    yield "</main></body></html>"


def _variables(colours: Mapping[str, str]) -> str:
    return "".join(f"--{role}:{colour};" for role, colour in colours.items())


def _overview(trays: Sequence[TrayReport]) -> Iterator[str]:
    """Yield the trays as they stand on the bench, each with a link to its part."""
    yield '<nav aria-label="Trays"><ul>'
    for number, tray in enumerate(trays):
        told = "; ".join(_alarms_in_words(seen) for seen in tray.seen)
        yield f'<li><a href="#tray-{number}">{escape(tray.tray)}</a>, {escape(tray.crop)}: {told}</li>'
    yield "</ul></nav>"


def _alarms_in_words(seen: Seen) -> str:
    count, stand = len(seen.picture.alarms), sum(one.stands for one in seen.picture.alarms)
    by = f" by {escape(seen.setting)}" if seen.setting else ""
    if not count:
        return f"no alarm{by}"
    words = f"{count} alarm{'s' if count > 1 else ''}{f', {stand} of them at the end' if stand else ''}{by}"
    return f'<span class="alarm">{words}</span>'


def _tray(number: int, tray: TrayReport) -> Iterator[str]:
    yield f'<section id="tray-{number}"><h2>{escape(tray.tray)}: {escape(tray.crop)}</h2>'
    yield "<div>" if len(tray.seen) == 1 else '<div class="beside">'
    for seen in tray.seen:
        yield '<div class="alone">' if len(tray.seen) == 1 else "<div>"
        if seen.setting:
            yield f"<h3>{escape(seen.setting)}</h3>"
        yield _region(seen.picture, "Picture")
        yield f"{_inline(seen.picture, _WIDTHS[min(len(tray.seen), 2)])}</div><div>"
        yield from _bands(seen)
        yield from _alarms(seen.picture)
        yield from _care(seen.picture)
        yield "</div></div>"
    yield "</div></section>"


def _inline(picture: Picture, width: int) -> str:
    return draw(picture, "svg", width).decode().replace(' xmlns="http://www.w3.org/2000/svg"', "", 1)


def _bands(seen: Seen) -> Iterator[str]:
    if not seen.bands:
        yield '<p class="soft">No band is set for this time.</p>'
        return
    head = ("quantity", "within", "beyond", "unknown", "longest beyond")
    yield from _table(
        seen.picture, "Time in the bands", head, [_band(name, one) for name, one in seen.bands.items()]
    )


def _band(quantity: str, one: Shares) -> tuple[str, ...]:
    judged_ms = one.within_ms + one.beyond_ms + one.unknown_ms
    words = QUANTITIES[quantity].words
    if not judged_ms:
        return words, "-", "-", "-", "-"
    times = (one.within_ms, one.beyond_ms, one.unknown_ms)
    longest = span_words(one.longest_ms) if one.longest_ms else "-"
    return words, *(_share(time_ms, judged_ms) for time_ms in times), longest


def _share(time_ms: int, judged_ms: int) -> str:
    """Return a share of time; what is neither none nor all is not shown as such."""
    pct = 100 * time_ms / judged_ms
    if 0 < pct < 0.1:
        return "under 0.1 %"
    return "over 99.9 %" if 99.9 < pct < 100 else f"{pct:.1f} %"


def _alarms(picture: Picture) -> Iterator[str]:
    if not picture.alarms:
        yield "<p>No alarm stood in this time.</p>"
        return
    rows = [
        (
            f"{one.alarm}: {QUANTITIES[one.quantity].words}" if one.quantity else one.alarm,
            one.priority,
            picture.tongue.moment(one.from_ms),
            "stands at the end" if one.stands else picture.tongue.moment(one.to_ms),
        )
        for one in picture.alarms
    ]
    yield from _table(picture, "Alarms", ("alarm", "priority", "raised", "returned"), rows)


def _care(picture: Picture) -> Iterator[str]:
    if picture.marks:
        rows = [(picture.tongue.moment(one.time_ms), one.words) for one in picture.marks]
        yield from _table(picture, "Care and stages", ("when", "what"), rows)


def _region(picture: Picture, name: str) -> str:
    """Return the beginning of a part that scrolls by keyboard, too, under a name that no other has."""
    return (
        f'<div class="wide" tabindex="0" role="region" aria-label="{escape(f"{name} of {picture.title}")}">'
    )


def _table(
    picture: Picture, caption: str, head: Sequence[str], rows: Sequence[Sequence[str]]
) -> Iterator[str]:
    yield f"{_region(picture, caption)}<table><caption>{escape(caption)}</caption><thead><tr>"
    yield "".join(f'<th scope="col">{escape(one)}</th>' for one in head)
    yield "</tr></thead><tbody>"
    for row in rows:
        cells = "".join(f"<td{_kind(one)}>{escape(one)}</td>" for one in row[1:])
        yield f'<tr><th scope="row">{escape(row[0])}</th>{cells}</tr>'
    yield "</tbody></table></div>"


def _kind(cell: str) -> str:
    return ' class="number"' if cell.endswith("%") else ""
