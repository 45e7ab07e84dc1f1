"""Set-aside rows go into a workbook as plain text and come back mended or left out."""

import io
import zipfile

import polars as pl
import pytest
import xlsxwriter

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.intake import take_in
from ringland.intake.mapping.column_mapping import parse_mapping
from ringland.intake.mapping.mapped_rows import read_mapped
from ringland.intake.mend_book import mend_workbook, read_mended
from ringland.intake.written.raw_text import RecordFileError, read_raw
from ringland.intake.written.workbook_text import sheet_cells, sheet_names
from tests.history.record_rows import KNOWN

EVIL = ['=HYPERLINK("http//x","y")', "<b>bold</b>", '"quoted"', "@SUM(1)", "+1", "-2", "a\nb"]


def set_aside(fills: bytes) -> pl.DataFrame:
    return take_in(RECORD_KINDS["fills"], read_raw("fills.csv", fills), KNOWN).set_aside


FILLS = set_aside(
    b"hull_id,filled_at,volume_l,source,note\n"
    b"H01,2025-06-01T10:00:00Z,4o,outside,a\n"
    b"H01,2025-06-02T10:00:00Z,41,Outside,b\n"
    b"H01,2025-06-03T10:00:00Z,42\n"
)


def mended(content: bytes, **cells: str) -> bytes:
    """The workbook as a spreadsheet program saves it, with cells (e.g. C2='x') changed."""
    out = io.BytesIO()
    book = xlsxwriter.Workbook(out, {"in_memory": True})
    for name in sheet_names("b.xlsx", content):
        sheet = book.add_worksheet(name)
        for r, row in enumerate(sheet_cells("b.xlsx", content, name).rows()):
            for c, cell in enumerate(row):
                place = f"{chr(65 + c)}{r + 1}"
                text = cells.get(place, cell) if name == "fills" else cell
                sheet.write_string(r, c, text or "")
    book.close()
    return out.getvalue()


def test_the_workbook_has_one_line_per_row_with_its_reasons_and_cells() -> None:
    book = mend_workbook(FILLS)

    cells = sheet_cells("set-aside.xlsx", book, "fills")
    header, first, second, torn = cells.rows()
    assert header[:7] == (
        "leave out?", "fault", "remedy", "hull_id", "filled_at", "volume_l", "source",
    )  # fmt: skip
    assert first[1] == "volume_l is '4o', which is not a number."
    assert first[3:7] == ("H01", "2025-06-01T10:00:00Z", "4o", "outside")
    assert second[6] == "Outside"
    assert torn[3:7] == ("", "", "", "")
    assert '"H01", "2025-06-03T10:00:00Z", "42"' in torn[-1]
    assert sheet_names("set-aside.xlsx", book) == ["How to mend", "fills"]


def test_the_same_rows_give_the_same_bytes() -> None:
    assert mend_workbook(FILLS) == mend_workbook(FILLS)


@pytest.mark.parametrize("evil", EVIL)
def test_no_text_becomes_a_formula_or_a_link(evil: str) -> None:
    rows = FILLS.head(1).with_columns(fault=pl.lit(evil), source_file=pl.lit(evil))
    rows = rows.with_columns(raw_row=pl.col("raw_row").str.replace("4o", "=1+1", literal=True))

    book = mend_workbook(rows)

    with zipfile.ZipFile(io.BytesIO(book)) as parts:
        sheets = [parts.read(n).decode() for n in parts.namelist() if "worksheets/sheet" in n]
        relations = [n for n in parts.namelist() if "worksheets/_rels" in n]
    assert not any("<f>" in sheet or "<hyperlink" in sheet for sheet in sheets)
    assert relations == []
    assert sheet_cells("b.xlsx", book, "fills")[1, 1] == evil


def test_a_book_nobody_touched_brings_nothing() -> None:
    sheet = read_mended("b.xlsx", mended(mend_workbook(FILLS)), FILLS)["fills"]

    assert (sheet.replaced, sheet.left_out, sheet.raw.rows_in) == ([], [], 0)


