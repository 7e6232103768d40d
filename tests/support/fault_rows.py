"""The fault matrix: what may go wrong around the daemon, and what a person must then see without asking.

After every row the same must hold (``fault_bench.invariants``): each acknowledged reading is stored exactly once,
each journal entry that is to be told has its message, no message is lost and repeats carry the same key, the
store is whole, ``wardian status`` names the fault while it lasts, the process lives or was restarted, and no
secret is in the log. A test says with ``@pytest.mark.fault(NUMBER)`` which row it stands for.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One fault: what goes wrong, what must be seen, and why it is not proven here, where it is not."""

    fault: str
    seen: str
    not_proven: str = ""


ROWS = {
    1: Row("the daemon is killed at any moment", "that it was restarted; no alarm is missing"),
    2: Row(
        "a callback or a job raises what nobody foresaw", "an internal error, counted; an alarm when it stays"
    ),
    3: Row("a sensor falls silent", "an alarm of its own that nothing is known, never 'within'"),
    4: Row("a sensor is stuck on one value", "that its reading has not moved, and for how long"),
    5: Row("a 1-wire probe tells 85, 127.9 or -127 °C", "a fault of the sensor, never 'too hot'"),
    6: Row("humidity beyond 100 %, below 0, or at 100 for days", "a fault or a wet sensor, never 'too dry'"),
    7: Row(
        "a payload is no reading in any way there is", "how many were refused, and no more than now and then"
    ),
    8: Row("a payload's own time is wrong", "that the sensor's clock is wrong"),
    9: Row("an old value is retained and comes at each subscription", "its age; it never counts as fresh"),
    10: Row("messages come twice or three times", "nothing"),
    11: Row(
        "an outage's backlog comes late and out of order", "each alarm once; what was too late is counted"
    ),
    12: Row(
        "the broker is down, unreachable, or sends too slowly", "no connection to the broker, and since when"
    ),
    13: Row("connected, and yet nothing can arrive", "as when the broker is down"),
    14: Row("the broker forgets our session or its store", "a gap is shown as a gap"),
    15: Row("the board starts in 1970 and hears the time later", "since when the time was not trusted"),
    16: Row("the clock jumps forward while it runs", "one line that the clock was moved, and how far"),
    17: Row("the clock jumps back while it runs", "the same; no alarm twice, nothing stands still"),
    18: Row("the time is never set", "that no time is trusted, and what is not judged for that"),
    19: Row("a clock that is minutes wrong", "that sensors and we do not agree about the time"),
    20: Row("nights on which the clocks change", "the hours of light, exactly"),
    21: Row("leap days, year ends and weeks 53", "the right day and stage"),
    22: Row("the disk is full", "that it is full, although nothing can be written"),
    23: Row("the disk may only be read", "that it can only be read"),
    24: Row("the store is damaged", "that it is damaged; what was there is kept"),
    25: Row("the store is cut off, empty, of others, or newer", "a refusal with the reason, no fresh start"),
    26: Row("the store's log is lost or of another file", "how old the last that is known is"),
    27: Row("any one read, write or sync fails", "an alarm about the store"),
    28: Row("memory runs short", "that it was restarted"),
    29: Row("mail and push servers refuse, stall or half-accept", "how many messages wait, and since when"),
    30: Row("one target refuses its messages for good", "that it refuses; the others get theirs"),
    31: Row("the daemon hangs", "that it was restarted, soon"),
    32: Row("two daemons on one store", "the second refuses and names the first"),
    33: Row("another client comes with our client id", "that another uses this id"),
    34: Row("the configuration is broken in any way there is", "line and column, and what is accepted"),
    35: Row("a configuration that can never alarm", "a warning at each start"),
    36: Row("everything alarms at once, or again and again", "few messages, with how many they stand for"),
    37: Row("something set aside is forgotten", "that it ends by itself, when it does"),
    38: Row("somebody floods the broker or sends poison", "which topic floods; the true sensors go on"),
    39: Row("the page cannot run or is held up", "that it does not run; the watching goes on"),
    40: Row("the power is cut, on a disk that honours sync", "from when to when nothing was known"),
    41: Row("an upgrade or a downgrade is cut off", "that it goes on or refuses, with a backup"),
    42: Row("the log cannot be written", "nothing; nothing ends for it"),
    43: Row("signals while something is sent", "a clean end within seconds"),
    44: Row(
        "a sensor is replaced, mixed up, or there are two", "which unknown ones are heard, which ones differ"
    ),
    45: Row("a replay or a simulation is put on the live store", "a refusal"),
    46: Row("the light sensor is dead for hours", "that the hours of light cannot be judged, not 'too dark'"),
    47: Row(
        "temperature and humidity of different age, or one faulty", "no vapour-pressure deficit, and why"
    ),
    48: Row("our own address changes", "nothing that lasts"),
}
