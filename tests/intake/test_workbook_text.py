"""Cells of a workbook come out as the spreadsheet showed them, not as it keeps them."""

import io
from datetime import date, datetime, time

import pytest
import xlsxwriter

from ringland.intake.intake import take_in
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.mapping.mapping_draft import draft_mapping
from ringland.intake.mapping.source_look import look_at
from ringland.intake.written.raw_file import RecordFileError
from ringland.intake.written.workbook_text import sheet_cells
from tests.history.record_rows import KNOWN


def book_of(*columns: list[tuple[object, str]]) -> bytes:
    """A workbook with one column after another, each cell with its number format."""
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    sheet = book.add_worksheet("A")
    for at, column in enumerate(columns):
        for row, (cell, form) in enumerate(column):
            sheet.write(row, at, cell, book.add_format({"num_format": form}))
    book.close()
    return content.getvalue()


def shown(*cells: tuple[object, str]) -> list[str]:
    return sheet_cells("book.xlsx", book_of(list(cells)), None).to_series().to_list()


def test_a_time_of_day_is_hours_minutes_and_seconds() -> None:
    assert shown((time(10, 5), "hh:mm"), (time(13, 30), "hh:mm")) == ["10:05:00", "13:30:00"]


def test_a_span_beyond_a_day_is_its_hours() -> None:
    """A spreadsheet's day 60 never was (ECMA-376 part 1, 18.17.4.1: the 1900 date system)."""
    spans = [(hours / 24, "[h]:mm") for hours in (0.75, 30.25, 1416.0, 1464.0, 3132.5)]

    assert shown(*spans) == ["0:45:00", "30:15:00", "1416:00:00", "1464:00:00", "3132:30:00"]


def test_dates_alone_have_no_time_and_midnights_among_times_keep_it() -> None:
    days = [(date(2025, 7, 1), "dd/mm/yyyy"), ("02.07.2025", "@")]
    instants = [
        (datetime(2025, 7, 1), "dd/mm/yyyy hh:mm"),
        (datetime(2025, 7, 1, 9), "dd/mm/yyyy hh:mm"),
    ]

    assert shown(*days) == ["2025-07-01", "02.07.2025"]
    assert shown(*instants) == ["2025-07-01 00:00:00", "2025-07-01 09:00:00"]


def test_text_that_is_no_date_is_left_alone() -> None:
    assert shown(("voll", "@"), (31.5, "0.0"), (45849.5, "General")) == ["voll", "31.5", "45849.5"]


def test_a_torn_workbook_is_refused_in_one_line() -> None:
    whole = book_of([("hull_id", "@")])

    with pytest.raises(RecordFileError, match=r"^fills\.xlsx: The workbook cannot .*") as refused:
        sheet_cells("fills.xlsx", whole[: len(whole) // 2], None)
    assert "\n" not in str(refused.value)
    assert "save it again" in str(refused.value)


def rental_log() -> bytes:
    """A log kept by two hands: real dates and typed ones, h:mm and decimal commas, a total."""
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    day, clock = (book.add_format({"num_format": form}) for form in ("dd.mm.yyyy", "hh:mm"))
    sheet = book.add_worksheet("June")
    sheet.merge_range(0, 0, 0, 4, "Rental log")
    sheet.merge_range(1, 0, 2, 0, "Boat")
    sheet.merge_range(1, 1, 1, 3, "Trip")
    sheet.merge_range(1, 4, 2, 4, "Hours run")
    for at, heading in enumerate(("Date", "Out", "Back"), start=1):
        sheet.write(2, at, heading)
    for row, number in ((3, 1), (5, 2), (7, 3)):
        sheet.write(row, 0, "H01")
        sheet.write(row, 1, date(2025, 6, number), day)
        sheet.write(row, 2, time(10, 0), clock)
        sheet.write(row, 3, time(11, 15), clock)
        sheet.write(row, 4, "0:51")
        typed = ("H02", f"0{number}.06.2025", "13:00", "14:00", "0,75")
        for at, cell in enumerate(typed):
            sheet.write_string(row + 1, at, cell)
    sheet.write(9, 0, "Total")
    book.add_worksheet("Notes").write(0, 0, "call the fuel man")
    book.close()
    return content.getvalue()


def test_a_log_with_merged_headings_and_two_ways_of_writing_loads_through_its_draft() -> None:
    """Found in use: time cells came out as instants of 1899 and no sheet looked like records."""
    content = rental_log()

    draft = draft_mapping("rides.xlsx", look_at("rides.xlsx", content))

    assert 'date_formats = ["%Y-%m-%d %H:%M:%S", "%d.%m.%Y %H:%M"]' in draft
    assert 'ended_at = ["trip date", "trip back"]' in draft
    assert 'decimal = ","' in draft
    answered = draft.replace('time_zone = "?"', 'time_zone = "America/Chicago"')
    (table,) = read_mapped("rides.xlsx", content, parse_mapping("rides.toml", answered))
    intake = take_in(table.kind, table.raw, KNOWN, table.found)
    assert intake.loaded["running_h"].to_list() == [0.85, 0.75] * 3  # 0:51 and 0,75
    assert intake.loaded["started_at"].dt.hour().to_list() == [15, 18] * 3  # CDT is UTC - 5 h
    assert intake.set_aside["source_row"].unique().to_list() == [10]  # the line 'Total'


def test_a_draft_puts_a_date_and_its_time_of_day_together() -> None:
    log = "Boot;Datum;Uhrzeit;Liter;Oktan\nH02;01.07.2025;09:30;42,5;95\n".encode("cp1252")

    draft = draft_mapping("tanken.csv", look_at("tanken.csv", log))

    assert 'filled_at = ["datum", "uhrzeit"]' in draft
    assert 'volume_l = "liter"' in draft
    assert "# Not used" not in draft
