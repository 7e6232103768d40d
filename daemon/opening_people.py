"""The people of a configuration, ready to be told: with what was told before, and with what stands by now."""

from collections.abc import Mapping, Sequence
from datetime import date
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from wardian.daemon.config import Config
from wardian.daemon.lives import Lives, alarm_of
from wardian.daemon.loop import TELLING_NOTE
from wardian.daemon.people import people_of
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import Tongue
from wardian.daemon.words import Teller
from wardian.rules.ports import Store

if TYPE_CHECKING:
    from wardian.daemon.care_reminders import CareReminders
    from wardian.daemon.care_seen_noted import KnownCare
    from wardian.daemon.care_today import TrayCare


def open_telling(
    config: Config, channels: Sequence[str], store: Store, lives: Lives, words: Teller
) -> Telling:
    """Return what people are told, brought up to date with the alarms."""
    people = people_of(config.people, channels, config.site.zone)
    telling = Telling(people, Tongue.of(config.site).moment, state=store.notes().get(TELLING_NOTE))
    # What became of alarms while nobody was to be told, or by another configuration, is learned now.
    listed = {alarm_of(fields) for fields in lives.listed()}
    for alarm in sorted(telling.alarms() | listed):
        fields = lives.of(alarm).fields
        telling.hear(fields, words.message(fields))
    return telling


def open_care_reminders(
    config: Config, channels: Sequence[str], notes: Mapping[str, Any], care: "KnownCare"
) -> "CareReminders":
    """Return what reminds people of care, going on from what they were told."""
    from wardian.daemon.care_reminders import NOTE, CareReminders
    from wardian.daemon.care_seen_noted import seen_in
    from wardian.daemon.care_today import Known, by_tray, care_of, today

    keys = [person for person in config.people if person.care]
    people = people_of(keys, channels, config.site.zone)
    # Records are only ever added: as long as there are as many, they are the same.
    in_force = lru_cache(maxsize=1)(lambda _count: by_tray(care.records()))

    def plan(now_ms: int) -> tuple[date, Sequence["TrayCare"]]:
        plans = {name: tray.plan for name, tray in care.observer.trays.items()}
        known = Known(plans, in_force(len(care.records())), seen_in(care.observer))
        day = today(now_ms, config.site.zone)
        return day, care_of(config, known, day)

    reminders = CareReminders(people, plan, Tongue.of(config.site), notes.get(NOTE, {}))
    reminders.is_ready = care.is_ready
    return reminders
