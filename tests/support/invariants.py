"""What holds after any fault, whatever it was: asked of a bench once the fault is over and its daemon has come to rest."""

from collections import Counter
from typing import Any

from fault_bench import SECRET, FaultBench

from wardian.rules.transitions import RAISED, RETURNED

#: Nothing is told of what people have set aside themselves.
_BY_HAND = ("shelved", "out of service")


def invariants(bench: FaultBench, *, all_sent: bool = True) -> None:
    """Fail where anything does not hold that must hold after every fault.

    With ``all_sent`` every message must have left, and is waited for; without, it may wait for its channel.
    """
    each_acknowledged_reading_is_stored_once(bench)
    each_entry_to_be_told_has_its_message(bench)
    if all_sent:
        bench.until(lambda: not bench.waiting(), "every message to leave", 30)
    no_message_is_lost_and_repeats_carry_its_key(bench)
    assert bench.rows("PRAGMA quick_check") == [("ok",)]
    assert bench.process is None or bench.lives, "the daemon died"
    assert SECRET not in bench.log
    assert "Traceback" not in bench.log


def each_acknowledged_reading_is_stored_once(bench: FaultBench) -> None:
    """Acknowledged to a probe means stored, and stored once."""
    kept = Counter(bench.kept())
    assert not [reading for reading in bench.acknowledged if not kept[reading]]
    assert not [reading for reading, times in kept.items() if times > 1]


def each_entry_to_be_told_has_its_message(bench: FaultBench) -> None:
    """What came or went in the journal has a row in the outbox, for every channel there is."""
    keys = {key for (key,) in bench.rows("SELECT key FROM outbox")}
    sent: dict[tuple[Any, ...], bool] = {}
    for entry in bench.journal():
        fields = entry.fields
        alarm = tuple(fields[name] for name in ("tray", "quantity", "condition"))
        is_due = fields["sent"] if fields["event"] == RAISED else sent.get(alarm, False)
        if fields["event"] in (RAISED, RETURNED) and is_due and fields["life"] not in _BY_HAND:
            assert "/".join((*alarm, fields["event"], fields["time"])) in keys, fields
        sent[alarm] = fields["sent"]


def no_message_is_lost_and_repeats_carry_its_key(bench: FaultBench) -> None:
    """What counts as delivered was received; the same message never comes under two keys."""
    received: dict[tuple[str, ...], set[str]] = {}
    for request in list(bench.receiver.requests):
        if 200 <= request.status <= 299:
            fields = request.json()
            content = tuple(
                str(fields.get(name)) for name in ("tray", "quantity", "condition", "event", "time")
            )
            received.setdefault(content, set()).add(fields["key"])
    assert not {content: keys for content, keys in received.items() if len(keys) > 1}
    delivered = {key for (key,) in bench.rows("SELECT key FROM outbox WHERE delivered_ms IS NOT NULL")}
    assert delivered <= {key for keys in received.values() for key in keys}
