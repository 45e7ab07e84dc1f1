"""The quick road through a large plain CSV against the careful one: the same in every cell."""

import math
import random
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction

import polars as pl
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from polars.testing import assert_frame_equal

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake import intake as intake_module
from ringland.intake.intake import Intake, take_in, take_in_file, take_in_plain
from ringland.intake.written.plain_csv import PlainCsv, read_plain_csv
from ringland.intake.written.raw_file import RecordFileError
from ringland.intake.written.raw_text import read_raw
from tests.history.record_rows import KNOWN, VALID_TEXT, csv_of
from tests.intake.test_mutated_rows import JUNK, numbered

EVERY_KIND = pytest.mark.parametrize("kind", list(RECORD_KINDS))
PLAIN_JUNK = [
    *(cell for cell in JUNK if cell == '""' or not set(cell) & set('",;\t')),
    " ", "x y", " 40.5", "40.5 ", "+1", "1.", ".5", "1e1", "-0", "-0.0", "007", "4.0", "00.5",
    "0.35000000000000003", "12345678901234567890", "0.00000000000000000000000001",
    "9007199254740993", "999999999999999", "1000000000000000",
    "YES", "No", "TRUE", "0", "1", "01", "ja",
    "2025-06-01T10:00:00+02:00", "2025-06-01T10:00:00-05:30", "2025-06-01T10:00:00+24:00",
    "2025-06-01T24:00:00Z", "2025-06-01T10:00:60Z", "2024-02-29T10:00:00Z", "2023-02-29T10:00:00Z",
    "2025-06-01 10:00:00Z", "2025-06-01T10:00Z", "2025-06-01T10:00:00.5Z", "2025-06-01T10:00:00z",
    "2025-00-01T10:00:00Z", "0000-01-01T00:00:00Z", "0001-01-01T00:00:00Z", "M\u00f6we",
]  # fmt: skip


def same_on_both_roads(kind: str, content: bytes, block_bytes: int = 300) -> PlainCsv:
    """The quick reading, after its Intake was found equal to that of the careful road."""
    about = RECORD_KINDS[kind]
    plain = read_plain_csv(about.schema, "f.csv", content, block_bytes)
    assert plain is not None
    quick = take_in_plain(about, plain, KNOWN)
    assert_same(quick, take_in(about, read_raw("f.csv", content), KNOWN))
    return plain


def assert_same(quick: Intake, careful: Intake) -> None:
    assert (quick.kind, quick.source_file, quick.rows_in, quick.notes) == (
        careful.kind,
        careful.source_file,
        careful.rows_in,
        careful.notes,
    )
    assert_frame_equal(quick.loaded, careful.loaded, check_exact=True)
    assert_frame_equal(quick.set_aside, careful.set_aside, check_exact=True)


@EVERY_KIND
@pytest.mark.parametrize("delimiter", [",", ";", "\t"])
def test_both_roads_agree_on_mixtures_of_good_and_bad_cells(kind: str, delimiter: str) -> None:
    about = RECORD_KINDS[kind]
    rng = random.Random(f"roads {kind} {delimiter}")  # noqa: S311 - junk, not secrets
    rows = numbered(about, 400)
    for row in rows:
        for name in rng.sample(list(row), rng.choice([0, 0, 1, 2])):
            cell = row[name]
            row[name] = rng.choice(
                [rng.choice(PLAIN_JUNK), "", cell[::-1], cell[:-1], rng.choice(rows)[name]]
            )
    lines = csv_of(rows, delimiter).decode().splitlines()
    for _ in range(20):
        place = rng.randint(1, len(lines) - 1)
        cut = rng.choice(["", delimiter * 3, delimiter, "one", f"{lines[place]}{delimiter}x", " "])
        lines.insert(place, cut)
    line_end = rng.choice(["\n", "\r\n"])
    content = line_end.join(lines) + rng.choice([line_end, 2 * line_end, 3 * line_end])

    plain = same_on_both_roads(kind, content.encode())

    assert plain.typed.height > 50  # the quick road did read a good part
    assert plain.others.rows_in > 0


@EVERY_KIND
def test_both_roads_agree_on_mutated_demo_like_rows_of_any_text(kind: str) -> None:
    about = RECORD_KINDS[kind]
    rng = random.Random(f"any text {kind}")  # noqa: S311 - junk, not secrets
    read = 0
    for _ in range(20):
        rows = numbered(about, 6)
        for _ in range(3):
            row = rng.choice(rows)
            name = rng.choice(list(row))
            row[name] = rng.choice([row[name][::-1], row[name] * 2, rng.choice(JUNK)])
        content = csv_of(rows)
        plain = read_plain_csv(about.schema, "f.csv", content, 100)
        if plain is None:
            continue
        read += 1
        careful = take_in(about, read_raw("f.csv", content), KNOWN)
        assert_same(take_in_plain(about, plain, KNOWN), careful)
    assert read > 10  # a quotation mark ends the quick road


