import os
from dataclasses import dataclass
from pathlib import Path

import pytest
from fake_clock import NOON_MS, FakeClock
from fake_loop import FakeLoop

from wardian.adapters.sensors.csv_file import ARRIVALS_PER_POLL, ROWS_PER_ARRIVAL, CsvSensor, CsvSettings
from wardian.adapters.timestamps import text_of
from wardian.rules.errors import SensorUnreachable
from wardian.rules.ports import Decoded, Measured

HEADER = "time,tray,quantity,value,unit\n"
ROW = "2026-03-02T12:00:00Z,tray-a,air_temperature,24.5,Cel\n"


@dataclass
class Followed:
    """A followed file, its sensor, and the loop it hands over to."""

    file: Path
    sensor: CsvSensor
    loop: FakeLoop

    def write(self, text: str) -> None:
        self.file.write_text(text, encoding="utf-8", newline="")

    def append(self, text: str) -> None:
        with self.file.open("a", encoding="utf-8", newline="") as file:
            file.write(text)

    def poll(self) -> list[Measured]:
        before = len(self.loop.taken)
        self.sensor.poll()
        return [
            measured
            for arrival in self.loop.taken[before:]
            for measured in self.sensor.decode(arrival).measured
        ]

    def decoded(self, text: str) -> Decoded:
        """Return what a file of these rows means."""
        self.write(HEADER + text)
        self.sensor.poll()
        (arrival,) = self.loop.taken
        return self.sensor.decode(arrival)


@pytest.fixture
def followed(tmp_path: Path) -> Followed:
    file = tmp_path / "bench.csv"
    loop = FakeLoop()
    sensor = CsvSensor(CsvSettings("class log", file), FakeClock())
    sensor.start(loop.take)
    return Followed(file, sensor, loop)


def _row(second: int) -> str:
    return f"{text_of(NOON_MS + second * 1000)},tray-a,air_temperature,{20 + second / 1000:.3f},\n"


def test_rows_are_read_once_as_the_file_grows(followed: Followed) -> None:
    followed.write(HEADER + ROW)
    assert followed.poll() == [Measured(NOON_MS, "tray-a", "air_temperature", "24.5", "Cel")]
    assert followed.poll() == []
    followed.append("2026-03-02T13:00:10.250+01:00,tray-b,relative_humidity,0.93,/\n")
    assert followed.poll() == [Measured(NOON_MS + 10_250, "tray-b", "relative_humidity", "0.93", "/")]


def test_a_line_without_its_end_waits(followed: Followed) -> None:
    followed.write(HEADER[:10])
    assert followed.poll() == []
    followed.append(HEADER[10:] + ROW[:30])
    assert followed.poll() == []
    followed.append(ROW[30:-1])
    assert followed.poll() == []
    followed.append("\n")
    assert len(followed.poll()) == 1


def test_a_long_file_is_taken_in_bounded_bites(followed: Followed) -> None:
    bite = ROWS_PER_ARRIVAL * ARRIVALS_PER_POLL
    followed.write(HEADER + "".join(map(_row, range(bite + 500))))
    first, second, third = followed.poll(), followed.poll(), followed.poll()
    assert [len(first), len(second), len(third)] == [bite, 500, 0]
    assert [measured.time_ms for measured in first + second] == [
        NOON_MS + s * 1000 for s in range(bite + 500)
    ]
    assert max(len(arrival.message) for arrival in followed.loop.taken) == ROWS_PER_ARRIVAL


def test_what_the_loop_has_no_room_for_is_read_again(followed: Followed) -> None:
    followed.write(HEADER + "".join(map(_row, range(2_500))))
    followed.loop.room = 1
    assert len(followed.poll()) == 1_000
    assert followed.poll() == []
    followed.loop.room = 10
    rest = followed.poll()
    assert [measured.time_ms for measured in rest] == [NOON_MS + s * 1000 for s in range(1_000, 2_500)]


def test_a_replaced_file_is_read_from_its_beginning(followed: Followed, tmp_path: Path) -> None:
    followed.write(HEADER + "".join(map(_row, range(5))))
    assert len(followed.poll()) == 5
    new = tmp_path / "new.csv"
    new.write_text(HEADER + "".join(map(_row, range(100, 120))))
    new.replace(followed.file)
    assert [measured.time_ms for measured in followed.poll()] == [NOON_MS + s * 1000 for s in range(100, 120)]


def test_a_file_that_was_cut_is_read_from_its_beginning(followed: Followed) -> None:
    followed.write(HEADER + "".join(map(_row, range(5))))
    followed.poll()
    inode = followed.file.stat().st_ino
    os.truncate(followed.file, 0)
    followed.append(HEADER + _row(7))
    assert followed.file.stat().st_ino == inode
    assert [measured.time_ms for measured in followed.poll()] == [NOON_MS + 7000]