def test_mended_rows_load_and_rows_left_out_are_named() -> None:
    content = mended(mend_workbook(FILLS), F2="40", A3="Leave out", D4="H02",
                     E4="2025-06-03T10:00:00Z", F4="42", G4="outside")  # fmt: skip

    sheet = read_mended("b.xlsx", content, FILLS)["fills"]
    intake = take_in(RECORD_KINDS["fills"], sheet.raw, KNOWN)

    assert intake.loaded.select("hull_id", "volume_l", "source_file", "source_row").rows() == [
        ("H01", 40.0, "b.xlsx [fills]", 2),
        ("H02", 42.0, "b.xlsx [fills]", 4),
    ]
    assert len(sheet.replaced) == 2
    assert [row for row in sheet.left_out if "Outside" in row] == sheet.left_out
    assert len(sheet.left_out) == 1


def test_a_row_that_was_mended_before_is_passed_over() -> None:
    content = mended(mend_workbook(FILLS), F2="40")

    assert read_mended("b.xlsx", content, FILLS.clear())["fills"].replaced == []


def test_a_book_without_its_id_column_is_refused() -> None:
    content = mended(mend_workbook(FILLS), A1="x")

    with pytest.raises(RecordFileError, match=r"The sheet fills has no column 'leave out\?'"):
        read_mended("b.xlsx", content, FILLS)


GALLONS = """
[source]
delimiter = ","
[[table]]
kind = "fills"
[table.columns]
hull_id = "boat"
filled_at = "when"
volume_l = { column = "gal", unit = "US gal" }
source = { value = "outside" }
"""


def test_gallons_that_could_not_be_read_are_not_mended_as_litres() -> None:
    """Found in use: the book asked for volume_l and showed '9,8' out of a column of gallons."""
    log = b"boat,when,gal\nH01,2025-06-01T10:00:00Z,9;8\n"
    (table,) = read_mapped("log.csv", log, parse_mapping("log.toml", GALLONS))
    aside = take_in(table.kind, table.raw, KNOWN, table.found).set_aside
    book = mend_workbook(aside)
    assert sheet_cells("b.xlsx", book, "fills")[1, 5] == "9;8 US gal"

    sheet = read_mended("b.xlsx", mended(book, F2="9.8 US gal"), aside)["fills"]
    intake = take_in(RECORD_KINDS["fills"], sheet.raw, KNOWN)

    # 1 US gal = 3.785411784 l by definition (NIST SP 811, appendix B.8)
    assert intake.loaded["volume_l"].to_list() == pytest.approx([9.8 * 3.785411784], rel=1e-11)


def test_a_unit_nobody_knows_is_set_aside_again() -> None:
    sheet = read_mended("b.xlsx", mended(mend_workbook(FILLS), F2="9 buckets"), FILLS)["fills"]
    intake = take_in(RECORD_KINDS["fills"], sheet.raw, KNOWN)

    assert intake.set_aside["fault"].to_list() == [
        "volume_l is '9 buckets', which is not a number."
    ]


def test_a_date_with_midnight_that_nobody_touched_is_not_taken_for_mended() -> None:
    aside = set_aside(b"hull_id,filled_at,volume_l,source\nH01,2025-06-01 00:00:00,40,outside\n")

    sheet = read_mended("b.xlsx", mended(mend_workbook(aside)), aside)["fills"]

    assert sheet.replaced == []


def test_rows_that_only_repeat_stand_below_those_to_mend() -> None:
    aside = set_aside(
        b"hull_id,filled_at,volume_l,source\n"
        b"H01,2025-06-01T10:00:00Z,40,outside\n"
        b"H01,2025-06-01T10:00:00Z,40,outside\n"
        b"H02,2025-06-01T10:00:00Z,4o,outside\n"
    )

    faults = sheet_cells("b.xlsx", mend_workbook(aside), "fills")[1:, 1].to_list()

    assert faults == ["volume_l is '4o', which is not a number.", "Same as row 2 of this file."]
