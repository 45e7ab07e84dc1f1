"""A file in the contract's own form: one table, or a workbook with a sheet for each kind.

A sheet whose name is a kind of record holds that kind; any other sheet of a workbook holds the
kind the file's name tells, if its headings are those of the kind.  Every other sheet with rows
is set aside whole, so that none is lost without a word.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping
from dataclasses import replace
from pathlib import PurePath

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.intake.intake import Intake, take_in, take_in_file, take_in_table
from ringland.intake.mapping.dock_clocks import NO_CLOCKS, DockClocks
from ringland.intake.mapping.unread_sheets import unread_sheet
from ringland.intake.written.book_headings import HELP_SHEET, LISTS_SHEET, in_contract_units
from ringland.intake.written.raw_file import Content, Layout, RawFile, RecordFileError
from ringland.intake.written.raw_text import is_workbook, read_raw
from ringland.intake.written.workbook_text import sheet_cells, sheet_names


def kind_named(name: str) -> str | None:
    """The kind of record that a file's name, its ending apart, begins with; None: no kind's."""
    stem = re.sub(r"[\s\-]+", "_", name.lower())
    return next(
        (kind for kind in RECORD_KINDS if stem == kind or stem.startswith(f"{kind}_")), None
    )


def kinds_of_sheets(file_name: str, content: bytes) -> dict[str, str | None]:
    """The kind that each sheet's name tells, by sheet, in their order."""
    return {sheet: _kind_of_sheet(sheet) for sheet in sheet_names(file_name, content)}


def _kind_of_sheet(sheet: str) -> str | None:
    return sheet.lower() if sheet.lower() in RECORD_KINDS else None


def take_in_contract_file(
    kind: RecordKind,
    file_name: str,
    content: Content,
    known: Mapping[str, Collection[str]],
    clocks: DockClocks = NO_CLOCKS,
) -> list[Intake]:
    """`take_in` of each part of a file that holds this kind.

    Sheets that no kind reads come with the kind of the file's name, else with the first of
    the kinds its sheets hold.

    Raises:
        RecordFileError: the file cannot be read, or holds one table only and that lacks a
            column that may not be empty.
        RowAccountError: a row account does not close.
    """
    if not is_workbook(content[:8]):
        return [take_in_file(kind, file_name, content, known, clocks)]
    content = content[:]
    sheets = kinds_of_sheets(file_name, content)
    of_file = kind_named(PurePath(file_name).stem)
    first = of_file or next((k for k in RECORD_KINDS if k in sheets.values()), None)
    is_shop_book = {HELP_SHEET, LISTS_SHEET} <= set(sheets)
    ours = {HELP_SHEET, LISTS_SHEET} if is_shop_book else set()
    filled = [n for n in sheets if n not in ours and _has_cells(file_name, content, n)]
    if len(filled) <= 1 and of_file == kind.name:
        sheet = filled[0] if filled else None
        raw = read_raw(file_name, content, Layout(sheet=sheet))
        return [take_in_table(kind, in_contract_units(kind, raw), known, clocks)]
    intakes = []
    for sheet in filled:
        named = sheets[sheet]
        if named == kind.name or (named is None and of_file == kind.name):
            readable = _readable(kind, file_name, content, sheet)
            if readable is not None:
                intakes.append(take_in_table(kind, readable, known, clocks))
                continue
        if kind.name == (named or first):
            fault = _FAULT.format(sheet)
            unread = unread_sheet(kind, file_name, content, sheet, fault, _REMEDY)
            if unread is not None:
                intakes.append(take_in(kind, unread, known))
    return intakes


_FAULT = "The sheet '{}' has not the headings of a kind of record; its rows were not read."
_REMEDY = (
    "Name the sheet after its kind and use that kind's headings, or move it to a file of its own "
    "and describe it: ringland draft FILE."
)


def _has_cells(file_name: str, content: bytes, sheet: str) -> bool:
    cells = sheet_cells(file_name, content, sheet)
    return cells.width > 0 and bool(
        cells.select(pl.any_horizontal(pl.all().is_not_null()).any()).item()
    )


def _readable(kind: RecordKind, file_name: str, content: bytes, sheet: str) -> RawFile | None:
    """The sheet as text if it has the columns of the kind that may not be empty."""
    try:
        raw = read_raw(file_name, content, Layout(sheet=sheet))
    except RecordFileError:
        return None
    raw = in_contract_units(kind, raw)
    columns = kind.schema.columns()
    if any(name not in raw.columns and not columns[name].nullable for name in columns):
        return None
    return replace(raw, file_name=f"{file_name} [{sheet}]")
