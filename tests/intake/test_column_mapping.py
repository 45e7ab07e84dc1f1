"""A mapping says what it must, or the message names file, entry and remedy."""

import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.mapped_cells import clock_hours, figures, plain_numbers
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.mapping.mapping_entries import MappingError
from ringland.intake.mapping.mapping_rules import ColumnRule, Writing

READINGS = """
[source]
files = ["Meter*.csv"]
date_formats = ["%d/%m/%Y %H:%M"]
time_zone = "Europe/Oslo"
[[table]]
kind = "hour_readings"
[table.columns]
hull_id = "Boat"
meter_id = "Meter"
read_at = "Read"
meter_h = "Hours"
"""


def test_a_mapping_knows_its_files_whatever_their_case() -> None:
    mapping = parse_mapping("m.toml", READINGS)

    assert mapping.is_for("METER june.CSV")
    assert not mapping.is_for("fuel.csv")
    assert mapping.kinds() == {"hour_readings"}


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("[source]", "[source", "m.toml, the file: It is not valid TOML"),
        ("[source]", "[sauce]", "m.toml, the file: 'sauce' is not known here. Use source, table."),
        (
            '"hour_readings"',
            '"meters"',
            "m.toml, table 1.kind: 'meters' is not a kind of record. Write one of: docks,",
        ),
        (
            'read_at = "Read"',
            "",
            "m.toml, table 1.columns: Nothing is said about read_at, which may not be empty.",
        ),
        (
            'meter_h = "Hours"',
            'meter_hours = "Hours"',
            "m.toml, table 1.columns: 'meter_hours' is not known here. Use hull_id, meter_h,",
        ),
        (
            '"Europe/Oslo"',
            '"?"',
            "m.toml, source.time_zone: The question is not answered yet.",
        ),
        (
            '"Europe/Oslo"',
            '"Oslo"',
            "m.toml, source.time_zone: There is no time zone 'Oslo'.",
        ),
        (
            'time_zone = "Europe/Oslo"',
            "",
            "m.toml, table 1.columns.read_at: The time zone of the clock is not given.",
        ),
        (
            " %H:%M",
            "",
            "m.toml, table 1.columns.read_at: The date form '%d/%m/%Y' has no time of day.",
        ),
        (
            '"Hours"',
            '{ column = "Hours", unit = "furlong" }',
            "m.toml, table 1.columns.meter_h.unit: Unit 'furlong' is not known;",
        ),
        (
            '"Hours"',
            '{ column = "Hours", unit = "l" }',
            "m.toml, table 1.columns.meter_h.unit: 'l' cannot be turned into 'h'.",
        ),
        (
            '"Boat"',
            '{ column = "Boat", value = "H01" }',
            "m.toml, table 1.columns.hull_id: It needs either a column or a value.",
        ),
        ('"Boat"', "7", "m.toml, table 1.columns.hull_id: It is not a table."),
        ('"Boat"', "[7]", "m.toml, table 1.columns.hull_id.columns: It is not a list of texts."),
        (
            "[source]",
            '[source]\ndecimal = ";"',
            "m.toml, source.decimal: The decimal mark ';' does not do.",
        ),
        (
            'kind = "hour_readings"',
            'kind = "hour_readings"\nheader_rows = [3, 2]',
            "m.toml, table 1.header_rows: It is no list of rising row numbers.",
        ),
        (READINGS[READINGS.index("[[table]]") :], "", "m.toml, table: There is none."),
    ],
)
def test_a_mapping_that_does_not_do_is_refused_with_entry_and_remedy(
    old: str, new: str, message: str
) -> None:
    assert old in READINGS

    with pytest.raises(MappingError) as raised:
        parse_mapping("m.toml", READINGS.replace(old, new))

    assert str(raised.value).startswith(message)
    assert raised.value.remedy


def test_a_heading_that_is_not_in_the_file_is_named_with_those_that_are() -> None:
    with pytest.raises(MappingError, match=r"There is no column 'boat' in f\.csv; it has: craft"):
        read_mapped("f.csv", b"Craft,x\nH01,2\n", parse_mapping("m.toml", READINGS))


@settings(derandomize=True, deadline=None)
@given(st.floats(0, 99_999, allow_nan=False).map(lambda x: round(x, 2)))
def test_a_figure_survives_being_written_with_comma_and_points(figure: float) -> None:
    german = f"{figure:,.2f}".translate(str.maketrans(",.", ".,"))

    read = plain_numbers(pl.Series([german]), Writing(",", "."), None)

    assert read.to_list() == [figure]


@pytest.mark.parametrize(
    "cell", ["1.23", "1.2345,6", "12,3,4", "", "--2", "1 000", "4 US gal", "x"]
)
def test_what_is_not_a_figure_in_this_writing_is_not_read(cell: str) -> None:
    assert plain_numbers(pl.Series([cell]), Writing(",", "."), "l").to_list() == [None]


def test_a_heading_that_names_another_unit_than_the_column_is_asked_about() -> None:
    """volume_l = "Gas (gal)", the plain answer to a draft's question, loaded gallons as litres."""
    mapping = parse_mapping("m.toml", READINGS.replace('"Hours"', '"Run min"'))

    with pytest.raises(MappingError, match="'run min' names min, the column is in h"):
        read_mapped("meter.csv", b"Boat,Meter,Read,Run min\nH01,M1,01/07/2025 09:00,90\n", mapping)


def test_only_litres_can_be_taken_back() -> None:
    text = READINGS.replace("[table.columns]", 'take_back = { Type = ["refund"] }\n[table.columns]')

    with pytest.raises(MappingError, match="There are no litres to take back"):
        parse_mapping("m.toml", text)


def test_a_unit_behind_the_figure_is_taken_off_only_if_it_is_the_one_stated() -> None:
    rule = ColumnRule("volume_l", ("v",), Writing(), unit="US gal")

    text, complaints = figures(pl.Series(["10 us gal", "10 l"]), rule, "l")

    assert text.to_list() == ["37.85411784", "10 l"]  # 10 x 3.785411784 (NIST SP 811)
    assert complaints["fault"].null_count() == 1


def test_hours_and_minutes_become_decimal_hours() -> None:
    read = clock_hours(pl.Series(["1:30", "0:06", "100:45:36", "1:60", "1.5"]))

    assert read.to_list() == pytest.approx([1.5, 0.1, 100.76, None, None])
