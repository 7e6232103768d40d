from collections.abc import Iterable

from told_people import MINUTE_MS

from wardian.daemon.lives import Lives
from wardian.daemon.strangers import FORGOTTEN_MS, MOST, NOTE, WRITTEN_EVERY_MS, Strangers, listed
from wardian.rules.ports import Refused, Stranger

LIVES = Lives({})


class Told:
    """Remembers what was told."""

    def __init__(self) -> None:
        self.words: list[str] = []

    def __call__(self, name: str, words: str) -> None:
        assert name == "unknown-sensor"
        self.words.append(words)


def strangers(*trays: str) -> list[Refused]:
    return [Stranger(f"probes {tray}", f"unknown tray {tray!r}; known: tray-a", "21") for tray in trays]


def round_of(part: Strangers, refused: Iterable[Refused], now_ms: int) -> dict[str, int] | None:
    part.hear(refused, now_ms)
    note: dict[str, int] | None = part.work(now_ms, LIVES).notes.get(NOTE)
    return note


def test_each_is_told_when_it_is_new_and_written_down_with_when_it_was_last_heard() -> None:
    told = Told()
    part = Strangers({}, told)
    x, y = "probes x: unknown tray 'x'", "probes y: unknown tray 'y'"
    assert round_of(part, strangers("x", "x"), 0) == {x: 0}
    assert round_of(part, strangers("x"), MINUTE_MS) is None
    assert round_of(part, strangers("y"), 2 * MINUTE_MS) == {x: MINUTE_MS, y: 2 * MINUTE_MS}
    assert round_of(part, strangers("x"), 2 * MINUTE_MS + WRITTEN_EVERY_MS) == {
        y: 2 * MINUTE_MS,
        x: 2 * MINUTE_MS + WRITTEN_EVERY_MS,
    }
    assert told.words == [f"{x}.", f"{y}."]


def test_a_known_sensor_that_says_rubbish_is_no_stranger() -> None:
    part = Strangers({}, Told())
    assert round_of(part, [Refused("probes", "is not a plain number", "x", 0, "tray-a", "ppfd")], 0) is None


def test_what_an_earlier_run_knew_is_not_new() -> None:
    told = Told()
    note = round_of(Strangers({}, Told()), strangers("x"), 0)
    part = Strangers({NOTE: note}, told)
    assert round_of(part, strangers("x"), WRITTEN_EVERY_MS) == {
        "probes x: unknown tray 'x'": WRITTEN_EVERY_MS
    }
    assert told.words == []


def test_who_makes_names_up_fills_the_list_and_no_more_and_is_told_in_one_line() -> None:
    told = Told()
    part = Strangers({}, told)
    note = round_of(part, strangers(*(f"{number:0500}" for number in range(5000))), 0)
    assert note is not None
    assert len(note) <= MOST
    assert all(len(name) < 200 for name in note)
    note = round_of(part, strangers(*map(str, range(500))), 1)
    assert note is not None
    assert len(note) == MOST
    assert max(map(len, told.words)) < 500
    assert told.words[-1].endswith(" and 97 more.")


def test_who_was_not_heard_for_a_week_is_forgotten_and_new_when_it_comes_back() -> None:
    told = Told()
    part = Strangers({}, told)
    round_of(part, strangers("x"), 0)
    assert round_of(part, strangers("y"), FORGOTTEN_MS) == {"probes y: unknown tray 'y'": FORGOTTEN_MS}
    round_of(part, strangers("x"), FORGOTTEN_MS + 1)
    assert len(told.words) == 3


def test_a_clock_that_was_put_back_holds_no_news_back() -> None:
    part = Strangers({}, Told())
    round_of(part, strangers("x"), FORGOTTEN_MS)
    assert round_of(part, strangers("x"), 5) == {"probes x: unknown tray 'x'": 5}


def test_names_are_listed_shortly() -> None:
    assert listed(["a"]) == "a"
    assert listed("abc") == "a; b; c"
    assert listed("abcde") == "a; b; c and 2 more"
