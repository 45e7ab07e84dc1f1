"""A delimited text file as cells: CSV, TSV and their kin."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

import polars as pl

from ringland.intake.written.raw_file import (
    SOURCE_ROW,
    Layout,
    RawFile,
    RecordFileError,
    all_text,
    header_names,
    no_torn_rows,
    stacked_headings,
    torn_row,
    without_blank_rows,
)

DELIMITERS = (",", ";", "\t")
_BLANK = b' ,;\t\r\n"'
_BYTE_ORDER_MARKS = {
    b"\xef\xbb\xbf": "utf-8",
    b"\xff\xfe": "utf-16-le",
    b"\xfe\xff": "utf-16-be",
}


def read_csv(file_name: str, content: bytes, layout: Layout) -> RawFile:
    """The cells of a delimited text file; the layout says what its bytes do not.

    Raises:
        RecordFileError: the file is empty, cannot be decoded, has an unclosed quote, or its
            header repeats or lacks a column name.
    """
    content = _as_utf8(file_name, content, layout.encoding)
    # The whole of a large file is looked at only if its beginning is blank.
    if not content[:4096].strip(_BLANK) and not content.strip(_BLANK):
        raise RecordFileError(file_name, "The file is empty.", "Export it again.")
    end = content.find(b"\n")
    first_line = content if end < 0 else content[:end]
    heading = plain_heading(file_name, first_line, layout)
    if heading is None:
        return _read_csv_by_record(file_name, content, layout)
    names, delimiter = heading
    if end < 0 or end + 1 == len(content):
        return RawFile(file_name, all_text(names, []))
    try:
        frame = pl.read_csv(
            content,
            separator=delimiter,
            infer_schema=False,
            row_index_name=SOURCE_ROW,
            row_index_offset=2,
        )
    except pl.exceptions.PolarsError:
        return _read_csv_by_record(file_name, content, layout)
    if frame.width != len(names) + 1:
        return _read_csv_by_record(file_name, content, layout)
    frame = frame.select(
        *(frame.to_series(i + 1).alias(name) for i, name in enumerate(names)),
        frame[SOURCE_ROW].cast(pl.Int64),
    )
    if not _is_whole(frame, names, content, delimiter):
        return _read_csv_by_record(file_name, content, layout)
    return without_blank_rows(file_name, frame, names, has_spaces=_has_spaces(content))


def plain_heading(
    file_name: str, first_line: bytes, layout: Layout
) -> tuple[list[str], str] | None:
    """Names and delimiter, if the first line of the file is a plain line of names.

    Raises:
        RecordFileError: it repeats or lacks a name.
    """
    is_odd = b'"' in first_line or not first_line.strip() or b"\r" in first_line[:-1]
    if is_odd or layout.header_rows not in ((), (1,)):
        return None
    text = first_line.decode()
    delimiter = layout.delimiter or delimiter_of(text)
    cells = text.rstrip("\r").split(delimiter)
    return header_names(file_name, cells, is_lenient=layout.is_lenient), delimiter


def _has_spaces(content: bytes) -> bool:
    """Whether a cell may begin or end with white space; trimming all for none costs time."""
    return (
        not content.isascii()
        or any(mark in content for mark in (b" ", b"\t", b'"'))
        or (b"\r" in content and content.count(b"\r") != content.count(b"\r\n"))
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


def _read_csv_by_record(file_name: str, content: bytes, layout: Layout) -> RawFile:
    """The slow way, record by record, for a file with rows of unequal length."""
    text = content.decode()
    delimiter = layout.delimiter or delimiter_of(_heading_line(text, layout))
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    names: list[str] = []
    headings: list[list[str]] = []
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
        if not names and layout.header_rows:
            if number in layout.header_rows:
                headings.append(cells)
            if number == layout.header_rows[-1]:
                names = header_names(file_name, _stacked(headings), is_lenient=layout.is_lenient)
        elif not any(cell.strip() for cell in cells):
            blank_rows += bool(names)
        elif not names:
            names = header_names(file_name, cells, is_lenient=layout.is_lenient)
        elif len(cells) == len(names):
            rows.append([*cells, str(number)])
        else:
            torn.append(torn_row(number, cells, names))
    if not names:
        raise RecordFileError(
            file_name,
            f"There is no row {layout.header_rows[-1]} for the headings.",
            "Put header_rows in the mapping right.",
        )
    frame = all_text(names, rows)
    whole = without_blank_rows(file_name, frame, names, has_spaces=True)
    return RawFile(
        file_name,
        whole.frame,
        pl.DataFrame(torn, schema=no_torn_rows().schema, orient="row"),
        blank_rows,
    )


def _stacked(headings: list[list[str]]) -> list[str]:
    width = max(len(row) for row in headings)
    return stacked_headings([row + [""] * (width - len(row)) for row in headings])


def _heading_line(text: str, layout: Layout) -> str:
    """The line that tells the delimiter: the last heading row, or the first with text."""
    if layout.header_rows:
        return "".join(text.splitlines()[layout.header_rows[-1] - 1 : layout.header_rows[-1]])
    return text.lstrip().partition("\n")[0]


def _as_utf8(file_name: str, content: bytes, stated: str | None) -> bytes:
    encoding = stated or "utf-8"
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
                "Save the file as 'CSV UTF-8', or name its encoding in a mapping, "
                'e.g. encoding = "cp1252".',
                row=content[: error.start].count(b"\n") + 1,
            ) from error
        if encoding != "utf-8":
            content = text.encode()
    if b"\r" in content and b"\n" not in content:
        content = content.replace(b"\r", b"\n")
    if content[-2:].isspace():  # blank lines at the end are no rows, and would cost the fast way
        content = content.rstrip(b"\r\n") + b"\n"
    return content


def delimiter_of(text: str) -> str:
    """The usual delimiter that stands most often in a line, quotes apart."""
    outside_quotes = "".join(text.split('"')[::2])
    return max(DELIMITERS, key=outside_quotes.count)
