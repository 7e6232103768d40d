"""What trays weigh full and dry by what people, and the daemon itself, put on record.

The rule of this file: a weighing that would leave a tray lighter full than dry is refused before anything is put down.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.config_masses import not_below
from wardian.rules.crops import day_start_ms
from wardian.rules.plans import Masses, TrayPlan
from wardian.rules.records import MASSES, WITHDRAWN, Record, in_force, of_tray

SATURATED: Final = "saturated_g"
DRY: Final = "dry_g"
#: Who puts down what the daemon saw by itself.
BY_ITSELF: Final = "wardian"


def with_masses(plan: TrayPlan, _tray: TraySettings, records: Sequence[Record]) -> TrayPlan:
    """Return a plan with what records say that the tray weighs, each from when it was weighed."""
    weighed = [one for _, one in weighings(plan.masses, records) if one and one.dry_g < one.saturated_g]
    return replace(plan, masses=(*plan.masses, *weighed)) if weighed else plan


def refuse_impossible(config: Config, tray: TraySettings, records: Sequence[Record]) -> None:
    """Refuse records of which those that hold let a tray weigh less full than dry, or leave one of the two open.

    Raises:
        ValueError: They do.
    """
    own = of_tray(in_force(records), tray.name, day_start_ms(tray.stuck, config.site.zone))
    for record, masses in weighings(tray.plan.masses, own):
        if masses is None:
            missing = "dry" if SATURATED in record.fields else "saturated"
            raise ValueError(f"nobody said what {tray.name} weighs {missing}; say that with it: --{missing}")
        if not masses.dry_g < masses.saturated_g:
            raise ValueError(not_below(masses))


def refuse_masses_withdrawal(config: Config, record: Record, known: Sequence[Record]) -> None:
    """Refuse to withdraw a weighing without which the others cannot be.

    Raises:
        ValueError: They cannot.
    """
    gone = record._replace(kind=WITHDRAWN, corrects=record.number, number=len(known) + 1)
    for tray in config.trays:
        if tray.name == record.tray:
            refuse_impossible(config, tray, [*known, gone])


def weighings(written: Sequence[Masses], records: Iterable[Record]) -> Iterator[tuple[Record, Masses | None]]:
    """Yield each record of a weighing with what holds from then on; what it leaves open is as before, None where nobody said."""
    known: Mapping[str, Any] = {}
    is_estimated = False
    for one in written:
        known, is_estimated = {SATURATED: one.saturated_g, DRY: one.dry_g}, one.is_estimated
    for record in records:
        if record.kind != MASSES:
            continue
        known = {**known, **{name: record.fields[name] for name in (SATURATED, DRY) if name in record.fields}}
        is_estimated = is_estimated and DRY not in record.fields
        whole = len(known) == 2
        yield record, Masses(record.time_ms, known[SATURATED], known[DRY], is_estimated) if whole else None
