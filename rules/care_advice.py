"""What each task of a tray says to whoever does it: amounts, what to mind, and where that is from.

The rule of this file: what a crop says goes before what is usual; what is usual is common practice without source
unless a source stands beside it.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Final, NamedTuple

from wardian.rules.crops import Aim, Crop, Stage
from wardian.rules.evidence import Evidence, Figure, number, value

STICK: Final = "stick"
WEIGH: Final = "weigh"
MIST: Final = "mist"
AIR: Final = "air"
WATER: Final = "water"
FEED: Final = "feed"
CALLUS: Final = "callus"
ROOTS: Final = "roots"
TONE: Final = "tone"
POT: Final = "pot"
#: Each task, and what it is called.
TITLES: Final[Mapping[str, str]] = {
    STICK: "stick the cuttings",
    WEIGH: "weigh the full tray",
    MIST: "air and mist",
    AIR: "air",
    TONE: "open the cover for longer",
    WATER: "look at the water",
    FEED: "first weak feed",
    CALLUS: "look for callus",
    ROOTS: "look for roots",
    POT: "pot on",
}

CALLUSING: Final = "callusing"
ROOTING: Final = "rooting"
TONING: Final = "toning"

_PRACTICE: Final = "common practice, no source"
_OF_CROP: Final = f"the crop's own figures where it has any, else {_PRACTICE}"
_FAUST: Final = (
    "Faust, Dole & Lopez, The Floriculture Vegetative Cutting Industry, Horticultural Reviews 44, 2017"
)


class Usual(NamedTuple):
    """What is usual in a stage: mistings a day, nitrogen in the feed [mg/l], and water lost before watering [%]."""

    mistings: int
    feed_mg_l: Aim
    lost_pct: float


#: Mistings and what is lost: common practice, no source. Feed: 50 to 75 and 50 to 100 mg/l are published
#: (Faust, Dole & Lopez 2017); that of toning is from memory.
USUAL: Final[Mapping[str, Usual]] = {
    CALLUSING: Usual(3, Aim(50, 75), 33),
    ROOTING: Usual(2, Aim(50, 100), 50),
    TONING: Usual(0, Aim(100, 150), 50),
}
#: A crop that rots when it is kept wet waits as long from the start (from memory).
_DRY_LOST_PCT: Final = 50.0
_PH: Final = Aim(5.5, 6.0)
_EC_MS_CM: Final = Aim(0.5, 0.75)
_STICK_WITHIN_H: Final = 4.0
#: What a light misting brings to a tray [g], from memory.
_MIST_G: Final = (10.0, 40.0)
#: Mist so cold needs an hour or longer to be warmed (Michigan State University Extension, in Greenhouse Management).
_COLD_WATER_C: Final = 10.0
#: For how long the cover stays off, day by day of toning: 1 h, 3 h, half a day and all day over 5 to 7 days.
OPENINGS: Final = ("1 h", "1 h", "3 h", "3 h", "half the day", "the whole day", "the whole day")


class Advice(NamedTuple):
    """What a task says: a clause with figures, what to mind, and where both are from."""

    words: Evidence
    caution: Evidence = Evidence("")
    source: str = _PRACTICE


@dataclass(frozen=True, slots=True)
class Case:
    """For what a task is: the crop, its stage, what sort of stage that is, and the days since sticking and toning."""

    crop: Crop
    stage: Stage | None
    phase: str
    day: int
    toning_day: int = 0

    @property
    def usual(self) -> Usual:
        """What is usual in this stage."""
        return USUAL[self.phase]

    @property
    def is_fed(self) -> bool:
        """Whether its water carries feed: from the crop's day on, and not in a stage that wants none."""
        aim = self.stage.feed_mg_l if self.stage else None
        return self.day >= feed_day(self.crop) and (aim is None or aim.high != 0)

    def aim(self, quantity: str, usual: Aim) -> Aim:
        """Return what the crop wants of a quantity in this stage, else what is usual."""
        return self.stage.aims.get(quantity, usual) if self.stage else usual


def advice(task: str, case: Case) -> Advice:
    """Return what a task says in a case."""
    return _ADVICE[task](case)


def mistings_of(case: Case) -> int:
    """Return how many mistings a day this stage wants at most."""
    aim = case.stage.mistings if case.stage else None
    most = (aim.low if aim.high is None else aim.high) if aim else None
    return case.usual.mistings if most is None else round(most)


def _stick(case: Case) -> Advice:
    within_h = case.crop.stick_within_h or _STICK_WITHIN_H
    words = Evidence("stick within {} h of cutting, water in, close the cover", (number(within_h),))
    hormone = (
        "it will be eaten, and some rooting hormones must not be used on such plants: read the label, or stick without"
        if case.crop.is_eaten
        else "follow the label of the rooting hormone, with gloves and without dust"
    )
    blades = "keep alcohol for blades away from the humidity probe, which it spoils for good, and from heat"
    source = f"{_OF_CROP}; 4 h for tender crops: {_FAUST}; alcohol: a humidity probe's manual; the rest from memory"
    return Advice(words, Evidence(f"{hormone}; {blades}"), source)


