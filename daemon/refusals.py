"""How much of what is refused is written down one by one, so that rubbish does not wear out a card.

The rule of this file: nothing is passed over in silence; what is only counted is told as a number within minutes.
"""

from collections import Counter
from collections.abc import Iterable
from typing import Final

from wardian.rules.ports import Refused

#: Refused readings kept one by one in a minute: of one sensor, and of all together (as many as 40 sensors measure
#: in that time, each every ten seconds).
EACH_A_MINUTE: Final = 60
ALL_A_MINUTE: Final = 240
#: Of so many places it is told how much more came; what came elsewhere is told in one sum.
PLACES_TOLD: Final = 20
ELSEWHERE: Final = "elsewhere"
_MINUTE_S: Final = 60.0


class Refusals:
    """Keeps the first of each place and each minute, and counts the others."""

    def __init__(self, now_s: float) -> None:
        """Begin a minute; ``now_s`` is of a clock that never goes back."""
        self._begun_s = now_s
        self._kept: Counter[tuple[str, str | None, str | None]] = Counter()
        self._all_kept = 0
        self._counted: Counter[str] = Counter()

    def to_keep(self, refused: Iterable[Refused], now_s: float) -> list[Refused]:
        """Return what is to be kept of some refused readings, and how many more came in a minute that is over."""
        kept = self._begin_anew(now_s) if now_s - self._begun_s >= _MINUTE_S else []
        for one in refused:
            place = (one.source, one.tray, one.quantity)
            if self._all_kept < ALL_A_MINUTE and self._kept[place] < EACH_A_MINUTE:
                self._kept[place] += 1
                self._all_kept += 1
                kept.append(one)
            else:
                is_told = one.source in self._counted or len(self._counted) < PLACES_TOLD
                self._counted[one.source if is_told else ELSEWHERE] += 1
        return kept

    def _begin_anew(self, now_s: float) -> list[Refused]:
        sums = [
            Refused(source, f"{number} more were refused within a minute and only counted", "")
            for source, number in self._counted.items()
        ]
        self._begun_s, self._all_kept = now_s, 0
        self._kept.clear()
        self._counted.clear()
        return sums
