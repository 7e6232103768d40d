"""The round: what arrived is judged and kept, then its sources and the outbox are told.

The rule of this file: a source hears "received" only after the commit, and a commit that failed is
tried again with everything in it; its messages leave from memory meanwhile. The loop waits for no network.
"""

import logging
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from typing import TYPE_CHECKING, Any, Final

from wardian.daemon.arrivals import Queue
from wardian.daemon.chronicle import Chronicle
from wardian.daemon.failing_store import FailingStore
from wardian.daemon.guarded import Guard, Slips
from wardian.daemon.intake import Intake, doubted
from wardian.daemon.lives import Lives, announcements
from wardian.daemon.progress import Progress
from wardian.daemon.recording import remembered_cares
from wardian.daemon.refusals import Refusals
from wardian.daemon.unkept import Unkept
from wardian.daemon.words import Teller
from wardian.rules.engine import Engine
from wardian.rules.errors import StoreFailed
from wardian.rules.life import Impossible
from wardian.rules.observing.minutes import KEPT, MINUTE_MS
from wardian.rules.observing.observer import Observer
from wardian.rules.plans import TrayPlan
from wardian.rules.ports import Arrival, Clock, Refused, Round, Sensor, Store
from wardian.rules.readings import Reading
from wardian.rules.records import Record
from wardian.rules.transitions import WATCH, Transition

if TYPE_CHECKING:
    from wardian.daemon.beside import Beside
    from wardian.daemon.telling import Telling

log = logging.getLogger(__name__)

#: Arrivals in one round, so that a long backlog is kept piece by piece.
ROUND_ARRIVALS: Final = 2_000
#: How often all that the engine remembers is saved; in between it is brought up to date from readings.
STATE_EVERY_MS: Final = 3_600_000
#: So much is read at once of what was kept: more would need much memory for a moment.
READ_AT_ONCE_MS: Final = 6 * 3_600_000
#: The name under which it is kept what people were told.
TELLING_NOTE: Final = "telling"
#: And since when minutes follow each other, as no clock was set.
UNBROKEN_NOTE: Final = "unbroken"
BACKLOG_MS: Final = 60_000
QUIET_S: Final = 5.0
#: The longest that judgement waits for a wire that does not work, and for a backlog, in our own time.
DEAF_PATIENCE_S: Final = 60.0
BACKLOG_PATIENCE_S: Final = 900.0


