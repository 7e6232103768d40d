"""Light that was seen, and bounds for what was not: hours lit and photons of the trailing 24 h.

The rule of this file: time nobody measured is neither lit nor dark. It is added where too little
light is in question and left out where too much is.
"""

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from wardian.rules.judging import Stand, Stretch, verdict_runs
from wardian.rules.plans import LampRule
from wardian.rules.readings import Times, Values

#: The window of both sums, in elapsed time.
DAY_MS: Final = 86_400_000
MS_PER_HOUR: Final = 3_600_000
#: µmol m⁻² s⁻¹ times ms, to mol m⁻².
PHOTON_MS_PER_MOL: Final = 1e9


class LitTime:
    """How long the lamp was lit, and how long that is known, up to any instant of the last day.

    Remembered as runs of one verdict: from, to, lit, and the lit and known time before them [ms].
    """

    def __init__(self, lamp: LampRule, hold_ms: int, runs: list[list[int]] | None = None) -> None:
        """Begin dark, or go on from remembered runs."""
        self._lamp = lamp
        self._hold_ms = hold_ms
        self._runs = np.array(runs or [], dtype=np.int64).reshape(-1, 5)

    def remembered(self) -> list[list[int]]:
        """Return the runs that still matter, as plain numbers."""
        rows: list[list[int]] = self._runs.tolist()
        return rows

    def hours(self, readings: Stretch) -> Stretch:
        """Return light hours at each light reading: seen and unseen for ``low``, seen for ``high``.

        Shape:
            One value a reading; each stands as long as its reading.
        """
        self._remember(readings)
        times = readings.from_ms
        lit, known = self._up_to(times)
        lit_before, known_before = self._up_to(times - DAY_MS)
        seen_ms = lit - lit_before
        unseen_ms = DAY_MS - (known - known_before)
        self._forget(int(times[-1]) - DAY_MS)
        return Stretch(times, readings.until_ms, (seen_ms + unseen_ms) / MS_PER_HOUR, seen_ms / MS_PER_HOUR)

    def hours_if_unchanged(self, light: Stand) -> Stand | None:
        """Return light hours at one reading if the present run goes on with it, else None.

        Nothing is remembered of it before ``extend``.
        """
        if not len(self._runs):
            return None
        run: list[int] = self._runs[-1].tolist()
        value, time_ms = light.for_high, light.from_ms
        is_lit = value > self._lamp.lit_above or (bool(run[2]) and value > self._lamp.dark_at)
        if is_lit != bool(run[2]) or time_ms > run[1]:
            return None
        begin_ms = time_ms - DAY_MS
        place = max(int(self._runs[:, 0].searchsorted(begin_ms, side="right")) - 1, 0)
        first: list[int] = self._runs[place].tolist()
        into_first = min(max(begin_ms - first[0], 0), first[1] - first[0])
        into_run = time_ms - run[0]
        seen_ms = run[3] + into_run * run[2] - first[3] - into_first * first[2]
        unseen_ms = DAY_MS - (run[4] + into_run - first[4] - into_first)
        return Stand(time_ms, light.until_ms, (seen_ms + unseen_ms) / MS_PER_HOUR, seen_ms / MS_PER_HOUR)

    def extend(self, until_ms: int) -> None:
        """Let the present run go on until an instant."""
        self._runs[-1, 1] = until_ms

    def _remember(self, readings: Stretch) -> None:
        runs = self._runs
        was_lit = bool(len(runs) and runs[-1, 2])
        times, until = readings.from_ms, readings.from_ms + self._hold_ms
        thresholds = (self._lamp.lit_above, self._lamp.dark_at)
        first, lit = verdict_runs(readings.for_high, until[:-1] < times[1:], thresholds, former=was_lit)
        last = np.append(first[1:], len(times)) - 1
        from_ms = times[first]
        to_ms = np.minimum(until[last], np.append(from_ms[1:], until[-1]))
        if len(runs) and runs[-1, 1] >= from_ms[0] and was_lit == bool(lit[0]):
            from_ms[0] = runs[-1, 0]
            runs = runs[:-1]
        elif len(runs):
            runs[-1, 1] = min(runs[-1, 1], from_ms[0])
        new = np.column_stack((from_ms, to_ms, lit, from_ms, from_ms))
        self._runs = _with_sums(np.concatenate((runs, new)), kept=len(runs))

    def _up_to(self, instants: Times) -> tuple[Values, Values]:
        """Return the lit and the known time before each instant; whole milliseconds, so exact."""
        from_ms, to_ms, lit, lit_before, known_before = self._runs.T
        length = to_ms - from_ms
        edges = self._runs[:, :2].ravel()
        lit_at = np.column_stack((lit_before, lit_before + lit * length)).ravel()
        known_at = np.column_stack((known_before, known_before + length)).ravel()
        return np.interp(instants, edges, lit_at), np.interp(instants, edges, known_at)

    def _forget(self, before_ms: int) -> None:
        self._runs = self._runs[int((self._runs[:, 1] < before_ms).sum()) :].copy()


