"""The people of a configuration, ready to be told: with what was told before, and with what stands by now."""

from collections.abc import Sequence

from wardian.daemon.config import Config
from wardian.daemon.lives import Lives, alarm_of
from wardian.daemon.loop import TELLING_NOTE
from wardian.daemon.people import people_of
from wardian.daemon.telling import Telling
from wardian.daemon.tongue import Tongue
from wardian.daemon.words import Teller
from wardian.rules.ports import Store


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
