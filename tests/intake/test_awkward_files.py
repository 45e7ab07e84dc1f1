"""Files as operators really hand them over, written by hand: each loads or says what to mend."""

import io
from collections.abc import Mapping
from datetime import date, datetime
from pathlib import Path

import polars as pl
import pytest
import xlsxwriter

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import Intake, take_in
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.date_forms import read_clock_form
from ringland.intake.mapping.dock_clocks import DockClocks
from ringland.intake.mapping.mapped_rows import MappedTable, read_mapped
from ringland.intake.written.raw_text import RecordFileError, read_raw
from ringland.units import in_unit

FIXTURES = Path(__file__).parent / "fixtures"
KNOWN = {"hulls": ["H01", "H02"], "engines": ["E1", "E2"], "docks": ["north", "south"]}
CLOCKS = DockClocks({"north": "America/Chicago"}, {"H01": "north", "H02": "north"})


def mapped(name: str, content: bytes, mapping: str) -> list[MappedTable]:
    return read_mapped(name, content, parse_mapping(f"{name}.toml", mapping), CLOCKS)


def intakes(tables: list[MappedTable]) -> dict[str, Intake]:
    return {table.kind.name: take_in(table.kind, table.raw, KNOWN, table.found) for table in tables}


def with_mapping(name: str) -> dict[str, Intake]:
    path = FIXTURES / name
    mapping = path.with_suffix(".toml").read_text(encoding="utf-8")
    return intakes(mapped(name, path.read_bytes(), mapping))


def as_it_is(name: str) -> Intake:
    kind = RECORD_KINDS[next(kind for kind in RECORD_KINDS if name.startswith(kind))]
    return take_in(kind, read_raw(name, (FIXTURES / name).read_bytes()), KNOWN)


def said(intake: Intake) -> list[tuple[int, str, str]]:
    return intake.set_aside.select("source_row", "field", "fault").rows()


def utc(text: str) -> datetime:
    return datetime.fromisoformat(f"{text}+00:00")


def test_a_typed_up_log_in_cp1252_with_decimal_commas_and_two_kinds_in_one_sheet():
    found = with_mapping("dock_log.csv")

    sessions, fills = found["sessions"], found["fills"]
    assert sessions.loaded.select("hull_id", "started_at", "ended_at", "running_h").rows() == [
        ("H01", utc("2025-11-02 15:00"), utc("2025-11-02 16:00"), 0.8)
    ]
    # 10.5 US gal by the exact definition (NIST SP 811, see test_units), to 12 digits as kept
    assert fills.loaded["volume_l"].to_list() == pytest.approx(
        [in_unit(10.5, "US gal", "l")], rel=1e-11
    )
    assert fills.loaded["source_dock_id"].to_list() == ["north"]
    assert said(fills) == [
        (6, "volume_l", "volume_l is '1.0,5', which is not a figure written as the mapping says.")
    ]
    assert sessions.rows_in == 4
    assert sessions.rows_set_aside == 3


def test_clock_times_that_came_twice_or_never_are_set_aside_with_the_remedy():
    sessions = with_mapping("dock_log.csv")["sessions"]

    faults = {row: fault for row, field, fault in said(sessions) if field == "started_at"}
    # the clock changes of 2025 in America/Chicago: 9 March and 2 November (tz database)
    assert faults == {
        3: "started_at is '02.11.2025 01:30', which came twice in America/Chicago: "
        "clocks went back that night.",
        4: "started_at is '09.03.2025 02:30', which never came in America/Chicago: "
        "clocks went forward over it.",
    }
    assert "offset" in sessions.set_aside["remedy"][0]


def test_a_row_that_no_table_takes_is_set_aside_and_one_left_out_on_purpose_is_counted():
    path = FIXTURES / "dock_log.csv"
    tables = mapped(
        path.name, path.read_bytes(), path.with_suffix(".toml").read_text(encoding="utf-8")
    )

    assert [table.left_out for table in tables] == [1, 0]
    stray = intakes(tables)["sessions"].set_aside.row(-1, named=True)
    assert stray["source_row"] == 8
    assert stray["fault"] == "No table of the mapping takes the row: art is 'Ölwechsel'."
    assert "Ölwechsel" in stray["raw_row"]