def _with_sums(runs: NDArray[np.int64], *, kept: int) -> NDArray[np.int64]:
    """Fill in lit and known time before each run; those of the first ``kept`` runs stay."""
    known = runs[:, 1] - runs[:, 0]
    lit = known * runs[:, 2]
    for column, length in ((3, lit), (4, known)):
        begin = max(kept - 1, 0)
        start = runs[begin, column] if kept else 0
        runs[begin:, column] = start + np.concatenate(([0], np.cumsum(length[begin:-1])))
    return runs


class PhotonSum:
    """The daily light integral: photons that were measured, and a bound for those that were not.

    Remembered for each reading of the last day: time, value, and the sum and known time before it.
    """

    def __init__(self, hold_ms: int, rows: list[list[float]] | None = None) -> None:
        """Begin with nothing seen, or go on from remembered rows."""
        self._hold_ms = hold_ms
        columns = np.array(rows or [], dtype=np.float64).reshape(-1, 4)
        self._times: Times = columns[:, 0].astype(np.int64)
        self._values: Values = columns[:, 1]
        self._sums: Values = columns[:, 2]
        self._known: Times = columns[:, 3].astype(np.int64)

    def remembered(self) -> list[list[Any]]:
        """Return the rows that still matter, as plain numbers."""
        columns = (self._times, self._values, self._sums, self._known)
        return [list(row) for row in zip(*(column.tolist() for column in columns), strict=True)]

    def integrals(self, readings: Stretch) -> Stretch:
        """Return the daily light integral at each PPFD reading [mol m⁻² d⁻¹].

        ``for_high`` is what was measured; ``for_low`` fills unseen time with the highest value that
        stood in the window.

        Source:
            Mean photon flux density times seconds lit, divided by 10⁶: definition, ANSI/ASABE S640
            (from memory).
        """
        self._remember(readings)
        times, since = readings.from_ms, readings.from_ms - DAY_MS
        sums, known = self._up_to(times)
        sums_before, known_before = self._up_to(since)
        seen = sums - sums_before
        unseen_ms = DAY_MS - (known - known_before)
        filled = seen + unseen_ms * self._highest(since, times)
        self._forget(int(times[-1]) - DAY_MS)
        return Stretch(times, readings.until_ms, filled / PHOTON_MS_PER_MOL, seen / PHOTON_MS_PER_MOL)

    def _remember(self, readings: Stretch) -> None:
        kept = len(self._times)
        times = np.concatenate((self._times, readings.from_ms))
        values = np.concatenate((self._values, readings.for_high))
        begin = max(kept - 1, 0)
        stood_ms = np.minimum(np.diff(times[begin:]), self._hold_ms)
        sums_from = self._sums[begin] if kept else 0.0
        known_from = self._known[begin] if kept else 0
        # A plain running sum, so that pieces of any size give the same bits.
        sums = np.cumsum(np.concatenate(([sums_from], values[begin:-1] * stood_ms)))
        known = np.cumsum(np.concatenate(([known_from], stood_ms)))
        self._times, self._values = times, values
        self._sums = np.concatenate((self._sums[:begin], sums))
        self._known = np.concatenate((self._known[:begin], known))

    def _up_to(self, instants: Times) -> tuple[Values, Times]:
        place = np.maximum(self._times.searchsorted(instants, side="right") - 1, 0)
        next_ms = np.append(self._times[1:], self._times[-1] + self._hold_ms)
        stands_ms = np.minimum(next_ms[place] - self._times[place], self._hold_ms)
        into = np.clip(instants - self._times[place], 0, stands_ms)
        return self._sums[place] + self._values[place] * into, self._known[place] + into

    def _highest(self, since: Times, until: Times) -> Values:
        """Return the highest value standing after each ``since``, up to and with each ``until``."""
        last = self._times.searchsorted(until, side="right") - 1
        first = np.maximum(self._times.searchsorted(since, side="right") - 1, 0)
        ended = self._times[first] + self._hold_ms <= since
        return highest_between(self._values, first + ended, last)

    def _forget(self, before_ms: int) -> None:
        first = max(int(self._times.searchsorted(before_ms, side="right")) - 1, 0)
        self._times, self._values = self._times[first:].copy(), self._values[first:].copy()
        self._sums, self._known = self._sums[first:].copy(), self._known[first:].copy()


def highest_between(values: Values, first: NDArray[np.intp], last: NDArray[np.intp]) -> Values:
    """Return the highest of values[first..last] for each pair of places, both included.

    Spans of powers of two are compared once each, so a week costs as little as an hour.
    """
    lengths = last - first + 1
    result = np.empty(len(first), dtype=np.float64)
    spans = values
    width = 1
    while True:
        fits = (lengths >= width) & (lengths < 2 * width)
        result[fits] = np.maximum(spans[first[fits]], spans[last[fits] - width + 1])
        if width * 2 > int(lengths.max(initial=1)):
            return result
        spans = np.maximum(spans[:-width], spans[width:])
        width *= 2


def standing(stretch: Stretch, before: Stand | None) -> Stand | None:
    """Return the value that stands after a stretch: its last, or the former one."""
    return stretch.last() if len(stretch.from_ms) else before
