"""How the store is looked after: what is accepted, what is a mistake, and what holds without a word."""

from datetime import time

import pytest
from base_config import BASE, built

from wardian.daemon.config import Config
from wardian.daemon.config_store import DAY_MS
from wardian.rules.errors import BadConfig


def with_store(written: str) -> Config:
    lines = [line for line in BASE.splitlines() if not line.startswith("store:")]
    return built("\n".join([*lines, f'store: {{url: "sqlite:///wardian.db", {written}}}\n']))


def test_without_a_word_three_copies_are_kept_and_nothing_is_let_go() -> None:
    store = built(BASE).store
    assert (store.backup.at, store.backup.folder, store.backup.keep) == (time(3, 30), "backups", 3)
    assert (store.keep.readings, store.keep.rollups, store.keep.messages) == (None, None, None)


def test_copies_may_be_made_at_another_time_elsewhere_or_never() -> None:
    backup = with_store("backup: {at: 22:15, folder: /mnt/stick, keep: 10}").store.backup
    assert (backup.at, backup.folder, backup.keep) == (time(22, 15), "/mnt/stick", 10)
    assert with_store("backup: {at: never}").store.backup.at is None


def test_ages_may_be_longer_than_other_durations() -> None:
    keep = with_store("keep: {readings: 400 d, rollups: 3650 d, messages: 7 d}").store.keep
    assert (keep.readings, keep.rollups, keep.messages) == (400 * DAY_MS, 3650 * DAY_MS, 7 * DAY_MS)


@pytest.mark.parametrize(
    ("written", "problem"),
    [
        ("backup: {at: 25:00}", "store.backup.at: '25:00' is no time of the day"),
        ("backup: {at: sometimes}", "store.backup.at: 'sometimes' is no time of the day"),
        ("backup: {keep: 0}", "store.backup.keep: is 0; a whole number from 1 to 1000 is accepted"),
        ("backup: {keep: true}", "store.backup.keep: is true"),
        ("backup: {folder: 3}", "store.backup.folder: is 3"),
        ("backup: none", "store.backup: is the text 'none'"),
        ("keep: {readings: 29 d}", "store.keep.readings: '29 d' is too short or too long; 30 d to 36500 d"),
        ("keep: {messages: 6 d}", "store.keep.messages: '6 d' is too short or too long; 7 d to 36500 d"),
        ("keep: {readings: 24 °C}", "store.keep.readings: "),
        ("keep: {readings: true}", "store.keep.readings: is true"),
        ("keep: {rollups: 60 d}", "store.keep: keeps readings longer than what they came to"),
        ("keep: {readings: 61 d, rollups: 60 d}", "store.keep: keeps readings longer than"),
        ("keep: {journal: 60 d}", "store.keep.journal: is no known key"),
    ],
)
def test_what_cannot_be_meant_is_a_mistake_with_its_place(written: str, problem: str) -> None:
    with pytest.raises(BadConfig) as caught:
        with_store(written)
    assert problem in str(caught.value)
