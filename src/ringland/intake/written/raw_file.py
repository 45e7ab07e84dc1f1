"""What a record file is once it is text, and what is common to every way of reading one.

Every cell stays as it was written, with the row the user sees it in: the first row of a file
is row 1, a line without any value is passed over, counted, and keeps its place.  A row that
cannot be told apart into the header's columns is kept whole in `RawFile.torn`.
"""

from __future__ import annotations

import json
import mmap
from collections.abc import Sequence
from dataclasses import dataclass, field

import polars as pl

SOURCE_ROW = "source_row"
Content = bytes | mmap.mmap
"""The bytes of a file, read or mapped."""


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


def no_torn_rows() -> pl.DataFrame:
    """`RawFile.torn` of a file whose rows all fit its header."""
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
    torn: pl.DataFrame = field(default_factory=no_torn_rows)
    blank_rows: int = 0

    @property
    def rows_in(self) -> int:
        """Rows the file holds, header and blank lines apart."""
        return self.frame.height + self.torn.height

    @property
    def columns(self) -> list[str]:
        """The header's names."""
        return [name for name in self.frame.columns if name != SOURCE_ROW]

    def text_of(self, source_rows: pl.Series) -> pl.DataFrame:
        """These rows of `frame`, in the order of the file."""
        return self.frame.filter(pl.col(SOURCE_ROW).is_in(source_rows.unique().implode()))


@dataclass(frozen=True)
class Layout:
    """How a file is laid out, where its bytes do not tell.

    `header_rows` are the rows (counted from 1) whose words make the column names, e.g.
    (3,) below a title or (2, 3) under merged headings; empty: the first row with a value.
    `is_lenient`: see `header_names`.
    """

    encoding: str | None = None
    delimiter: str | None = None
    sheet: str | None = None
    header_rows: tuple[int, ...] = ()
    is_lenient: bool = False


def torn_row(number: int, cells: list[str], names: list[str]) -> tuple[int, str, str, str]:
    """A row for `RawFile.torn`."""
    return (
        number,
        f"The row has {len(cells)} fields but the header has {len(names)}.",
        "Put the missing or surplus delimiter right; quote a text that holds one.",
        json.dumps(cells, ensure_ascii=False),
    )


def all_text(names: Sequence[str], rows: Sequence[Sequence[str]]) -> pl.DataFrame:
    """Rows of cells with the row's number last, as a frame of text."""
    schema = dict.fromkeys([*names, SOURCE_ROW], pl.String)
    return pl.DataFrame(rows, schema=schema, orient="row").with_columns(
        pl.col(SOURCE_ROW).cast(pl.Int64)
    )


def without_blank_rows(
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


def header_names(file_name: str, cells: Sequence[str], *, is_lenient: bool = False) -> list[str]:
    """The column names, trimmed and in lower case.

    Args:
        file_name: for the message.
        cells: the heading row.
        is_lenient: a column without a name is called 'column 3', and a repeated name gets its
            number, 'price (2)'; else both are refused.

    Raises:
        RecordFileError: a name is missing, repeated or kept for the program.
    """
    names: list[str] = []
    for number, cell in enumerate(cells, start=1):
        name = cell.strip().strip("\ufeff").lower()
        if is_lenient:
            name = _free_name(name or f"column {number}", names)
        if not name:
            raise RecordFileError(
                file_name,
                f"Column {number} has no name.",
                "Write a name in the first row, or delete the column.",
                row=1,
            )
        if name in names:
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
        names.append(name)
    return names


def _free_name(name: str, taken: Sequence[str]) -> str:
    number, free = 1, name
    while free in taken:
        number += 1
        free = f"{name} ({number})"
    return free


def stacked_headings(rows: Sequence[Sequence[str | None]]) -> list[str]:
    """One name per column from several heading rows, top to bottom.

    A merged heading stands in its first column only, so in every row but the last an empty
    cell takes the word to its left.
    """
    filled = []
    for row in rows[:-1]:
        word = ""
        words = []
        for cell in row:
            word = (cell or "").strip() or word
            words.append(word)
        filled.append(words)
    filled.append([(cell or "").strip() for cell in rows[-1]])
    return [" ".join(word for word in column if word) for column in zip(*filled, strict=True)]