def _weigh(_: Case) -> Advice:
    words = Evidence(
        "weigh it one hour after it was watered through, drained, cover on: that is its full mass"
    )
    return Advice(words)


def _mist(_: Case) -> Advice:
    grams = tuple(value("tray_mass", gram) for gram in _MIST_G)
    words = Evidence("lift the cover for 5 to 10 min, take out fallen leaves, mist lightly: {} to {}", grams)
    caution = Evidence(
        "mist neither plugs nor lamp nor probe; water of {} or colder chills the medium for an hour",
        (value("medium_temperature", _COLD_WATER_C),),
    )
    return Advice(
        words,
        caution,
        f"{_PRACTICE}; grams from memory; cold water: Michigan State University Extension in Greenhouse Management",
    )


def _air(_: Case) -> Advice:
    return Advice(Evidence("lift the cover for 10 min and wipe it; do not mist"))


def _tone(case: Case) -> Advice:
    hours = OPENINGS[case.toning_day]
    caution = "watch them through the first noon of each step, and cover them again if they wilt"
    return Advice(Evidence(f"leave the cover off for {hours}, without misting"), Evidence(caution))


def _water(case: Case) -> Advice:
    lost = case.aim("water_lost", Aim(high=_DRY_LOST_PCT if case.crop.is_dry else case.usual.lost_pct)).high
    given, figures = _what_water(case)
    words = Evidence(f"water when {{}} % of its water is gone, with {given}", (number(lost or 0), *figures))
    caution = "keep water off mains plugs, lamp and mat, which belong behind a residual-current device"
    return Advice(words, Evidence(caution), _OF_CROP)


def _what_water(case: Case) -> tuple[str, tuple[Figure, ...]]:
    ph, ph_figures = _range(case.aim("water_ph", _PH))
    if not case.is_fed:
        return f"plain water of pH {ph}", ph_figures
    ec, ec_figures = _range(case.aim("water_ec", _EC_MS_CM))
    aim = case.stage.feed_mg_l if case.stage else None
    feed, feed_figures = _range(aim or case.usual.feed_mg_l)
    words = f"weak feed: {feed} mg/l nitrogen, pH {ph}, EC {ec} mS/cm"
    return words, (*feed_figures, *ph_figures, *ec_figures)


def _range(aim: Aim) -> tuple[str, tuple[Figure, ...]]:
    figures = tuple(number(one) for one in aim if one is not None)
    words = ("any", "at most {}" if aim.low is None else "at least {}", "{} to {}")
    return words[len(figures)], figures


def _feed(case: Case) -> Advice:
    given, figures = _what_water(case)
    caution = "pour feed onto the medium and not onto leaves, least of all those of poinsettia"
    source = f"{_OF_CROP}; nitrogen, and none on leaves of poinsettia: {_FAUST}"
    return Advice(Evidence(f"from now on its water is {given}", figures), Evidence(caution), source)


def _callus(_: Case) -> Advice:
    return Advice(Evidence("lift out two or three cuttings: a swollen, pale base is callus; tug at none"))


def _roots(_: Case) -> Advice:
    return Advice(
        Evidence("tug gently at five to ten cuttings, or one in twenty, and put on record what you find")
    )


def _pot(_: Case) -> Advice:
    return Advice(Evidence("pot on what stands a whole day uncovered and holds its plug; count what rooted"))


_ADVICE: Final[Mapping[str, Callable[[Case], Advice]]] = {
    STICK: _stick,
    WEIGH: _weigh,
    MIST: _mist,
    AIR: _air,
    TONE: _tone,
    WATER: _water,
    FEED: _feed,
    CALLUS: _callus,
    ROOTS: _roots,
    POT: _pot,
}

#: Days after sticking where a crop says none: common practice, no source.
_FEED_DAY: Final = 7
_ROOTS_DAYS: Final = (10, 14)
_POT_DAY: Final = 21


def feed_day(crop: Crop) -> int:
    """Return the day after sticking from which water carries weak feed."""
    return _FEED_DAY if crop.feed_day is None else crop.feed_day


def roots_days(crop: Crop) -> tuple[int, int]:
    """Return the day of the first look for roots and the last one on which they are looked for."""
    first, last = crop.roots_days or _ROOTS_DAYS
    return first, max(last if crop.due_day is None else crop.due_day, first)


def pot_day(crop: Crop) -> int:
    """Return the day after sticking on which it is usually potted on."""
    usual = _POT_DAY if crop.roots_days is None else max(_POT_DAY, crop.roots_days[1] + 7)
    return usual if crop.pot_day is None else crop.pot_day
