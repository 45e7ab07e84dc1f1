"""Sheets of a workbook that nobody described: every row of theirs is kept, as torn."""

from __future__ import annotations

import json

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.mapping.mapping_rules import ColumnMapping
from ringland.intake.written.raw_file import SOURCE_ROW, RawFile, no_torn_rows
from ringland.intake.written.raw_text import is_workbook
from ringland.intake.written.workbook_text import sheet_cells, sheet_names

_LEAST_COLUMNS = 2


def unread_sheets(file_name: str, content: bytes, mapping: ColumnMapping) -> list[RawFile]:
    """The sheets with rows that a mapping neither reads nor leaves out, all rows torn."""
    if not is_workbook(content):
        return []
    read = {table.sheet for table in mapping.tables}
    names = sheet_names(file_name, content)
    if None in read:  # a table that names no sheet is read from the first
        read.add(names[0])
    told = {*read, *mapping.leave_out_sheets}
    return [
        unread
        for name in names
        if name not in told
        and (
            unread := unread_sheet(
                mapping.tables[0].kind,
                file_name,
                content,
                name,
                f"The sheet '{name}' is not described in {mapping.file}; its rows were not read.",
                "Add a [[table]] for it, or name it under leave_out_sheets in [source], and load "
                "the file again.",
            )
        )
    ]


def unread_sheet(  # noqa: PLR0917 - what it is, and what is said of it
    kind: RecordKind, file_name: str, content: bytes, sheet: str, fault: str, remedy: str
) -> RawFile | None:
    """One sheet with every row torn; None if it holds no rows of two cells or more."""
    cells = sheet_cells(file_name, content, sheet)
    if cells.width < _LEAST_COLUMNS:
        return None
    filled = cells.select(pl.sum_horizontal(pl.all().is_not_null())).to_series()
    if not (filled >= _LEAST_COLUMNS).any():
        return None
    heading = int((filled >= _LEAST_COLUMNS).arg_max() or 0)
    torn = [
        (number, fault, remedy, json.dumps(row, ensure_ascii=False))
        for number, (row, count) in enumerate(zip(cells.rows(), filled, strict=True), start=1)
        if count and number > heading + 1
    ]
    if not torn:
        return None
    needed = {n: pl.String for n, column in kind.schema.columns().items() if not column.nullable}
    return RawFile(
        f"{file_name} [{sheet}]",
        pl.DataFrame(schema=needed | {SOURCE_ROW: pl.Int64}),
        pl.DataFrame(torn, schema=no_torn_rows().schema, orient="row"),
    )
