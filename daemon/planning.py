"""How each tray is meant to be now: what its configuration says, and what people put on record since.

The rule of this file: a plan is made of the configuration's plan and of the records that hold, each time anew; records
from before the cuttings went in belong to an earlier batch and change nothing.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import tzinfo
from typing import Final

from wardian.daemon.config import Config, TraySettings
from wardian.daemon.weighing import with_masses
from wardian.rules.batches import ROOTED
from wardian.rules.care_given import cares_of, found_roots_ms, rot_seen_ms
from wardian.rules.crops import day_start_ms
from wardian.rules.plans import TrayPlan
from wardian.rules.records import BATCH, CLOSED, SCORES, Record, in_force, of_tray
from wardian.rules.staging import staged

#: Changes a plan of a tray by the records of its present batch, in the order in which things happened.
Change = Callable[[TrayPlan, TraySettings, Sequence[Record]], TrayPlan]


def _by_batch(plan: TrayPlan, _tray: TraySettings, own: Sequence[Record]) -> TrayPlan:
    """Expect no roots any more once some were seen, and nothing at all of a batch that is closed."""
    due_ms, overdue_ms = plan.due_ms, plan.overdue_ms
    for record in own:
        if record.kind == BATCH:
            due_ms, overdue_ms = plan.due_ms, plan.overdue_ms
        elif record.kind == SCORES and any(record.fields["counts"][ROOTED:]):
            due_ms = None
        elif record.kind == CLOSED:
            due_ms = overdue_ms = None
    return replace(plan, due_ms=due_ms, overdue_ms=overdue_ms)


def _by_looks(plan: TrayPlan, _tray: TraySettings, own: Sequence[Record]) -> TrayPlan:
    """Know of mould or rot that no later look found gone, and expect no roots where a look found them."""
    begun = max((place for place, record in enumerate(own) if record.kind == BATCH), default=0)
    looks = cares_of(own[begun:])
    due_ms = plan.due_ms if found_roots_ms(looks) is None else None
    return replace(plan, due_ms=due_ms, rot_seen_ms=rot_seen_ms(looks))


#: One after the other.
CHANGES: Final[Sequence[Change]] = (_by_batch, _by_looks, with_masses)


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
