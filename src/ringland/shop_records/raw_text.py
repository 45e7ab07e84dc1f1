"""A record file as text: every cell as it was written, with the row the user sees it in.

Nothing is interpreted here: no numbers, no dates, no units.  An empty cell and a quoted
empty cell are both null.  The header is row 1; a line without any value is passed over,
counted, and keeps its place in the row numbers.  A row that cannot be told apart into
the header's columns is kept whole in `RawFile.torn`.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Sequence
from dataclasses import dataclass, field

import fastexcel
import polars as pl

SOURCE_ROW = "source_row"
DELIMITERS = (",", ";", "\t")
_BYTE_ORDER_MARKS = {
    b"\xef\xbb\xbf": "utf-8",
    b"\xff\xfe": "utf-16-le",
    b"\xfe\xff": "utf-16-be",
}
_INSTANT_TEXT = "%Y-%m-%dT%H:%M:%S%.f"


class RecordFileError(ValueError):
    """A record file cannot be read at all; the message names file, row, field and remedy."""

    def __init__(
        self, file: str, fault: str, remedy: str, row: int | None = None, field: str | None = None
    ) -> None:
        self.file, self.fault, self.remedy, self.row, self.field = file, fault, remedy, row, field
        place = file
        if row is not None:
            place += f", row {row}"
        if field is not None:
            place += f", {field}"
        super().__init__(f"{place}: {fault} {remedy}")


def _no_torn_rows() -> pl.DataFrame:
    return pl.DataFrame(
        schema={SOURCE_ROW: pl.Int64, "fault": pl.String, "remedy": pl.String, "raw_row": pl.String}
    )


@dataclass(frozen=True)
class RawFile:
    """One record file as text.

    `frame` holds one String column per header cell (trimmed, lower case) and `source_row`.
    `torn` holds the rows that do not fit the header: source_row, fault, remedy, raw_row.
    """

    file_name: str
    frame: pl.DataFrame
    torn: pl.DataFrame = field(default_factory=_no_torn_rows)
    blank_rows: int = 0

    @property
    def rows_in(self) -> int:
        """Rows the file holds, header and blank lines apart."""
        return self.frame.height + self.torn.height


def read_raw(file_name: str, content: bytes) -> RawFile:
    """The file's cells as text; the kind of file is told by its first bytes, then its name.

    CSV is UTF-8, or UTF-16 with a byte order mark, split by comma, semicolon or tab.  Of
    a workbook the first sheet is read.  Numbers and instants of XLSX and Parquet are
    written out as text (ISO 8601; without an offset where the file gives none).

    Raises:
        RecordFileError: the file is empty, not one of the three kinds, not decodable, has
            an unclosed quote, or its header repeats or lacks a column name.
    """
    if content.startswith(b"PAR1"):
        return _read_parquet(file_name, content)
    if content.startswith(b"PK\x03\x04"):
        return _read_workbook(file_name, content)
    if content.startswith(b"\xd0\xcf\x11\xe0"):
        raise RecordFileError(
            file_name, "This is an old binary workbook (.xls).", "Save it as .xlsx or CSV."
        )
    return _read_csv(file_name, content)


def _read_csv(file_name: str, content: bytes) -> RawFile:
    content = _as_utf8(file_name, content)
    if not content.strip(b' ,;\t\r\n"'):
        raise RecordFileError(file_name, "The file is empty.", "Export it again.")
    first_line, _, rest = content.partition(b"\n")
    if b'"' in first_line or not first_line.strip() or b"\r" in first_line[:-1]:
        return _read_csv_by_record(file_name, content)
    delimiter = _delimiter_of(first_line)
    names = _header(file_name, first_line.decode().rstrip("\r").split(delimiter))
    if not rest:
        return RawFile(file_name, _all_text(names, []))
    try:
        frame = pl.read_csv(
            content,
            separator=delimiter,
            infer_schema=False,
            row_index_name=SOURCE_ROW,
            row_index_offset=2,
        )
    except pl.exceptions.PolarsError:
        return _read_csv_by_record(file_name, content)
    if frame.width != len(names) + 1:
        return _read_csv_by_record(file_name, content)
    frame = frame.select(
        *(frame.to_series(i + 1).alias(name) for i, name in enumerate(names)),
        frame[SOURCE_ROW].cast(pl.Int64),
    )
    if not _is_whole(frame, names, content, delimiter):
        return _read_csv_by_record(file_name, content)
    return _without_blank_rows(file_name, frame, names, has_spaces=_has_spaces(content))


def _has_spaces(content: bytes) -> bool:
    """Whether a cell may begin or end with white space; trimming all for none costs time."""
    return (
        not content.isascii()
        or any(mark in content for mark in (b" ", b"\t", b'"'))
        or content.count(b"\r") != content.count(b"\r\n")
    )


def _is_whole(frame: pl.DataFrame, names: Sequence[str], content: bytes, delimiter: str) -> bool:
    """Whether every row had as many fields as the header.

    Polars refuses a row with too many fields but fills up one with too few.  With none too
    long, all are of right length if and only if the file holds the right number of
    delimiters outside quotes.
    """
    inside = 0
    if b'"' in content:
        counts = [pl.col(name).str.count_matches(delimiter, literal=True).sum() for name in names]
        inside = sum(frame.select(counts).row(0))
    rows = frame.height + 1
    return content.count(delimiter.encode()) - inside == (len(names) - 1) * rows


def _read_csv_by_record(file_name: str, content: bytes) -> RawFile:
    """The slow way, record by record, for a file with rows of unequal length."""
    text = content.decode()
    delimiter = _delimiter_of(content.lstrip().partition(b"\n")[0])
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    names: list[str] = []
    rows: list[list[str]] = []
    torn = []
    blank_rows = 0
    number = 0
    while True:
        number += 1
        began = reader.line_num + 1
        try:
            cells = next(reader)
        except StopIteration:
            break
        except csv.Error as error:
            raise RecordFileError(
                file_name,
                f"The record that begins on line {began} cannot be read ({error}).",
                "Look for a quotation mark that is not closed or not doubled.",
                row=number,
            ) from error
        if not any(cell.strip() for cell in cells):
            blank_rows += bool(names)
        elif not names:
            names = _header(file_name, cells)
        elif len(cells) == len(names):
            rows.append([*cells, str(number)])
        else:
            torn.append(_torn_row(number, cells, names))
    frame = _all_text(names, rows)
    whole = _without_blank_rows(file_name, frame, names, has_spaces=True)
    return RawFile(
        file_name,
        whole.frame,
        pl.DataFrame(torn, schema=_no_torn_rows().schema, orient="row"),
        blank_rows,
    )


def _torn_row(number: int, cells: list[str], names: list[str]) -> tuple[int, str, str, str]:
    return (
        number,
        f"The row has {len(cells)} fields but the header has {len(names)}.",
        "Put the missing or surplus delimiter right; quote a text that holds one.",
        json.dumps(cells, ensure_ascii=False),
    )


def _all_text(names: Sequence[str], rows: Sequence[Sequence[str]]) -> pl.DataFrame:
    schema = dict.fromkeys([*names, SOURCE_ROW], pl.String)
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(
        pl.col(SOURCE_ROW).cast(pl.Int64)
    )


def _read_workbook(file_name: str, content: bytes) -> RawFile:
    try:
        sheet = fastexcel.read_excel(content).load_sheet(
            0, header_row=None, skip_rows=0, dtypes="string"
        )
        cells = pl.DataFrame(sheet)
    except Exception as error:  # fastexcel raises several kinds, some only of its own
        raise RecordFileError(
            file_name,
            f"The workbook cannot be opened ({error}).",
            "Open it in a spreadsheet program and save it again as .xlsx or CSV.",
        ) from error
    filled = cells.select(pl.any_horizontal(pl.all().is_not_null())).to_series()
    if not filled.any():
        raise RecordFileError(
            file_name, "The first sheet is empty.", "Move the records to the first sheet."
        )
    top = filled.arg_max() or 0
    header = [cell or "" for cell in cells.row(top)]
    while not header[-1].strip() and cells[top:, len(header) - 1].null_count() == len(cells) - top:
        header.pop()  # columns that were used once and emptied
    names = _header(file_name, header)
    frame = cells[top + 1 :, : len(names)]
    frame.columns = names
    frame = frame.with_columns(pl.int_range(pl.len(), dtype=pl.Int64).alias(SOURCE_ROW) + (top + 2))
    return _without_blank_rows(file_name, frame, names, has_spaces=True)


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
    names = _header(file_name, frame.columns)
    frame.columns = names
    text = [_written_out(name, dtype) for name, dtype in frame.schema.items()]
    # An exported frame has no header line; counting as in a spreadsheet keeps one rule.
    rows = pl.int_range(pl.len(), dtype=pl.Int64).alias(SOURCE_ROW) + 2
    return _without_blank_rows(file_name, frame.select(*text, rows), names, has_spaces=True)


def _written_out(name: str, dtype: pl.DataType) -> pl.Expr:
    column = pl.col(name)
    if isinstance(dtype, pl.Datetime):
        if dtype.time_zone is None:
            return column.dt.strftime(_INSTANT_TEXT)
        return column.dt.convert_time_zone("UTC").dt.strftime(_INSTANT_TEXT + "Z")
    return column.cast(pl.String)


def _without_blank_rows(
    file_name: str, frame: pl.DataFrame, names: Sequence[str], *, has_spaces: bool
) -> RawFile:
    """Cells trimmed, empty ones null, rows without any value passed over and counted."""
    cells = [pl.col(name).str.strip_chars() if has_spaces else pl.col(name) for name in names]
    frame = frame.with_columns(cells).with_columns(
        pl.when(pl.col(name) != "").then(pl.col(name)).alias(name)
        for name in names
        if has_spaces or frame[name].eq("").any()
    )
    filled = frame.filter(pl.any_horizontal(pl.col(name).is_not_null() for name in names))
    return RawFile(file_name, filled, blank_rows=frame.height - filled.height)


def _as_utf8(file_name: str, content: bytes) -> bytes:
    encoding = "utf-8"
    for mark, marked_encoding in _BYTE_ORDER_MARKS.items():
        if content.startswith(mark):
            encoding, content = marked_encoding, content[len(mark) :]
    if encoding != "utf-8" or not content.isascii():
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError as error:
            raise RecordFileError(
                file_name,
                f"The bytes {error.object[error.start : error.end]!r} are not {encoding} text.",
                "Save the file as 'CSV UTF-8'.",
                row=content[: error.start].count(b"\n") + 1,
            ) from error
        if encoding != "utf-8":
            content = text.encode()
    if b"\r" in content and b"\n" not in content:
        content = content.replace(b"\r", b"\n")
    if content[-2:].isspace():  # blank lines at the end are no rows, and would cost the fast way
        content = content.rstrip(b"\r\n") + b"\n"
    return content


def _delimiter_of(header: bytes) -> str:
    text = header.decode()
    outside_quotes = "".join(text.split('"')[::2])
    return max(DELIMITERS, key=outside_quotes.count)


def _header(file_name: str, cells: Sequence[str]) -> list[str]:
    names = [cell.strip().strip("\ufeff").lower() for cell in cells]
    for number, name in enumerate(names, start=1):
        if not name:
            raise RecordFileError(
                file_name,
                f"Column {number} has no name.",
                "Write a name in the first row, or delete the column.",
                row=1,
            )
        if names.index(name) != number - 1:
            raise RecordFileError(
                file_name,
                f"Columns {names.index(name) + 1} and {number} have the same name.",
                "Rename or delete one of them.",
                row=1,
                field=name,
            )
        if name == SOURCE_ROW:
            raise RecordFileError(
                file_name,
                "The name is kept for the row number.",
                "Rename the column.",
                row=1,
                field=name,
            )
    return names