def test_a_utf_16_export_with_a_twelve_hour_clock():
    fills = with_mapping("pump_export.txt")["fills"]

    # the only date that can tell, 13/04, speaks against the mapping's order
    assert said(fills) == [
        (
            2,
            "filled_at",
            "filled_at is '07/04/2025 2:30 PM', but its column shows that day and month may be "
            "exchanged.",
        ),
        (
            3,
            "filled_at",
            "filled_at is '07/04/2025 12:05 AM', but its column shows that day and month may be "
            "exchanged.",
        ),
        (3, "volume_l", "volume_l is 3,832.35089 but may be at most 400 l."),
        (
            4,
            "filled_at",
            "filled_at is '13/04/2025 9:00 AM', which is not a date written as %m/%d/%Y %I:%M %p.",
        ),
    ]


def test_a_meter_round_below_a_title_with_a_total_line():
    readings = with_mapping("meters.txt")["hour_readings"]

    assert readings.loaded.select("hull_id", "read_at", "meter_h", "source_row").rows() == [
        ("H01", utc("2025-06-02 23:00"), 130.2, 5)
    ]
    assert said(readings) == [
        (6, "meter_h", "meter_h is '88,4', which is not a figure written as the mapping says.")
    ]


def test_tanker_slips_in_imperial_gallons_with_a_price_per_gallon():
    deliveries = with_mapping("deliveries.csv")["deliveries"]

    # 4.54609 l exactly: UK Units of Measurement Regulations 1995, from memory
    assert deliveries.loaded["volume_l"].to_list() == pytest.approx([4546.09, 2273.045], rel=1e-11)
    assert deliveries.loaded["price_per_l"].to_list() == pytest.approx([6.2 / 4.54609] * 2)
    assert deliveries.loaded["octane_ron"].to_list() == [95, 98]
    # British summer time in July
    assert deliveries.loaded["delivered_at"].to_list()[0] == utc("2025-07-04 06:30")


def test_formulas_and_html_in_a_text_are_kept_as_they_were_written():
    failures = as_it_is("failures.csv")

    assert failures.loaded["complaint"].to_list() == [
        '=HYPERLINK("x","pay")',
        "<script>alert('x')</script> & \"noise\"",
    ]
    assert said(failures) == [(4, "mode", "mode is 'melted', which is not one of the choices.")]


def test_torn_rows_are_kept_whole_and_the_rest_loads():
    readings = as_it_is("hour_readings torn.csv")

    assert readings.loaded["meter_h"].to_list() == [130.2, 132.0]
    assert [row for row, _, _ in said(readings)] == [3, 4]


def test_slips_of_the_pen_are_named_with_the_nearest_hull():
    sessions = as_it_is("sessions slips.csv")

    assert sessions.loaded.is_empty()
    rows = dict(sessions.set_aside.select("source_row", "remedy").rows())
    assert rows[2].startswith("Did you mean 'H01'?")
    assert rows[3] == "End it with Z for UTC, or with the offset, e.g. 2025-07-04T14:30:00-05:00."
    assert rows[4] == "Compare started_at and ended_at with the paper record and put one right."
    assert rows[5].startswith("Write the figure alone with a decimal point")


def test_old_line_ends_and_blank_rows():
    stays = as_it_is("installations.csv")

    assert stays.loaded["engine_id"].to_list() == ["E1"]
    assert said(stays) == [(5, "installed_at, removed_at", "removed_at lies before installed_at.")]


def test_a_header_without_rows_is_no_fault():
    assert as_it_is("fills header only.csv").rows_in == 0


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("fills unclosed.csv", "row 2: The record that begins on line 2 cannot be read"),
        ("docks latin.csv", "row 2: The bytes b'\\xfc' are not utf-8 text"),
        ("costs twice.csv", "row 1, amount: Columns 3 and 4 have the same name"),
        ("fills empty.csv", "The file is empty"),
        ("inspections photo.csv", "are not utf-8 text"),
        ("engines old.xls.csv", "The workbook cannot be opened"),
    ],
)
def test_a_file_that_cannot_be_read_says_what_to_do(name: str, message: str):
    with pytest.raises(RecordFileError) as raised:
        as_it_is(name)

    assert str(raised.value).startswith(name)
    assert message in str(raised.value)
    assert raised.value.remedy


