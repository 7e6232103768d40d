"""How each tray is meant to be now: what its configuration says, and what people put on record since.

The rule of this file: a plan is made of the configuration's plan and of the records that hold, each time anew; records
from before the cuttings went in belong to an earlier batch and change nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import Final

from wardian.daemon.config import Config, TraySettings
from wardian.rules.care_given import cares_of, rot_seen_ms
from wardian.rules.crops import day_start_ms
from wardian.rules.plans import TrayPlan
from wardian.rules.records import Record, in_force, of_tray
from wardian.rules.staging import staged

#: Changes a plan of a tray by the records of its present batch, in the order in which things happened.
Change = Callable[[TrayPlan, TraySettings, Sequence[Record]], TrayPlan]


def _with_rot(plan: TrayPlan, _tray: TraySettings, own: Sequence[Record]) -> TrayPlan:
    """Let a plan know since when mould or rot is known of that no later look found gone."""
    return replace(plan, rot_seen_ms=rot_seen_ms(cares_of(own)))


#: One after the other.
CHANGES: Final[Sequence[Change]] = (_with_rot,)


def plan_of(tray: TraySettings, records: Sequence[Record], zone: tzinfo) -> TrayPlan:
    """Return how a tray is meant to be by the records there are, corrected ones included."""
    since_ms = day_start_ms(tray.stuck, zone)
    own = of_tray(in_force(records), tray.name, since_ms)
    # Stages need also what was corrected: it held until then.
    plan = staged(tray.plan, records, since_ms)
    for change in CHANGES:
        plan = change(plan, tray, own)
    return plan


def with_records(config: Config, records: Sequence[Record]) -> Config:
    """Return a configuration whose trays are planned by the records, too."""
    trays = (replace(tray, plan=plan_of(tray, records, config.site.zone)) for tray in config.trays)
    return replace(config, trays=tuple(trays))
