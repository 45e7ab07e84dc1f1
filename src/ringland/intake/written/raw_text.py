"""A record file as text: every cell as it was written, with the row the user sees it in.

Nothing is interpreted here: no numbers, no dates, no units.  An empty cell and a quoted
empty cell are both null.
"""

from __future__ import annotations

import io

import polars as pl

from ringland.intake.written.csv_text import read_csv
from ringland.intake.written.last_line import is_ended, without_cut_line
from ringland.intake.written.raw_file import (
    SOURCE_ROW,
    Layout,
    RawFile,
    RecordFileError,
    header_names,
    without_blank_rows,
)
from ringland.intake.written.workbook_text import read_workbook

__all__ = ["SOURCE_ROW", "Layout", "RawFile", "RecordFileError", "is_workbook", "read_raw"]

PARQUET_MARK = b"PAR1"
_INSTANT_TEXT = "%Y-%m-%dT%H:%M:%S%.f"


def read_raw(file_name: str, content: bytes, layout: Layout | None = None) -> RawFile:
    """The file's cells as text; the kind of file is told by its first bytes, then its name.

    Without a layout, CSV is UTF-8, or UTF-16 with a byte order mark, split by comma,
    semicolon or tab, and of a workbook the first sheet is read.  Numbers and instants of
    a workbook and Parquet are written out as text (ISO 8601; no offset where the file has none).

    Raises:
        RecordFileError: the file is empty, not one of the three kinds, not decodable, has
            an unclosed quote, or its header repeats or lacks a column name.
    """
    if content.startswith(PARQUET_MARK):
        return _read_parquet(file_name, content)
    if is_workbook(content):
        return read_workbook(file_name, content, layout or Layout())
    if content[:200].lstrip().lower().startswith((b"<html", b"<!doctype html", b"<table")):
        raise RecordFileError(
            file_name,
            "This is a web page, whatever its name ends in.",
            "Open it in a spreadsheet program and save it as .xlsx or CSV.",
        )
    raw = read_csv(file_name, content, layout or Layout())
    return raw if is_ended(content) else without_cut_line(raw)


def is_workbook(content: bytes) -> bool:
    """Whether these may be a workbook: .xlsx, .xlsb and .ods are ZIPs, .xls is not."""
    return content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0"))


def _read_parquet(file_name: str, content: bytes) -> RawFile:
    try:
        frame = pl.read_parquet(io.BytesIO(content))
    except Exception as error:  # a torn file raises differently in each decoder
        raise RecordFileError(
            file_name, f"The Parquet file cannot be opened ({error}).", "Export it again."
        ) from error
    if not frame.width:
        raise RecordFileError(file_name, "The file has no columns.", "Export it again.")
    for name, dtype in frame.schema.items():
        if dtype.is_nested() or dtype in (pl.Binary, pl.Object):
            raise RecordFileError(
                file_name,
                f"The column is of type {dtype}, which holds no single value.",
                "Export text, numbers, booleans and instants only.",
                field=name,
            )
    names = header_names(file_name, frame.columns)
    frame.columns = names
    text = [_written_out(name, dtype) for name, dtype in frame.schema.items()]
    # An exported frame has no header line; counting as in a spreadsheet keeps one rule.
    rows = pl.int_range(pl.len(), dtype=pl.Int64).alias(SOURCE_ROW) + 2
    return without_blank_rows(file_name, frame.select(*text, rows), names, has_spaces=True)


def _written_out(name: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(dtype, pl.Datetime):
        if dtype.time_zone is None:
            return column.dt.strftime(_INSTANT_TEXT)
        return column.dt.convert_time_zone("UTC").dt.strftime(_INSTANT_TEXT + "Z")
    return column.cast(pl.String)