class Loop:
    """One consumer of one queue."""

    def __init__(
        self, engine: Engine, store: Store, teller: Teller, settle_ms: Mapping[str, int], clock: Clock
    ) -> None:
        """Judge with this engine, keep in this store, tell in these words."""
        self.queue = Queue()
        self.engine = engine
        self._store = store
        self._teller = teller
        self._settle_ms = settle_ms
        self._clock = clock
        #: What is done while the store keeps nothing.
        self.failing = FailingStore(store, clock)
        #: Keeps an error that nobody foresaw from ending the watch.
        self.guard = Guard(Slips(self.failing.happened), clock)
        self.intake = Intake(settle_ms, self.guard.slips)
        self._refusals = Refusals(clock.monotonic_s())
        self._unkept = Unkept()
        self._saved_ms = 0
        self._began_s = self._quiet_since_s = clock.monotonic_s()
        self._backlog_is_in = False
        #: A reading older than this belongs to the backlog of a start; more on a hurried clock.
        self.backlog_ms = BACKLOG_MS
        #: How long nothing old must come before a start's backlog counts as in, in our own time.
        self.quiet_s = QUIET_S
        #: What takes part in the rounds beside the readings.
        self.beside: list[Beside] = []
        #: What takes part before anything is judged, so that it is judged by it.
        self.before: list[Beside] = []
        self._could_ask = True
        #: Hears what each round refused, and when.
        self.hear_refused: Callable[[Sequence[Refused], int], None] = lambda *_: None
        #: Small facts to keep with the rounds; those under ``sensors`` and ``time`` as soon as they change.
        self.notes: Callable[[], Mapping[str, Any]] = dict
        #: Where every alarm stands.
        self.lives = Lives({})
        #: Watches for what no limit tells; fed with what the engine judges.
        self.observer = Observer(tray.plan for tray in engine.trays.values())
        #: By the name of an alarm, the conditions from which it only follows.
        self.hiding: Mapping[str, Sequence[str]] = {}
        #: Whether a quantity of a tray comes by no wire that works.
        self.is_cut_off: Callable[[str, str], bool] = lambda _tray, _quantity: False
        #: What people are told, where there are any.
        self.telling: Telling | None = None
        #: Hears that everything moves that works for this loop.
        self.progress = Progress()
        self._noted: object = None
        #: Whether the clock can be trusted.
        self.knows_time: Callable[[], bool] = lambda: True

    def replan(self, plan: TrayPlan, records: Sequence[Record]) -> None:
        """Let a tray be judged by another plan from now on, and observed with the care that records tell of."""
        self.engine.trays[plan.tray].take_plan(plan)
        observer = self.observer.trays[plan.tray]
        observer.plan = plan
        observer.care.forget_recorded()
        for tray, care in remembered_cares(records, self._clock.wall_ms()):
            if tray == plan.tray:
                observer.care.record(care)
        self._unkept.changed.add(plan.tray)

    def bring_up_to_date(self, now_ms: int) -> None:
        """Go on where an earlier run stopped: judge again what was kept after its last saved state."""
        self.engine.feed(self._store.chunk(self._judged_from_ms(now_ms), now_ms + STATE_EVERY_MS))
        self.engine.expect(now_ms)
        self._observe_again(now_ms)
        self._retire(now_ms)
        self._saved_ms = now_ms

    def _judged_from_ms(self, now_ms: int) -> int:
        """Return from when on kept readings may not be judged yet: about an hour, as states are saved."""
        judged = [max(tray.judged_ms, 0) for tray in self.engine.trays.values()]
        begun = [time_ms for time_ms in judged if time_ms]
        if not begun:
            return 0
        # A tray without a state is new: what it has is no older than the last time that all were saved.
        return min(begun) if len(begun) == len(judged) else min(*begun, now_ms - 2 * STATE_EVERY_MS)

    def _observe_again(self, now_ms: int) -> None:
        """Let the last days pass before the observers, who remember nothing else, up to where was judged.

        What stands in the journal stands until it is seen to be over.
        """
        unbroken_ms = self._store.notes().get(UNBROKEN_NOTE, 0)
        for from_ms in range(
            max(now_ms - KEPT * MINUTE_MS, unbroken_ms), now_ms + STATE_EVERY_MS, READ_AT_ONCE_MS
        ):
            self.observer.feed(self._store.chunk(from_ms, from_ms + READ_AT_ONCE_MS))
        for tray, care in remembered_cares(self._store.records(), now_ms):
            if tray in self.observer.trays:
                self.observer.record(tray, care)
        self.observer.advance({name: tray.judged_ms for name, tray in self.engine.trays.items()})
        self.observer.resume(
            (entry.tray, entry.fields["quantity"], entry.fields["condition"])
            for entry in self._store.standing()
            if entry.tray in self.observer.trays
        )

    def leap(self, now_ms: int, by_ms: int) -> None:
        """Go on at another time, for the clock was set ahead: what lasts goes on lasting, and nothing fell silent."""
        self._take_in(self.queue.take(len(self.queue)), now_ms, ())
        self.engine.move(by_ms)
        self.observer.begin_anew()
        self._saved_ms += by_ms
        self._unkept.changed.update(self._settle_ms)
        self._unkept.notes[UNBROKEN_NOTE] = now_ms + by_ms

    def _retire(self, now_ms: int) -> None:
        """Return alarms that stand in the journal and are not watched for any more."""
        raised = self.engine.raised() | self.observer.raised()
        for entry in self._store.standing():
            if (
                entry.tray != WATCH
                and (entry.tray, entry.fields["quantity"], entry.fields["condition"]) not in raised
            ):
                fields = self._teller.retired(entry.fields, now_ms)
                is_sent = self.lives.is_sent(fields)
                self.lives.follow(fields)
                self._unkept.journal.append((now_ms, entry.tray, fields))
                self._unkept.due += self._teller.notices(fields) if is_sent else []
                if self.telling:
                    self.telling.hear(fields, self._teller.notice(fields))

    def round(self, sensors: Sequence[Sensor] = ()) -> bool:
        """Do one round; return whether anything waits for another one at once.

        Raises:
            StoreFailed: The store cannot keep its promise and trying again will not help.
        """
        now_ms = self._clock.wall_ms()
        self._hear(self.before, now_ms)
        if self.failing.has_room(self._unkept):
            self._take_in(self.queue.take(ROUND_ARRIVALS), now_ms, sensors)
        self._do_what_is_asked(now_ms)
        self._hear(self.beside, now_ms)
        if self.telling and self._backlog_is_in:
            self._unkept.due += self.telling.due(now_ms)
        self._keep(now_ms)
        return len(self.queue) > 0 and self.failing.since_s is None

    @property
    def is_up_to_date(self) -> bool:
        """Whether the backlog of the start is in, so that what is judged is what is known."""
        return self._backlog_is_in

    @property
    def is_sure(self) -> bool:
        """Whether what is judged is what is known, and it is known what time it is."""
        return self._backlog_is_in and self.knows_time()

    def close(self) -> None:
        """Judge and keep all that is in, with the whole state."""
        now_ms = self._clock.wall_ms()
        while self.queue and self.failing.has_room(self._unkept):
            self._take_in(self.queue.take(ROUND_ARRIVALS), now_ms, ())
        self._unkept.changed.update(self._settle_ms)
        self._keep(now_ms)

    def give_up(self) -> None:
        """Keep what was measured after rounds that broke off; the next start makes of it what is to be made.

        What was judged may be half told, or committed already with no word of it. So nothing of that is kept, and
        no source is told that anything was.
        """
        unkept, self._unkept = self._unkept, Unkept()
        measured = Round(
            self._clock.wall_ms(), readings=unkept.readings, late=unkept.late, refused=unkept.refused
        )
        with suppress(StoreFailed):
            self._store.keep(measured)

    # -------------------------------------------------------------------------------------- steps

    def _hear(self, parts: Iterable["Beside"], now_ms: int) -> None:
        """Let others have their part in the next commit."""
        for one in parts:
            # All is judged by what comes before it: that is tried in every round.
            extra = self.guard.work(one, now_ms, self.lives, rests=parts is not self.before)
            for time_ms, tray, fields in extra.journal:
                self._write(time_ms, tray, fields)
            self._unkept.journal += extra.recorded
            self._unkept.records += extra.records
            self._take_readings(extra.readings)
            self._unkept.due += extra.due
            self._unkept.notes |= extra.notes

    def _take_in(self, arrivals: list[Arrival], now_ms: int, sensors: Sequence[Sensor]) -> None:
        taken, refused = self.intake.take(arrivals, now_ms, knows_time=self.knows_time())
        unkept = self._unkept
        readings = self._take_readings(taken)
        for time_ms, tray, quantity in doubted(refused, self._settle_ms, now_ms):
            self.engine.refuse(max(time_ms, self.engine.trays[tray].judged_ms), tray, quantity)
            unkept.changed.add(tray)
        unkept.refused += self._refusals.to_keep(refused, self._clock.monotonic_s())
        self.hear_refused(refused, now_ms)
        unkept.arrivals += arrivals
        if self._may_judge(readings, now_ms, sensors):
            until_ms = {tray: now_ms - settle_ms for tray, settle_ms in self._settle_ms.items()}
            self._tell(self.engine.advance(until_ms), until_ms)

    def _take_readings(self, readings: list[Reading]) -> list[Reading]:
        """Let readings be judged; return those that did not come too late for it."""
        unkept = self._unkept
        late = self.engine.take(readings)
        if late:
            too_late = set(map(id, late))
            unkept.late += late
            unkept.changed.update(reading.tray for reading in late)
            readings = [reading for reading in readings if id(reading) not in too_late]
        unkept.readings += readings
        self.observer.take(readings)
        return readings

    def _may_judge(self, readings: Sequence[Reading], now_ms: int, sensors: Sequence[Sensor]) -> bool:
        """Whether the clock may go on: after a start only once the backlog held for us is in.

        It is in when every wire has worked for a while and brought nothing old. A wire that does not
        work is not waited for long, and a publisher whose times are always old not for ever.
        """
        if not self._backlog_is_in:
            passed_s = self._clock.monotonic_s()
            is_old = any(reading.time_ms < now_ms - self.backlog_ms for reading in readings)
            is_deaf = any(not self.guard.slips.health(sensor).works for sensor in sensors)
            waited_s = passed_s - self._began_s
            more_to_come = (is_old or self.queue) and waited_s < BACKLOG_PATIENCE_S
            if more_to_come or (is_deaf and waited_s < DEAF_PATIENCE_S):
                self._quiet_since_s = passed_s
            else:
                self._backlog_is_in = passed_s - self._quiet_since_s >= self.quiet_s
        return self._backlog_is_in

    def _tell(self, transitions: Iterable[Transition], until_ms: Mapping[str, int]) -> None:
        """Put changes into the journal and the outbox of the next commit."""
        chronicle = Chronicle(self._teller, self.lives, self.observer, self.hiding, self.is_cut_off)
        for entry in chronicle.write(transitions, until_ms):
            self._unkept.journal.append((entry.time_ms, entry.tray, entry.fields))
            self._unkept.changed.add(entry.tray)
            message = self._teller.message(entry.fields)
            self._unkept.due += self._teller.messages(message) if entry.is_sent else []
            if self.telling:
                self.telling.hear(entry.fields, message)

    def _do_what_is_asked(self, now_ms: int) -> None:
        """Do what people asked of alarms, and take those off the shelf whose time is over."""
        unkept = self._unkept
        self._could_ask = False
        try:
            asked = self._store.acts()
            self._could_ask = True
        except StoreFailed as error:
            if not error.may_heal:
                raise
            log.warning("store cannot say what was asked", extra={"why": error.why})
            return
        for number, act in asked.items():
            if number in unkept.acts_done:
                continue
            unkept.acts_done.append(number)
            try:
                self._write(now_ms, act.alarm.tray, self.lives.do(act, now_ms))
            except Impossible as error:
                log.warning("what was asked cannot be done", extra={"alarm": act.alarm, "why": str(error)})
        for fields in self.lives.off_the_shelf(now_ms):
            self._write(now_ms, fields["tray"], fields)
            unkept.due += announcements(fields, self._teller.channels)

    def _write(self, time_ms: int, tray: str, fields: Mapping[str, Any]) -> None:
        """Put what became of an alarm into the journal of the next commit, and let people's messages know of it."""
        self._unkept.journal.append((time_ms, tray, fields))
        if self.telling:
            self.telling.hear(fields, self._teller.message(fields))

    def _keep(self, now_ms: int) -> None:
        unkept = self._unkept
        if now_ms - self._saved_ms >= STATE_EVERY_MS:
            unkept.changed.update(self._settle_ms)
        notes = self.notes()
        noted = notes.get("sensors"), notes.get("time")
        is_told = self.telling is not None and self.telling.changed
        if not unkept and noted == self._noted and not is_told:
            self._was_whole()
            return
        notes = notes if noted != self._noted or unkept.changed else {}
        if self.telling and is_told:
            notes = {**notes, TELLING_NOTE: self.telling.state()}
        round_ = Round(
            now_ms=now_ms,
            readings=unkept.readings,
            late=unkept.late,
            refused=unkept.refused,
            journal=unkept.journal,
            due=unkept.due,
            acts_done=unkept.acts_done,
            records=unkept.records,
            states={tray: self.engine.trays[tray].state() for tray in sorted(unkept.changed)},
            notes={**notes, **unkept.notes},
        )
        try:
            self._store.keep(round_)
        except StoreFailed as error:
            self.failing.failed(error, unkept, now_ms)
            return
        self._noted = noted
        if self.telling:
            self.telling.changed = False
        self._kept(now_ms)
        self._was_whole()

    def _kept(self, now_ms: int) -> None:
        unkept, self._unkept = self._unkept, Unkept()
        self.failing.kept(unkept)
        if unkept.changed >= set(self._settle_ms):
            self._saved_ms = now_ms
        by_sensor: dict[int, list[Arrival]] = {}
        for arrival in unkept.arrivals:
            by_sensor.setdefault(id(arrival.sensor), []).append(arrival)
        for arrivals in by_sensor.values():
            sensor = arrivals[0].sensor
            self.guard.slips.try_(f"{sensor.name} (acknowledge)", sensor.acknowledge, arrivals)
        self._teller.nudge(unkept.due)

    def _was_whole(self) -> None:
        """Let those who take part hear that nothing of the round is missing."""
        if self._could_ask:
            for one in (*self.before, *self.beside):
                self.guard.committed(one)
