"""The shop's own workbook: every kind has its sheet, and what is written into it loads."""

import io
from datetime import datetime

import fastexcel
import polars as pl
import pytest
import xlsxwriter

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.intake.contract_file import take_in_contract_file
from ringland.intake.intake import Intake
from ringland.intake.mapping.dock_clocks import DockClocks
from ringland.intake.shop_book import UNITS, shop_workbook
from ringland.intake.written.workbook_text import sheet_cells
from tests.history.record_rows import KNOWN, VALID_TEXT

CLOCKS = DockClocks({"north": "America/Chicago"}, {"H01": "north"})
BOOK = shop_workbook(KNOWN, [87, 93], UNITS["us"])


def headings(sheet: str) -> list[str]:
    return [str(cell) for cell in sheet_cells("book.xlsx", BOOK, sheet).row(0)]


def filled_in() -> bytes:
    """The book with one row a sheet, as a user types it: local times, figures in its units."""
    content = io.BytesIO()
    book = xlsxwriter.Workbook(content, {"in_memory": True})
    day = book.add_format({"num_format": "yyyy-mm-dd hh:mm"})
    for name in fastexcel.read_excel(BOOK).sheet_names:
        sheet = book.add_worksheet(name)
        for at, said in enumerate(headings(name) if name in RECORD_KINDS else []):
            sheet.write(0, at, said)
            cell = VALID_TEXT[name].get(said.split(" (")[0])
            if cell is not None and "(local)" in said:
                sheet.write_datetime(1, at, datetime.fromisoformat(cell).replace(tzinfo=None), day)
            elif cell is not None:
                sheet.write(1, at, cell)
    book.close()
    return content.getvalue()


def load(content: bytes) -> dict[str, Intake]:
    return {
        name: intake
        for name, kind in RECORD_KINDS.items()
        for intake in take_in_contract_file(kind, "our records.xlsx", content, KNOWN, CLOCKS)
    }


def test_a_book_that_was_filled_in_loads_as_it_is() -> None:
    found = load(filled_in())

    assert {name: intake.rows_loaded for name, intake in found.items()} == dict.fromkeys(
        RECORD_KINDS, 1
    ), [intake.set_aside.to_dicts() for intake in found.values() if intake.rows_set_aside]
    fill = found["fills"].loaded.row(0, named=True)
    # 40.5 US gal, NIST SP 811; 08:00 in Chicago in May is 13:00 UTC
    assert fill["volume_l"] == pytest.approx(40.5 * 3.785411784)
    assert (fill["filled_at"].hour, fill["filled_at"].minute) == (13, 0)
    assert fill["source_file"] == "our records.xlsx [fills]"


def test_an_empty_book_is_no_record_and_no_fault() -> None:
    assert [(i.rows_in, i.rows_set_aside) for i in load(BOOK).values()] == [(0, 0)] * len(
        RECORD_KINDS
    )


def test_the_book_has_lists_of_the_shops_own_hulls_docks_and_grades() -> None:
    lists = sheet_cells("book.xlsx", BOOK, "Lists")
    columns = [column.drop_nulls().to_list() for column in lists]

    assert sorted(KNOWN["hulls"]) in columns
    assert sorted(KNOWN["docks"]) in columns
    assert [float(cell) for cell in columns[columns.index(["87", "93"])]] == [87, 93]
    assert isinstance(lists, pl.DataFrame)


def test_the_same_shop_gives_the_same_bytes() -> None:
    assert shop_workbook(KNOWN, [87, 93], UNITS["us"]) == BOOK
