"""Files of readings: what is a reading, what is refused and where, and that no way of reading differs."""

import gzip
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from freezegun import freeze_time
from hypothesis import given, settings
from hypothesis import strategies as st

from wardian.adapters import reading_file
from wardian.adapters.reading_file import read_blocks, write_pieces, write_rows
from wardian.adapters.timestamps import text_of
from wardian.rules.errors import BadReading
from wardian.rules.ports import Refused
from wardian.rules.readings import Reading, Rows, Series

HEADER = b"time,tray,quantity,value,unit\n"
T0 = 1_772_409_600_000


def read(path: Path) -> tuple[list[Reading], list[Refused]]:
    """Every reading in order of time, tray and quantity, and every refusal."""
    readings: list[Reading] = []
    refused: list[Refused] = []
    for block in read_blocks(path):
        refused += block.refused
        for (tray, quantity), (times, values) in block.chunk.items():
            readings += [
                Reading(time_ms, tray, quantity, value)
                for time_ms, value in zip(times.tolist(), values.tolist(), strict=True)
            ]
    return sorted(readings), refused


def file_of(folder: Path, content: bytes, header: bytes = HEADER) -> Path:
    path = folder / "week.csv"
    path.write_bytes(header + content)
    return path


@pytest.mark.parametrize(
    ("row", "time_ms", "value"),
    [
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,24.5,", T0, 24.5),
        (b"2026-03-02T00:00:00.5009Z,tray-a,air_temperature,24.5,Cel", T0 + 500, 24.5),
        (b"2026-03-02T01:00:00+01:00,tray-a,air_temperature,76.1,degF", T0, 24.5),
        (b"2026-03-02T00:00:00.000Z,tray-a,air_temperature,80,\xc2\xb0F", T0, 80 / 3),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,297.65,K", T0, 24.5),
        (b"2026-03-02T00:00:00z,tray-a,relative_humidity,0.953,/", T0, 95.3),
        (b"2026-03-02 00:00:00Z,tray-a,tray_mass,2.4561,kg", T0, 2456.1),
        (b"2026-03-02T00:00:00Z,tray-a,water_ec,1850,\xc2\xb5S/cm", T0, 1.85),
        (b"2026-03-02T00:00:00Z,tray-a,water_ec,1850,\xce\xbcS/cm", T0, 1.85),
        (b'2026-03-02T00:00:00Z,"tray-a","illuminance","5e3","lx"', T0, 5000.0),
        (b"2026-03-02T00:00:00Z,tray-a,ppfd,120,umol/m2/s", T0, 120.0),
        (b"2026-03-02T00:00:00Z,tray-a,relative_humidity,105,%", T0, 105.0),
        (b"2016-12-31T23:59:60Z,tray-a,air_temperature,1,", 1_483_228_800_000, 1.0),
        (b"2024-02-29T23:59:59.999Z,tray-a,air_temperature,1,", 1_709_251_199_999, 1.0),
    ],
)
def test_a_row_is_a_reading_in_its_own_unit(tmp_path: Path, row: bytes, time_ms: int, value: float) -> None:
    readings, refused = read(file_of(tmp_path, row + b"\n"))
    assert refused == []
    assert [(one.time_ms, one.value) for one in readings] == [(time_ms, value)]


