"""Acts on stages at any instants, corrected and withdrawn, and the naive reading of what they make of the stages."""

from collections.abc import Iterable, Sequence

from hypothesis import strategies as st

from wardian.rules.records import STAGE, WITHDRAWN, Record, in_force
from wardian.rules.staging import ADVANCED, BY_DAY, HELD, SET_BACK

ACTS = (ADVANCED, ADVANCED, HELD, SET_BACK, BY_DAY)
#: Before anything.
ALWAYS_MS = -(10**15)


def act(event: str, time_ms: int, number: int = 1, *, recorded_ms: int | None = None) -> Record:
    """Return an act on a stage of tray-a."""
    recorded_ms = time_ms if recorded_ms is None else recorded_ms
    return Record(STAGE, time_ms, recorded_ms, "tray-a", fields={"event": event}, number=number)


def withdrawal(of: Record, recorded_ms: int, number: int) -> Record:
    """Return what withdraws a record."""
    return Record(WITHDRAWN, recorded_ms, recorded_ms, of.tray, corrects=of.number, number=number)


@st.composite
def act_records(
    draw: st.DrawFn, trays: Sequence[str], instants: Sequence[int], ago_ms: Sequence[int] = (0,)
) -> list[Record]:
    """Return records as a store has them: in order of recording, each about now or something before."""
    records: list[Record] = []
    times = sorted(draw(st.lists(st.sampled_from(instants), max_size=6)))
    for number, recorded_ms in enumerate(times, 1):
        held = [one for one in in_force(records) if one.kind == STAGE]
        corrects = draw(st.sampled_from([None, None, *held]))
        tray = corrects.tray if corrects else draw(st.sampled_from(trays))
        if corrects and draw(st.booleans()):
            records.append(withdrawal(corrects, recorded_ms, number))
            continue
        new = act(draw(st.sampled_from(ACTS)), recorded_ms - draw(st.sampled_from(ago_ms)), number)
        number_corrected = corrects.number if corrects else None
        records.append(new._replace(tray=tray, recorded_ms=recorded_ms, corrects=number_corrected))
    return records


def stage_by_ticks(begins: Sequence[int], records: Sequence[Record], tick: int) -> int | None:
    """Return the place of the stage that holds at a tick, by what was on record at that tick."""
    known = [one for one in records if one.recorded_ms <= tick]
    return _walk(begins, [one for one in in_force(known) if one.kind == STAGE], tick)


def _walk(begins: Sequence[int], acts: Iterable[Record], until: int) -> int | None:
    """Walk tick by tick: the stage's time runs out, or somebody does something about it."""
    place: int | None = None
    left: int | None = None
    waiting = list(acts)
    for tick in range(min(begins[0], *(one.time_ms for one in waiting), 0), until + 1):
        left = None if left is None else left - 1
        if tick == begins[0]:
            place, left = 0, _length(begins, 0)
        elif place is not None and left == 0:
            place, left = place + 1, _length(begins, place + 1)
        while waiting and waiting[0].time_ms == tick:
            place, left = _done(begins, waiting.pop(0).fields["event"], (place, left), tick)
    return place


def _done(
    begins: Sequence[int], event: str, at: tuple[int | None, int | None], tick: int
) -> tuple[int | None, int | None]:
    place, left = at
    if place is None:
        return place, left
    if event == HELD:
        return place, None
    if event == BY_DAY:
        now = max(number for number, begin in enumerate(begins) if begin <= tick)
        return now, begins[now + 1] - tick if now + 1 < len(begins) else None
    if event == ADVANCED and place + 1 < len(begins):
        return place + 1, _length(begins, place + 1)
    if event == SET_BACK and place > 0:
        return place - 1, None
    return place, left


def _length(begins: Sequence[int], place: int) -> int | None:
    return begins[place + 1] - begins[place] if place + 1 < len(begins) else None
