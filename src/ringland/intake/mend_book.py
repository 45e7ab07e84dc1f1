"""Set-aside rows as a workbook to mend, and back again.

One sheet per record kind, one line per row, with its faults and remedies and its cells as
they were written.  The user puts the cells right, or writes 'leave out', saves the book and
loads it.  Every cell is written as text, so that nothing in it is taken for a formula.
"""

from __future__ import annotations

import hashlib
import io
import json
import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime

import polars as pl
import xlsxwriter

from ringland.contracts.record_kinds import ALL_KINDS, RecordKind
from ringland.intake.written.raw_file import SOURCE_ROW, Layout, RawFile, RecordFileError
from ringland.intake.written.workbook_text import read_workbook, sheet_names
from ringland.units import UNIT_NAMES, UnitError, in_unit
from ringland.words.doubt_words import NOTHING_TO_DO

DECISION = "leave out?"
FAULT, REMEDY, PLACE, ROW_ID, AS_WRITTEN = "fault", "remedy", "from", "row id", "as written"
LEAVE_OUT = "leave out"
_HELP = (
    "Each sheet holds the rows of one kind of record that could not be loaded.",
    "1. Read fault and remedy, put the cells of the row right. Instants end in Z or an offset.",
    f"2. If the row is no record at all, write '{LEAVE_OUT}' in the first column.",
    "3. Figures are in the unit of the data dictionary; one in another unit keeps it: 9.8 US gal.",
    "4. Rows you do not touch stay set aside. Leave the last three columns as they are.",
    "5. Save the book and load it like any other file: ringland load FOLDER.",
)


@dataclass(frozen=True)
class MendedSheet:
    """What came back of one kind.

    `raw` holds the rows that were changed, in the contract's form; `replaced` the set-aside
    rows that they stand for, `left_out` those that are to be left out: both as `raw_row`.
    """

    raw: RawFile
    replaced: list[str]
    left_out: list[str]


def row_id(kind: str, raw_row: str) -> str:
    """What tells a set-aside row in the workbook: the beginning of its hash."""
    return hashlib.sha256(f"{kind}\n{raw_row}".encode()).hexdigest()[:16]


def mend_workbook(set_aside: pl.DataFrame) -> bytes:
    """The workbook (.xlsx) of a `SetAside`; the same rows give the same bytes."""
    content = io.BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
    book = xlsxwriter.Workbook(content, options)
    book.set_properties({"created": _NO_DATE})
    text = book.add_format({"num_format": "@", "valign": "top"})
    wrapped = book.add_format({"num_format": "@", "text_wrap": True, "valign": "top"})
    bold = book.add_format({"bold": True, "bottom": 1})
    page = book.add_worksheet("How to mend")
    page.set_column(0, 0, 100)
    for number, line in enumerate(_HELP):
        page.write_string(number, 0, line)
    for kind in ALL_KINDS.values():
        rows = _sheet_rows(kind, set_aside.filter(pl.col("kind") == kind.name))
        if not rows:
            continue
        sheet = book.add_worksheet(kind.name)
        headings = list(rows[0])
        sheet.freeze_panes(1, 0)
        for at, heading in enumerate(headings):
            sheet.write_string(0, at, heading, bold)
            wide = heading in (FAULT, REMEDY)
            sheet.set_column(at, at, 45 if wide else 18, wrapped if wide else text)
        for number, row in enumerate(rows, start=1):
            for at, heading in enumerate(headings):
                style = wrapped if heading in (FAULT, REMEDY) else text
                sheet.write_string(number, at, row[heading][:_LONGEST_CELL], style)
    book.close()
    return content.getvalue()


# A workbook's cell holds 32,767 characters; the raw row is kept in full in the warehouse.
_LONGEST_CELL = 32_000
_NO_DATE = datetime(2000, 1, 1)  # a workbook's own date would change its bytes with the day


def _sheet_rows(kind: RecordKind, set_aside: pl.DataFrame) -> list[dict[str, str]]:
    lines = set_aside.group_by("raw_row", maintain_order=True).agg(
        pl.col("fault").unique(maintain_order=True).str.join("\n"),
        pl.col("remedy").unique(maintain_order=True).str.join("\n"),
        pl.col("source_file").last(),
        pl.col(SOURCE_ROW).last(),
    )
    rows = []
    # rows that only say again what is on record stand below those that wait to be mended
    for line in sorted(lines.to_dicts(), key=lambda line: line["remedy"] == NOTHING_TO_DO):
        cells = _cells(kind, line["raw_row"])
        rows.append(
            {DECISION: "", FAULT: line["fault"], REMEDY: line["remedy"]}
            | cells
            | {
                PLACE: f"{line['source_file']}, row {line[SOURCE_ROW]}",
                ROW_ID: row_id(kind.name, line["raw_row"]),
                AS_WRITTEN: line["raw_row"],
            }
        )
    return rows


