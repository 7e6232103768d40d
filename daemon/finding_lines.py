"""What may be behind a batch that did poorly, as plain lines: in full for a page, and short for a message.

The rule of this file: a finding is told as likely or possible, never as proven.
"""

from collections.abc import Iterator, Mapping
from typing import Final

from wardian.daemon.finding_words import FindingWords
from wardian.daemon.postmortem import Explained
from wardian.daemon.tongue import Tongue
from wardian.rules.postmortem.findings import Finding
from wardian.rules.postmortem.harm import NOTHING, UNSEEN

Words = Mapping[str, FindingWords]
#: So many findings are told where there is little room.
SHORT: Final = 3


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
