"""A publisher that means harm: MQTT 3.1.1 packets written by hand, as many a second as it is told.

Run as a program: ``python hostile.py PORT SECONDS FORM=RATE…``. It prints how many messages it sent, one number.
"""

import itertools
import random
import select
import socket
import struct
import sys
import time
from collections.abc import Callable, Iterator
from typing import Final

#: How often a handful of messages leaves. [s]
TICK_S: Final = 0.02
ATTACKED: Final = "tray-mad"
#: What no topic of ours can hold; a broker may refuse some of it, and then ends the connection.
STRANGE: Final = (
    "class/<script>alert(1)</script>/probes",
    "class/../../etc/passwd/probes",
    "class/..%2f..%2fetc/probes",
    "class/tray-\u202egnp.a/probes",
    "class/=cmd|' /C calc'!A0/probes",
    "class/\U0001f4a5/probes",
    "class/tray-1 /probes",
    "class//probes",
    "class/" + "x" * 5000 + "/probes",
    "class/\x1b[31mred\x1b[0m/probes",
    "class/tray-1\r\nsubject: x/probes",
    "$SYS/class/probes",
    "class/tray-1/probes/#",
    "class/+/probes",
)


def connect_packet(client_id: str) -> bytes:
    """Return what opens a clean session (MQTT 3.1.1, 3.1)."""
    body = b"\x00\x04MQTT\x04\x02\x00\x3c" + _text(client_id)
    return b"\x10" + _length(len(body)) + body


def publish_packet(topic: str, payload: bytes, *, number: int = 0, is_retained: bool = False) -> bytes:
    """Return one message, with quality of service 1 where it has a number (MQTT 3.1.1, 3.3)."""
    numbered = struct.pack("!H", number) if number else b""
    body = _text(topic) + numbered + payload
    return bytes([0x30 | (2 if number else 0) | is_retained]) + _length(len(body)) + body


def _text(text: str) -> bytes:
    raw = text.encode()
    return struct.pack("!H", len(raw)) + raw


def _length(number: int) -> bytes:
    digits = bytearray()
    while True:
        number, digit = divmod(number, 128)
        digits.append(digit | (0x80 if number else 0))
        if not number:
            return bytes(digits)


def pack(time_s: float, value_c: float) -> bytes:
    """Return what a true sensor sends."""
    return f'[{{"n":"temp","u":"Cel","v":{value_c:.1f},"t":{time_s:.3f}}}]'.encode()


# --------------------------------------------------------------------------------------- forms


def impostor(number: int) -> bytes:
    """Return a pack that looks right, on a true topic."""
    return publish_packet(f"class/{ATTACKED}/probes", _likely(number))


def impostor_acknowledged(number: int) -> bytes:
    """Return the same with quality of service 1, which a broker keeps for us."""
    return publish_packet(f"class/{ATTACKED}/probes", _likely(number), number=number % 60_000 + 1)


def _likely(number: int) -> bytes:
    """Return a pack of the last minutes, each with a time of its own, so that none is a mere repeat."""
    return pack(time.time() - number % 200_000 / 1000, 20 + number % 100 / 10)  # noqa: TID251 - no part of the program


def rubbish(number: int) -> bytes:
    """Return bytes that are no pack, on a true topic."""
    return publish_packet(f"class/{ATTACKED}/probes", random.Random(number).randbytes(200))


def made_up(number: int) -> bytes:
    """Return a pack on one of a million topics that nobody configured."""
    return publish_packet(f"class/nobody-{number % 1_000_000}/probes", pack(1.8e9, 21.0))


def retained(number: int) -> bytes:
    """Return the same, for the broker to keep and to give whoever subscribes."""
    return publish_packet(f"class/nobody-{number % 1_000_000}/probes", pack(1.8e9, 21.0), is_retained=True)


def huge(number: int) -> bytes:
    """Return a message of a megabyte on a true topic."""
    return publish_packet(f"class/{ATTACKED}/probes", b"[" * (1_000_000 + number % 1000))


def strange(number: int) -> bytes:
    """Return a pack on a topic with something in it that may harm whoever shows it."""
    return publish_packet(STRANGE[number % len(STRANGE)], pack(1.8e9, 21.0))


FORMS: Final[dict[str, Callable[[int], bytes]]] = {
    made.__name__: made
    for made in (impostor, impostor_acknowledged, rubbish, made_up, retained, huge, strange)
}


# -------------------------------------------------------------------------------------- sending


class Wire:
    """A connection that is made again when the broker ends it; what it answers is thrown away."""

    def __init__(self, port: int, name: str) -> None:
        self._port, self._name = port, name
        self._number = itertools.count()
        self._socket = self._connected()

    def _connected(self) -> socket.socket:
        connected = socket.create_connection(("127.0.0.1", self._port), timeout=10)
        connected.sendall(connect_packet(f"{self._name}-{next(self._number)}"))
        assert connected.recv(4)[:1] == b"\x20"
        return connected

    def close(self) -> None:
        self._socket.close()

    def send(self, packets: bytes) -> None:
        """Send all of it, or what the broker takes before it ends the connection."""
        try:
            while select.select([self._socket], [], [], 0)[0]:
                if not self._socket.recv(1 << 16):
                    raise ConnectionResetError
            self._socket.sendall(packets)
        except OSError:
            self._socket.close()
            self._socket = self._connected()


def due(rate: float, seconds: float) -> Iterator[range]:
    """Yield at each tick the numbers of the messages that are due, until the time is over."""
    begin, sent = time.monotonic(), 0
    while (passed := time.monotonic() - begin) < seconds:
        until = int(rate * passed)
        yield range(sent, until)
        sent = until
        time.sleep(TICK_S)  # noqa: TID251 - no part of the program


def flood(port: int, seconds: float, rates: dict[str, float]) -> int:
    """Send for some time, a connection for each form; return how many messages were sent."""
    wires = {form: Wire(port, f"hostile-{form}") for form in rates}
    total = sum(rates.values())
    sent = dict.fromkeys(rates, 0)
    for numbers in due(total, seconds):
        for form, rate in rates.items():
            until = int(numbers.stop * rate / total)
            wires[form].send(b"".join(FORMS[form](number) for number in range(sent[form], until)))
            sent[form] = until
    for wire in wires.values():
        wire.close()
    return sum(sent.values())


if __name__ == "__main__":
    port, seconds, *asked = sys.argv[1:]
    told = {form: float(rate) for form, _, rate in (one.partition("=") for one in asked)}
    print(flood(int(port), float(seconds), told), flush=True)