def column_read(kind: str, name: str, cells: list[str]) -> pl.Series:
    """The typed cells of one column, after both roads were found to agree on the file."""
    rows = [VALID_TEXT[kind] | {name: cell} for cell in cells]
    return same_on_both_roads(kind, csv_of(rows), 4096).typed[name]


@given(st.lists(st.floats(allow_nan=False, allow_infinity=False), min_size=1, max_size=20))
@example([0.1, -0.0, 5e-324, 1.7976931348623157e308, 2.0**53, 2.0**53 + 2, 0.3 - 0.1])
@settings(derandomize=True, deadline=None)
def test_a_written_float_is_read_to_the_same_bits(values: list[float]) -> None:
    column_read("drains", "volume_l", [repr(value) for value in values])


@given(st.lists(st.tuples(st.integers(0, 10**18 - 1), st.integers(0, 22)), min_size=1, max_size=20))
@settings(derandomize=True, deadline=None)
def test_digits_and_a_point_are_rounded_as_python_rounds_them(
    figures: list[tuple[int, int]],
) -> None:
    """Python's float() is correctly rounded (David Gay's algorithm), and knows nothing of ours."""
    texts = [
        f"{digits // 10**places}.{digits % 10**places:0{places}}" if places else str(digits)
        for digits, places in figures
    ]
    about = RECORD_KINDS["drains"]
    rows = [VALID_TEXT["drains"] | {"volume_l": text} for text in texts]

    plain = read_plain_csv(about.schema, "f.csv", csv_of(rows))

    assert plain is not None
    for row, number in plain.typed.select("source_row", "volume_l").iter_rows():
        assert number == float(texts[row - 2])
    for text in plain.others.frame["volume_l"]:  # only what is too close to call is left out
        nearest = float(text)
        gap = math.ulp(nearest)
        off_middle = abs(abs(Fraction(text) - Fraction(nearest)) - Fraction(gap) / 2)
        assert off_middle < gap * 2.0**-39  # twice the doubt of the kernel, of half a gap


def test_a_number_in_the_middle_between_two_doubles_is_left_to_the_careful_road() -> None:
    plain = same_on_both_roads(
        "drains",
        csv_of([VALID_TEXT["drains"] | {"volume_l": text} for text in ("9007199254740993", "7.5")]),
    )

    assert plain.typed["volume_l"].to_list() == [7.5]
    assert plain.others.frame["volume_l"].to_list() == ["9007199254740993"]


@given(
    st.lists(
        st.datetimes(datetime(1, 1, 2), datetime(9999, 12, 30), timezones=st.just(UTC)),
        min_size=1,
        max_size=10,
    ),
    st.integers(-23 * 60 - 59, 23 * 60 + 59),
)
@settings(derandomize=True, deadline=None)
def test_any_instant_is_read_as_python_reads_it(instants: list[datetime], minutes: int) -> None:
    zone = timezone(timedelta(minutes=minutes))
    instants = [instant.replace(microsecond=0) for instant in instants]
    cells = [instant.isoformat().replace("+00:00", "Z") for instant in instants]
    cells += [instant.astimezone(zone).isoformat() for instant in instants]

    read = column_read("drains", "drained_at", cells)

    assert read.to_list() == [*instants, *instants]


@pytest.mark.parametrize(
    "content",
    [
        b'hull_id,drained_at\nH01,"2024-05-02\n"\n',
        b'hull_id,drained_at\nH"0"1,2024-05-02T08:30:00Z\n',
        b'hull_id,drained_at\n"H01" ,2024-05-02T08:30:00Z\n',
        b'hull_id,drained_at\nH01,"2024-05-02T08:30:00Z\n',
        b"hull_id,drained_at\nH01\r,2024-05-02T08:30:00Z\n",
        b"hull_id,drained_at\nH0\x001,2024-05-02T08:30:00Z\n",
        b'"hull_id",drained_at\nH01,2024-05-02T08:30:00Z\n',
        b"hull_id,hull_id\nH01,2024-05-02T08:30:00Z\n",
        b"\nhull_id,drained_at\nH01,2024-05-02T08:30:00Z\n",
        b"hull_id,drained_at\nH\xff,2024-05-02T08:30:00Z\n",
        b"hull_id,drained_at\n",
        b"hull_id,drained_at",
        b"\xff\xfeh\x00\n\x00",
        b"PAR1,a\n1,2\n",
        b"",
    ],
)
def test_a_file_that_is_not_plain_is_left_to_the_careful_road(content: bytes) -> None:
    assert read_plain_csv(RECORD_KINDS["drains"].schema, "f.csv", content) is None