def test_a_file_cut_and_grown_past_the_old_place_is_read_from_its_beginning(followed: Followed) -> None:
    followed.write(HEADER + _row(1))
    followed.poll()
    os.truncate(followed.file, 0)
    followed.append(HEADER + "".join(map(_row, range(50, 70))))
    assert len(followed.poll()) == 20


@pytest.mark.parametrize("header", ["\N{BYTE ORDER MARK}" + HEADER, HEADER.replace("\n", "\r\n")])
def test_a_byte_order_mark_and_carriage_returns_are_accepted(followed: Followed, header: str) -> None:
    followed.write(header + ROW.replace("\n", "\r\n"))
    assert followed.poll() == [Measured(NOON_MS, "tray-a", "air_temperature", "24.5", "Cel")]


@pytest.mark.parametrize(
    "first_line",
    ["time;tray;quantity;value;unit\n", ROW, "\n", "tray,time,quantity,value,unit\n", "x" * 5000],
)
def test_a_wrong_header_is_refused_with_the_right_one_until_it_is_put_right(
    followed: Followed, first_line: str
) -> None:
    followed.write(first_line + ROW)
    for _ in range(2):
        with pytest.raises(
            SensorUnreachable, match=r"begins with .*; time,tray,quantity,value,unit is accepted"
        ):
            followed.poll()
    assert not followed.sensor.health().works
    followed.write(HEADER + ROW)
    assert len(followed.poll()) == 1
    assert followed.sensor.health() == (True, "read up to line 2")


def test_no_file_and_no_regular_file_are_unreachable(followed: Followed) -> None:
    with pytest.raises(SensorUnreachable, match=r"class log: .*bench\.csv cannot be read: No such file"):
        followed.poll()
    os.mkfifo(followed.file)
    with pytest.raises(SensorUnreachable, match="it is no regular file"):
        followed.poll()


@pytest.mark.parametrize(
    ("row", "words"),
    [
        ("2026-03-02T12:00:00,tray-a,air_temperature,24,\n", "offset"),
        ("yesterday,tray-a,air_temperature,24,\n", "RFC 3339"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,24\n", "4 fields"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,24,Cel,\n", "6 fields"),
        ("2026-03-02T12:00:00Z,,air_temperature,24,\n", "tray has no name"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,,\n", "'' is no decimal number"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,nan,\n", "'nan' is no decimal number"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,1e9999999,\n", "'1e9999999' is no decimal number"),
        ("2026-03-02T12:00:00Z,tray-a,air_temperature,1_0,\n", "'1_0' is no decimal number"),
        ('2026-03-02T12:00:00Z,"tray-a,air_temperature,24,\n', "unexpected end of data"),
        ("x" * 10_000 + "\n", "longer than 4096 bytes"),
    ],
)
def test_a_bad_row_is_refused_with_its_line_and_spoils_no_other(
    followed: Followed, row: str, words: str
) -> None:
    decoded = followed.decoded(ROW + row + ROW)
    assert len(decoded.measured) == 2
    (refused,) = decoded.refused
    assert refused.source == "class log: bench.csv line 3"
    assert words in refused.why
    assert row.startswith(refused.raw)


def test_a_refused_row_says_as_much_of_its_place_as_is_known(followed: Followed) -> None:
    decoded = followed.decoded("2026-03-02T12:00:00Z,tray-a,air_temperature,warm,\n")
    (refused,) = decoded.refused
    assert (refused.time_ms, refused.tray, refused.quantity) == (NOON_MS, "tray-a", "air_temperature")


def test_bytes_that_are_no_utf8_are_refused_with_their_line(followed: Followed) -> None:
    followed.file.write_bytes(HEADER.encode() + b"\xff\xfe\x00\n" + ROW.encode())
    followed.sensor.poll()
    decoded = followed.sensor.decode(followed.loop.taken[0])
    assert len(decoded.measured) == 1
    assert decoded.refused[0].why == "the line is not UTF-8"
    assert decoded.refused[0].raw == "\\xff\\xfe\x00"


def test_quoted_fields_blank_lines_and_spaces_around_a_number_are_read(followed: Followed) -> None:
    decoded = followed.decoded('\n2026-03-02T12:00:00Z,"tray ""a"", left","air_temperature", 76.1 ,"°F"\n\n')
    assert decoded.measured == [Measured(NOON_MS, 'tray "a", left', "air_temperature", "76.1", "°F")]
    assert decoded.refused == []


def test_line_numbers_go_on_over_long_lines_and_polls(followed: Followed) -> None:
    followed.write(HEADER + ROW + "y" * 9_000 + "\n")
    followed.poll()
    followed.append("bad\n")
    followed.poll()
    sources = [
        one.source for arrival in followed.loop.taken for one in followed.sensor.decode(arrival).refused
    ]
    assert sources == ["class log: bench.csv line 3", "class log: bench.csv line 4"]