BOOK = """
[source]
date_formats = ["serial", "%Y-%m-%d %H:%M:%S"]
time_zone = "America/Chicago"

[[table]]
kind = "fills"
sheet = "Fuel"
header_rows = [2, 3]
[table.columns]
hull_id = "Craft no"
filled_at = "Craft filled"
volume_l = { column = "Fuel gallons", unit = "US gal" }
price_per_l = { column = "Fuel price", unit = "money/US gal" }
source = { value = "outside" }

[[table]]
kind = "hour_readings"
sheet = "Meters"
[table.columns]
hull_id = "Craft"
meter_id = "Craft"
read_at = "Read"
meter_h = "Hours"
"""


def workbook() -> bytes:
    """Two sheets by hand: merged headings, numbers as text, serial and real dates."""
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    day = book.add_format({"num_format": "yyyy-mm-dd hh:mm:ss"})
    fuel = book.add_worksheet("Fuel")
    fuel.write("A1", "Invented marina, season log")
    fuel.merge_range("A2:B2", "Craft")
    fuel.merge_range("C2:D2", "Fuel")
    fuel.write_row("A3", ["no", "filled", "gallons", "price"])
    fuel.write_row("A4", ["H01", 45842.5, "12.5", 4.0])  # 45842 is 2025-07-04
    fuel.write_datetime("B5", datetime(2025, 7, 5, 12, 0), day)
    fuel.write("A5", "H02")
    fuel.write_string("C5", "10")
    fuel.write("A6", "H02")
    fuel.write("B6", "yesterday")
    fuel.write_number("C6", 10)
    meters = book.add_worksheet("Meters")
    meters.write_row("A1", ["Craft", "Read", "Hours"])
    meters.write_row("A2", ["H01", 45842.75, "130.2"])
    book.add_worksheet("Notes").write("A1", "nothing to load")
    book.close()
    return content.getvalue()


def test_a_workbook_with_merged_headings_numbers_as_text_and_serial_dates():
    found = intakes(mapped("season.xlsx", workbook(), BOOK))

    fills = found["fills"].loaded
    assert fills.select("hull_id", "filled_at", "source_file", "source_row").rows() == [
        ("H01", utc("2025-07-04 17:00"), "season.xlsx [Fuel]", 4),
        ("H02", utc("2025-07-05 17:00"), "season.xlsx [Fuel]", 5),
    ]
    assert fills["volume_l"].to_list() == pytest.approx(
        [in_unit(12.5, "US gal", "l"), in_unit(10, "US gal", "l")], rel=1e-11
    )
    assert fills["price_per_l"].to_list()[0] == pytest.approx(4 / 3.785411784)
    assert found["hour_readings"].loaded["read_at"].to_list() == [utc("2025-07-04 23:00")]
    assert said(found["fills"]) == [
        (
            6,
            "filled_at",
            "filled_at is 'yesterday', which is not a date written as serial, %Y-%m-%d %H:%M:%S.",
        )
    ]


def test_a_parquet_file_goes_through_a_mapping_as_well():
    content = io.BytesIO()
    frame: Mapping[str, list[object]] = {
        "Craft": ["H01"],
        "Read": [datetime(2025, 7, 4, 18, 0)],
        "Shows": [130.25],
    }
    pl.DataFrame(frame).write_parquet(content)
    mapping = """
    [source]
    date_formats = ["%Y-%m-%dT%H:%M:%S%.f"]
    time_zone = "America/Chicago"
    [[table]]
    kind = "hour_readings"
    [table.columns]
    hull_id = "Craft"
    meter_id = { value = "M1" }
    read_at = "Read"
    meter_h = "Shows"
    """

    readings = intakes(mapped("meters.parquet", content.getvalue(), mapping))["hour_readings"]

    assert readings.loaded.select("meter_id", "read_at", "meter_h").rows() == [
        ("M1", utc("2025-07-04 23:00"), 130.25)
    ]


def test_a_serial_day_is_the_spreadsheets_day():
    # ECMA-376 part 1, 18.17.4.1: serial 2 958 465 is 9999-12-31, and day 1 of March 1900 is 61
    from_serial = pl.Series(["61", "45842", "2958465"])
    days = read_clock_form(from_serial, "serial", None).dt.date().to_list()

    assert days == [date(1900, 3, 1), date(2025, 7, 4), date(9999, 12, 31)]