def test_a_quoted_cell_is_read_by_the_careful_road() -> None:
    lines = [
        b"hull_id,drained_at,volume_l,why",
        b'H01,2024-05-02T08:30:00Z,1.5,"old, ""blue"" fuel"',
        b'"H02",2024-05-02T08:30:00Z,"",""""',
        b"H02,2024-05-03T08:30:00Z,2.5,water",
        b'H02,2024-05-04T08:30:00Z,2.5,"water","""',
    ]

    plain = same_on_both_roads("drains", b"\n".join([*lines[:4], b""]))

    assert plain.typed["volume_l"].to_list() == [2.5]
    assert plain.others.frame["why"].to_list() == ['old, "blue" fuel', '"']
    unclosed = b"\n".join([*lines, lines[1]])
    assert read_plain_csv(RECORD_KINDS["drains"].schema, "f.csv", unclosed) is None


def test_a_file_without_its_last_line_end_is_left_to_the_careful_road() -> None:
    """There it is told whether its last cell was cut off."""
    content = csv_of([VALID_TEXT["drains"]] * 3).rstrip(b"\n")

    assert read_plain_csv(RECORD_KINDS["drains"].schema, "f.csv", content) is None


def test_a_file_with_many_odd_lines_is_left_to_the_careful_road() -> None:
    rows = [VALID_TEXT["drains"] | {"volume_l": "n/a"}] * 101

    assert read_plain_csv(RECORD_KINDS["drains"].schema, "f.csv", csv_of(rows)) is None


def test_a_byte_order_mark_is_no_part_of_the_first_name() -> None:
    plain = same_on_both_roads("drains", b"\xef\xbb\xbf" + csv_of([VALID_TEXT["drains"]]))

    assert plain.columns[0] == "hull_id"


def test_columns_in_any_order_beside_others_are_read() -> None:
    row = {"note": "as told"} | dict(reversed(VALID_TEXT["sessions"].items())) | {"x": ""}

    plain = same_on_both_roads("sessions", csv_of([row, row | {"x": "1"}]))

    assert plain.typed["running_h"].to_list() == [0.8, 0.8]


def test_a_missing_column_is_named_as_on_the_careful_road() -> None:
    content = b"hull_id,volume_l\nH01,12.5\n"
    about = RECORD_KINDS["drains"]
    plain = read_plain_csv(about.schema, "f.csv", content)
    assert plain is not None

    with pytest.raises(RecordFileError) as quick:
        take_in_plain(about, plain, KNOWN)
    with pytest.raises(RecordFileError) as careful:
        take_in(about, read_raw("f.csv", content), KNOWN)

    assert str(quick.value) == str(careful.value)


def large_log(rows: int) -> bytes:
    """Rentals of two hulls in order of time, with one row of every fault in each thousand."""
    number = pl.int_range(rows, eager=True)
    start = 1_400_000_000 + number * 3600
    fault = number % 1000
    frame = pl.DataFrame({"n": number, "fault": fault}).select(
        hull_id=pl.when(pl.col("fault") == 1).then(pl.lit("H0l")).otherwise(pl.lit("H01")),
        started_at=pl.from_epoch(start).dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        ended_at=pl.from_epoch(start + pl.when(pl.col("fault") == 2).then(-60).otherwise(2400))
        .dt.strftime("%Y-%m-%dT%H:%M:%SZ"),
        running_h=pl.when(pl.col("fault") == 3)
        .then(pl.lit("n/a"))
        .when(pl.col("fault") == 4)
        .then(pl.lit("0.9"))
        .otherwise(pl.lit("0.5")),
        full_throttle_share=pl.when(pl.col("fault") == 5).then(pl.lit("")).otherwise(pl.lit("0.3")),
    )  # fmt: skip
    return frame.write_csv().encode()


def test_a_large_file_is_taken_in_as_by_the_careful_road(monkeypatch: pytest.MonkeyPatch) -> None:
    content = large_log(320_000)
    assert len(content) > 1 << 24
    about = RECORD_KINDS["sessions"]
    careful = take_in(about, read_raw("log.csv", content), KNOWN)
    monkeypatch.setattr(intake_module, "read_raw", None)  # the careful road is closed

    quick = take_in_file(about, "log.csv", content, KNOWN)

    assert_same(quick, careful)
    assert quick.rows_set_aside == 4 * 320


def test_a_key_that_comes_back_in_a_long_log_is_set_aside() -> None:
    log = large_log(320_000).decode().splitlines(keepends=True)
    content = "".join([*log, log[100], log[7]]).encode()
    about = RECORD_KINDS["sessions"]

    quick = take_in_file(about, "log.csv", content, KNOWN)

    assert_same(quick, take_in(about, read_raw("log.csv", content), KNOWN))
    assert quick.set_aside["fault"].to_list()[-2:] == [
        "Same as row 101 of this file.",
        "Same as row 8 of this file.",
    ]
