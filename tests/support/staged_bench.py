"""A loop whose one tray goes by what is put on record of its stages, minute by minute, and may be cut off anywhere."""

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, cast

from loop_rig import BEGIN_MS, MINUTE_MS, FlakyStore, Rig
from staged_acts import ALWAYS_MS

from wardian.rules.crops import Band, Limit, Stage, StageSpan
from wardian.rules.observing.tending import StageOverdue
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Store
from wardian.rules.records import STAGE, Record
from wardian.rules.staging import HELD_FOR, STAGE_OVERDUE, staged

if TYPE_CHECKING:
    from wardian.daemon.loop import Loop

WHO = "the teacher"


def _stage(name: str, high: float) -> Stage:
    limit = Limit("high", high, high - 0.5, 2 * MINUTE_MS, MINUTE_MS)
    return Stage(name, 0, {"air_temperature": Band("air_temperature", (limit,))})


def minute_ms(minute: float) -> int:
    """Return the instant of a minute of the rig."""
    return BEGIN_MS + round(minute * MINUTE_MS)


#: Each stage bears a degree more; the last one is over after an hour.
BY_DAY = TrayPlan(
    "tray-a",
    (
        StageSpan(minute_ms(-1440), _stage("callusing", 24.0)),
        StageSpan(minute_ms(20), _stage("rooting", 25.0)),
        StageSpan(minute_ms(40), _stage("toning", 26.0)),
    ),
    5 * MINUTE_MS,
    overdue_ms=minute_ms(50),
    figures={STAGE_OVERDUE: {HELD_FOR: 10.0 * MINUTE_MS}},
)


class StagedRig(Rig):
    """A rig that plans its tray by the records there are."""

    loop: "Loop"

    def __init__(self, store: Store, begun_minutes: float = 0) -> None:
        present = staged(BY_DAY, store.records(), ALWAYS_MS)
        super().__init__(cast("FlakyStore", store), present, begun_minutes=begun_minutes)
        watched = self.loop.observer.trays["tray-a"].conditions
        assert [type(one) for one in watched] == [StageOverdue]

    def _replan(self, tray: str, records: Sequence[Record]) -> None:
        self.loop.replan(staged(BY_DAY, records, ALWAYS_MS), records)


def put_down(store: Store, minute: float, event: str, **changes: Any) -> Record:
    """Put an act on record at a minute."""
    fields = {"event": event, "stage": "some stage"}
    record = Record(STAGE, minute_ms(minute), minute_ms(minute), "tray-a", who=WHO, fields=fields)
    (put,) = store.record(lambda _: [record._replace(**changes)])
    return put


def told(store: Store) -> list[tuple[Any, ...]]:
    """Return the journal: when, what, and since when, or which record."""
    return [
        (
            (entry.time_ms - BEGIN_MS) / MINUTE_MS,
            entry.fields["event"],
            entry.fields["condition"],
            entry.fields.get("record", entry.fields["since"]),
        )
        for entry in store.journal()
    ]
