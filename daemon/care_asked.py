"""Care that somebody says was given, by command or from afar: which trays are meant, and the records of it."""

from collections.abc import Mapping, Sequence
from typing import Final

from wardian.daemon.config import Config
from wardian.daemon.putting import Said, corrected, record_of, tray_named
from wardian.rules.amounts import Written
from wardian.rules.care_given import care_fields
from wardian.rules.records import CARE, Record

#: This means every tray, unless one is named so.
ALL: Final = "all"


def trays_named(config: Config, text: str) -> list[str]:
    """Return the trays that a text names: one, several with commas, or ``all``.

    Raises:
        ValueError: One of them is none.
    """
    names = [tray.name for tray in config.trays]
    if text == ALL and ALL not in names:
        return names
    return list(dict.fromkeys(tray_named(config, part.strip()).name for part in text.split(",")))


def care_records(
    trays: Sequence[str],
    event: str,
    amounts: Mapping[str, Written],
    said: Said,
    now: tuple[Sequence[Record], int],
) -> list[Record]:
    """Return the records of care given to some trays, in the light of all records and of what time it is.

    Raises:
        ValueError: It cannot be meant.
    """
    known, now_ms = now
    fields = care_fields(event, amounts)
    record = record_of(CARE, said, now_ms)
    if said.corrects is not None:
        before = corrected(known, said.corrects, CARE)
        if list(trays) != [before.tray]:
            raise ValueError(
                f"record {before.number} is about {before.tray}; name that tray alone to correct it"
            )
        if said.at_ms is None:
            record = record._replace(time_ms=before.time_ms)
    return [record._replace(tray=tray, fields=fields) for tray in trays]