@pytest.mark.parametrize(
    ("row", "phrase"),
    [
        (b"2026-03-02T00:00:00,tray-a,air_temperature,20,", "offset"),
        (b"2026-02-30T00:00:00Z,tray-a,air_temperature,20,", "2026-02-30"),
        (b"2026-03-02T24:00:00Z,tray-a,air_temperature,20,", "24:00:00"),
        (b"2026-03-02T00:00:60Z,tray-a,air_temperature,20,", "00:00:60"),
        (b"yesterday,tray-a,air_temperature,20,", "yesterday"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,warm,", "'warm' is not a number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,,", "'' is not a number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,1_0,", "is not a number"),
        ("2026-03-02T00:00:00Z,tray-a,air_temperature,٢٠,".encode(), "is not a number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,nan,", "not a number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,inf,", "not a finite number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,1e400,", "not a finite number"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,80.1,", "impossible"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,500,degF", "impossible"),
        (b"2026-03-02T00:00:00Z,tray-a,relative_humidity,105.1,%", "impossible"),
        (b"2026-03-02T00:00:00Z,tray-a,dew_point,20,", "derived"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temprature,20,", "unknown"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,20,lx", "'lx' does not fit"),
        (b"2026-03-02T00:00:00Z,,air_temperature,20,", "names no tray"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,20", "4 fields"),
        (b"2026-03-02T00:00:00Z,tray-a,air_temperature,20,,", "6 fields"),
        (b"\xff\xfe\x00,\x00", "2 fields"),
        (b'"2026-03-02T00:00:00Z,tray-a,air_temperature,20,', "1 fields"),
    ],
)
def test_a_row_that_is_no_reading_is_refused_with_its_line_and_the_rest_goes_on(
    tmp_path: Path, row: bytes, phrase: str
) -> None:
    good = b"2026-03-02T00:00:00Z,tray-a,air_temperature,21,\n"
    readings, refused = read(file_of(tmp_path, good + row + b"\n" + good.replace(b"21", b"22")))
    assert [one.value for one in readings] == [21.0, 22.0]
    assert [(one.source, phrase in one.why) for one in refused] == [("week.csv:3", True)], refused


@pytest.mark.parametrize("end", [b"\n", b"\r\n"])
@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_line_ends_marks_and_empty_lines_make_no_difference(tmp_path: Path, end: bytes, mark: bytes) -> None:
    rows = end.join(
        [b"2026-03-02T00:00:00Z,tray-a,air_temperature,21,", b"", b"2026-03-02T00:01:00Z,tray-a,ppfd,9,"]
    )
    readings, refused = read(file_of(tmp_path, rows, header=mark + HEADER.replace(b"\n", end)))
    assert refused == []
    assert [one.value for one in readings] == [21.0, 9.0]


def test_a_line_without_end_is_refused_before_it_fills_the_memory(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(reading_file, "_LONGEST_LINE_BYTES", 1000)
    monkeypatch.setattr(reading_file, "_BLOCK_BYTES", 100)
    with pytest.raises(BadReading, match="too long"):
        read(file_of(tmp_path, b"x" * 5000))


def test_a_file_of_endlessly_many_names_is_refused(tmp_path: Path) -> None:
    rows = b"".join(b"2026-03-02T00:00:00Z,tray-%d,air_temperature,20,\n" % n for n in range(6000))
    with pytest.raises(BadReading, match="more than 5000"):
        read(file_of(tmp_path, rows))


@pytest.mark.parametrize("name", ["week.csv", "week.csv.gz"])
def test_what_is_written_is_read_as_it_was_to_the_last_bit(tmp_path: Path, name: str) -> None:
    written = [Reading(T0 + n, f"tray {n % 3}", "air_temperature", 20 + n / 70) for n in range(500)]
    assert write_rows(tmp_path / name, written) == 500
    assert read(tmp_path / name) == (sorted(written), [])
    assert [path.name for path in tmp_path.iterdir()] == [name]


def test_a_file_that_could_not_be_written_whole_does_not_appear(tmp_path: Path) -> None:
    def broken() -> object:
        yield Reading(T0, "tray-a", "air_temperature", 20.0)
        raise RuntimeError

    with pytest.raises(RuntimeError):
        write_rows(tmp_path / "week.csv", broken())  # type: ignore[arg-type]  # it breaks on purpose
    assert list(tmp_path.iterdir()) == []


def test_a_packed_file_is_read_like_a_plain_one(tmp_path: Path) -> None:
    content = HEADER + b"2026-03-02T00:00:00Z,tray-a,air_temperature,21,\n"
    (tmp_path / "week.csv.gz").write_bytes(gzip.compress(content))
    assert read(tmp_path / "week.csv.gz") == read(file_of(tmp_path, content[len(HEADER) :]))


instants = st.integers(-5_000_000_000_000, 5_000_000_000_000)
plain_texts = st.one_of(
    instants.map(text_of),
    instants.map(
        lambda ms: (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=ms // 1000)).strftime(
            "%Y-%m-%dT%H:%M:%SZ"
        )
    ),
    st.sampled_from(
        ["2026-02-29T00:00:00Z", "2026-03-02T24:00:00Z", "2026-03-02T00:60:00Z", "2026-03-02T00:00:61Z"]
    ),
    st.from_regex(r"[0-9T:Z.-]{20}", fullmatch=True),
)


@given(st.lists(plain_texts, min_size=1, max_size=20))
@settings(max_examples=300, deadline=None)
def test_times_of_one_usual_form_are_read_as_one_by_one(texts: list[str]) -> None:
    texts = [text for text in texts if len(text) == len(texts[0])]
    encoded = [text.encode() for text in texts]
    at_once = reading_file._plain_times(encoded)
    one_by_one = [reading_file._time(text) for text in encoded]
    if at_once is not None:
        assert at_once.tolist() == one_by_one
    else:
        # Only what is unusual is left to the slow way: no usual form, or a time that there is not.
        assert len(texts[0]) not in (20, 24) or any(isinstance(one, str) for one in one_by_one)


rows_of_any_kind = st.lists(
    st.tuples(
        st.sampled_from(
            ["2026-03-02T00:00:00Z", "2026-03-02T00:00:00.250Z", "2026-03-02T01:00:00+01:00", "soon", ""]
        ),
        st.sampled_from(["tray-a", "tray-b", ""]),
        st.sampled_from(["air_temperature", "relative_humidity", "light", "dew_point"]),
        st.sampled_from(["20", "20.5", "-3e1", "nan", "1_0", "999", "", " 21 "]),
        st.sampled_from(["", "°C", "°F", "%", "lx"]),
    ),
    min_size=1,
    max_size=30,
)


@given(rows_of_any_kind, st.integers(1, 300))
@settings(max_examples=200, deadline=None)
def test_quotes_and_block_sizes_change_nothing(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[str, ...]], block_bytes: int
) -> None:
    folder = tmp_path_factory.mktemp("rows")
    plain = "".join(",".join(row) + "\n" for row in rows).encode()
    quoted = "".join(",".join(f'"{field}"' for field in row) + "\n" for row in rows).encode()
    whole = read(file_of(folder, plain))
    assert read(file_of(folder, quoted)) == whole
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(reading_file, "_BLOCK_BYTES", block_bytes)
        assert read(file_of(folder, plain)) == whole
    assert len(whole[0]) + len(whole[1]) == len(rows)
    assert all(np.isfinite(one.value) for one in whole[0])


# ---------------------------------------------------------------------------------------- in pieces

_SERIES = tuple(
    Series(tray, quantity)
    for tray in ("tray-a", "A tray. No_2")
    for quantity in ("air_temperature", "medium_temperature", "relative_humidity", "tray_mass", "ppfd")
)
_ROWS = st.lists(
    st.tuples(
        st.integers(0, len(_SERIES) - 1),
        st.integers(0, 7_258_118_399_999),
        st.floats(-1e9, 1e9) | st.sampled_from([0.0, -0.0, 1e22, 1e-7, 0.1 + 0.2]),
    ),
    max_size=40,
)


def pieces_of(rows: list[tuple[int, int, float]], cut: int) -> list[Rows]:
    """Return rows as arrays, cut in two."""
    return [
        Rows(
            _SERIES,
            np.array([code for code, _, _ in piece], np.int64),
            np.array([time_ms for _, time_ms, _ in piece], np.int64),
            np.array([value for _, _, value in piece], np.float64),
        )
        for piece in (rows[:cut], rows[cut:])
    ]


def readings_of(rows: list[tuple[int, int, float]]) -> list[Reading]:
    return [Reading(time_ms, *_SERIES[code], value) for code, time_ms, value in rows]


@given(rows=_ROWS, cut=st.integers(0, 40))
@settings(max_examples=100, deadline=None)
def test_pieces_are_written_as_single_readings_are(
    tmp_path_factory: pytest.TempPathFactory, rows: list[tuple[int, int, float]], cut: int
) -> None:
    folder = tmp_path_factory.mktemp("pieces")
    assert write_rows(folder / "rows.csv", readings_of(rows)) == len(rows)
    written = (folder / "rows.csv").read_bytes()
    assert write_pieces(folder / "pieces.csv", pieces_of(rows, cut)) == len(rows)
    assert (folder / "pieces.csv").read_bytes() == written
    assert write_pieces(folder / "pieces.csv.gz", pieces_of(rows, cut)) == len(rows)
    assert gzip.decompress((folder / "pieces.csv.gz").read_bytes()) == written


@pytest.mark.parametrize("name", ["week.csv", "week.csv.gz"])
def test_pieces_are_read_back_to_the_last_bit(tmp_path: Path, name: str) -> None:
    draw = np.random.default_rng(4)
    columns = zip(
        draw.integers(0, len(_SERIES), 500).tolist(),
        draw.integers(T0, T0 + 86_400_000, 500).tolist(),
        draw.uniform(1, 79, 500).tolist(),
        strict=True,
    )
    rows = list(columns)
    assert write_pieces(tmp_path / name, pieces_of(rows, 200)) == 500
    assert read(tmp_path / name) == (sorted(readings_of(rows)), [])


def test_packed_bytes_do_not_depend_on_the_time_or_the_name(tmp_path: Path) -> None:
    rows = [(code, T0 + code, 1.5 * code) for code in range(len(_SERIES))]
    first, other = tmp_path / "first.csv.gz", tmp_path / "quite another name.csv.gz"
    for path, instant in ((first, "2026-03-02"), (other, "2031-01-01")):
        with freeze_time(instant):
            write_pieces(path, pieces_of(rows, 3))
    assert first.read_bytes() == other.read_bytes()
    # RFC 1952: bytes 4 to 7 are the time, and bit 3 of byte 3 says that a name follows.
    assert first.read_bytes()[3:8] == bytes(5)


def test_pieces_that_break_off_leave_what_was_there(tmp_path: Path) -> None:
    (tmp_path / "week.csv").write_text("of before")

    def broken() -> Iterator[Rows]:
        yield from pieces_of([(0, T0, 1.0)], 1)
        raise OSError("the disk is full")

    with pytest.raises(OSError, match="the disk is full"):
        write_pieces(tmp_path / "week.csv", broken())
    assert [path.name for path in tmp_path.iterdir()] == ["week.csv"]
    assert (tmp_path / "week.csv").read_text() == "of before"


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no disk that is always full")
def test_a_full_disk_is_an_error_and_leaves_nothing(tmp_path: Path) -> None:
    (tmp_path / ".week.csv.part").symlink_to("/dev/full")
    with pytest.raises(OSError, match="No space left"):
        write_pieces(tmp_path / "week.csv", pieces_of([(0, T0, 1.0)] * 10, 1))
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("row", "why"),
    [
        (b'2026-03-02T00:00:30Z,tray\ra,"ppfd",1,', "the line is no row of CSV: new-line character"),
        (
            b'2026-03-02T00:00:30Z,"' + b"x" * 200_000 + b'",ppfd,1,',
            "the line is no row of CSV: field larger",
        ),
        (b"2026-03-02T00:00:30Z,tray-a,air_temperature,1e-5000,degF", "'1e-5000' is not a number"),
        (b"2026-03-02T00:00:30Z,tray-a,air_temperature,1e00001,K", "'1e00001' is not a number"),
    ],
    ids=["carriage return", "long field", "tiny", "long exponent"],
)
def test_a_row_that_only_looks_like_one_costs_no_other(tmp_path: Path, row: bytes, why: str) -> None:
    """Found by fuzzing: each of these ended the reading of the whole file with a traceback."""
    good = b"2026-03-02T00:01:00Z,tray-a,ppfd,10,\n"
    readings, (refused,) = read(file_of(tmp_path, good + row + b"\n"))
    assert readings == [Reading(T0 + 60_000, "tray-a", "ppfd", 10.0)]
    assert refused.source == "week.csv:3"
    assert refused.why.startswith(why)


def test_a_packed_file_with_a_spoiled_byte_is_refused_by_name(tmp_path: Path) -> None:
    """Found by fuzzing: what the unpacking complains of is no error of the system."""
    path = tmp_path / "week.csv.gz"
    rows = b"".join(b"2026-03-02T00:%02d:00Z,tray-a,ppfd,%d,\n" % (n % 60, n * n) for n in range(500))
    whole = gzip.compress(HEADER + rows)
    told = []
    for place in range(10, len(whole), 3):
        path.write_bytes(whole[:place] + bytes([whole[place] ^ 0x55]) + whole[place + 1 :])
        try:
            list(read_blocks(path))
        except BadReading as error:
            told.append(str(error))
    assert len(told) > 10
    assert all(f"{path}: " in one for one in told)