def _cells(kind: RecordKind, raw_row: str) -> dict[str, str]:
    """The contract's cells of a set-aside row; empty for a row that was torn."""
    written = json.loads(raw_row)
    written = written if isinstance(written, dict) else {}
    return {name: _text(written.get(name)) for name in kind.schema.column_names()}


def _as_read(cell: str) -> str:
    """A cell as a workbook's reader gives it: a date's midnight may go."""
    return cell.removesuffix(" 00:00:00")


def _text(cell: object) -> str:
    return "" if cell is None else str(cell)


def read_mended(file_name: str, content: bytes, set_aside: pl.DataFrame) -> dict[str, MendedSheet]:
    """What came back in a workbook, by record kind; rows that were not touched are not there.

    Args:
        file_name: for the rows' provenance.
        content: the workbook's bytes.
        set_aside: the `SetAside` as it stands; a row that is no longer in it is passed over.

    Raises:
        RecordFileError: it is no such workbook.
    """
    known = {
        row_id(kind, raw_row): (kind, raw_row)
        for kind, raw_row in set_aside.select("kind", "raw_row").unique().iter_rows()
    }
    return {
        sheet: _read_sheet(ALL_KINDS[sheet], file_name, content, known)
        for sheet in sheet_names(file_name, content)
        if sheet in ALL_KINDS
    }


def _read_sheet(
    kind: RecordKind, file_name: str, content: bytes, known: Mapping[str, tuple[str, str]]
) -> MendedSheet:
    raw = read_workbook(file_name, content, Layout(sheet=kind.name, header_rows=(1,)))
    if lost := [name for name in (DECISION, ROW_ID) if name not in raw.frame.columns]:
        raise RecordFileError(
            file_name,
            f"The sheet {kind.name} has no column '{lost[0]}' any more.",
            "Mend the rows in a fresh copy of set-aside.xlsx.",
            row=1,
        )
    changed, replaced, left_out = [], [], []
    for row in raw.frame.to_dicts():
        _, raw_row = known.get(row[ROW_ID] or "", (None, None))
        if raw_row is None:
            continue
        if (row[DECISION] or "").lower().strip() == LEAVE_OUT:
            left_out.append(raw_row)
        elif any(
            _as_read(_text(row.get(name))) != _as_read(cell)
            for name, cell in _cells(kind, raw_row).items()
        ):
            changed.append(row[SOURCE_ROW])
            replaced.append(raw_row)
    frame = raw.frame.filter(pl.col(SOURCE_ROW).is_in(changed)).select(
        name for name in [*kind.schema.column_names(), SOURCE_ROW] if name in raw.frame.columns
    )
    frame = frame.with_columns(_in_contract_unit(kind, cells) for cells in frame)
    name = f"{file_name} [{kind.name}]"
    return MendedSheet(
        replace(raw, file_name=name, frame=frame, torn=raw.torn.clear(), blank_rows=0),
        replaced,
        left_out,
    )


_WITH_UNIT = re.compile(r"\s*([+-]?\d+(?:\.\d+)?)\s*([A-Za-z%].*?)\s*")
_SIGNIFICANT = 12  # digits kept when a unit is turned, as in a mapped file


def _in_contract_unit(kind: RecordKind, cells: pl.Series) -> pl.Series:
    """Figures that keep another unit, turned into the contract's; every other cell as it is."""
    column = kind.schema.columns().get(cells.name)
    wanted = (column.metadata or {}).get("unit") if column is not None else None
    if wanted not in UNIT_NAMES:
        return cells
    return pl.Series(cells.name, [_turned(cell, wanted) for cell in cells], dtype=pl.String)


def _turned(cell: str | None, wanted: str) -> str | None:
    found = _WITH_UNIT.fullmatch(cell or "")
    if found is None:
        return cell
    try:
        return f"{in_unit(float(found[1]), found[2], wanted):.{_SIGNIFICANT}g}"
    except UnitError:
        return cell  # stays what it is: set aside again, with the fault named
