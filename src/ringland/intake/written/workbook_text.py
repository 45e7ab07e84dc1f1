"""A sheet of a workbook as cells, each as the spreadsheet showed it.

A workbook keeps a time of day and a number of hours as a part of a day counted from its
first day; here they come out as the hours, minutes and seconds they are.
"""

from __future__ import annotations

from datetime import datetime

import fastexcel
import polars as pl

from ringland.intake.written.raw_file import (
    SOURCE_ROW,
    Layout,
    RawFile,
    RecordFileError,
    header_names,
    stacked_headings,
    without_blank_rows,
)


def read_workbook(file_name: str, content: bytes, layout: Layout) -> RawFile:
    """The cells of the sheet the layout names, else of the first.

    Raises:
        RecordFileError: it is no workbook, there is no such sheet, or the sheet is empty or
            its header repeats or lacks a column name.
    """
    cells = sheet_cells(file_name, content, layout.sheet)
    filled = cells.select(pl.any_horizontal(pl.all().is_not_null())).to_series()
    if not filled.any():
        raise RecordFileError(
            file_name,
            f"The sheet {layout.sheet} is empty." if layout.sheet else "The first sheet is empty.",
            "Move the records to the first sheet, or name their sheet in a mapping.",
        )
    top = layout.header_rows[-1] - 1 if layout.header_rows else filled.arg_max() or 0
    if top >= cells.height:
        raise RecordFileError(
            file_name,
            f"There is no row {top + 1} for the headings.",
            "Put header_rows in the mapping right.",
        )
    heading_rows = [number - 1 for number in layout.header_rows] or [top]
    header = stacked_headings([cells.row(row) for row in heading_rows])
    while not header[-1] and cells[top:, len(header) - 1].null_count() == len(cells) - top:
        header.pop()  # columns that were used once and emptied
    names = header_names(file_name, header, is_lenient=layout.is_lenient)
    frame = cells[top + 1 :, : len(names)]
    frame.columns = names
    frame = frame.with_columns(pl.int_range(pl.len(), dtype=pl.Int64).alias(SOURCE_ROW) + (top + 2))
    return without_blank_rows(file_name, frame, names, has_spaces=True)


def sheet_names(file_name: str, content: bytes) -> list[str]:
    """The names of a workbook's sheets, in their order.

    Raises:
        RecordFileError: it is no workbook.
    """
    try:
        return list(fastexcel.read_excel(content).sheet_names)
    except Exception as error:  # fastexcel raises several kinds, some only of its own
        raise _unopened(file_name, error) from error


def sheet_cells(file_name: str, content: bytes, sheet: str | None) -> pl.DataFrame:
    """Every cell of a sheet as text, headings and blank rows with it; None: the first sheet.

    Raises:
        RecordFileError: it is no workbook, or there is no such sheet.
    """
    names = sheet_names(file_name, content)
    if sheet is not None and sheet not in names:
        raise RecordFileError(
            file_name,
            f"There is no sheet '{sheet}'; the workbook has {', '.join(names)}.",
            "Put the name of the sheet in the mapping right.",
        )
    try:
        loaded = fastexcel.read_excel(content).load_sheet(
            sheet if sheet is not None else 0, header_row=None, skip_rows=0, dtypes="string"
        )
        cells = pl.DataFrame(loaded)
    except Exception as error:  # fastexcel raises several kinds, some only of its own
        raise _unopened(file_name, error) from error
    return cells.select(_as_shown(column) for column in cells)


def _unopened(file_name: str, error: Exception) -> RecordFileError:
    return RecordFileError(
        file_name,
        f"The workbook cannot be opened ({str(error).strip().splitlines()[0]}).",
        "Open it in a spreadsheet program and save it again as .xlsx or CSV.",
    )


_DAY_ONE = datetime(1899, 12, 31)
_AFTER_DAY_60 = datetime(1900, 3, 1)
"""From here on a spreadsheet counts a day too many: its day 60, 29 February 1900, never was."""
_FIRST_DATE = datetime(1910, 1, 1)
"""Before it no record was written: ten years of hours, counted from day one."""


def _as_shown(cells: pl.Series) -> pl.Series:
    """Times of day and spans as h:mm:ss, and dates without a time of day as dates alone.

    A column of dates keeps its midnights if one of its cells has a time of day.
    """
    at = cells.str.to_datetime("%Y-%m-%d %H:%M:%S%.f", strict=False, time_unit="us")
    if at.null_count() == len(at):
        return cells
    is_span = (at < _FIRST_DATE).fill_null(value=False)
    zero = pl.when(at < _AFTER_DAY_60).then(_DAY_ONE).otherwise(datetime(1899, 12, 30))
    seconds = pl.select((pl.lit(at) - zero).dt.total_seconds()).to_series()
    shown = pl.select(
        pl.format(
            "{}:{}:{}",
            pl.lit(seconds // 3600).cast(pl.String),
            pl.lit(seconds // 60 % 60).cast(pl.String).str.zfill(2),
            pl.lit(seconds % 60).cast(pl.String).str.zfill(2),
        )
    ).to_series()
    dates = at.set(is_span, None)
    has_times = (dates.dt.truncate("1d") != dates).any()
    days = cells if has_times else dates.dt.strftime("%Y-%m-%d").fill_null(cells)
    return shown.zip_with(is_span, days).alias(cells.name)
