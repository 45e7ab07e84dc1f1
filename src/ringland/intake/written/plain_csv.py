"""A large plain CSV file read straight into typed columns, but for the lines that are odd.

What `csv_kernel` cannot read one way only, line by line, is read by `csv_text` as on the
careful road every line is; a file that is not made of plain lines is not read here at all.
Both roads give the same `Intake`, which is tested on mixtures of good and bad cells.
"""

from __future__ import annotations

import bisect
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import dataframely as dy
import numpy as np
import polars as pl

from ringland.intake.written.csv_kernel import LINES_PER_MARK
from ringland.intake.written.csv_text import plain_heading, read_csv
from ringland.intake.written.last_line import is_ended
from ringland.intake.written.raw_file import SOURCE_ROW, Content, Layout, RawFile, RecordFileError
from ringland.intake.written.raw_text import PARQUET_MARK
from ringland.intake.written.typed_lines import Ints, LineReader, Lines

_UTF8_MARK = b"\xef\xbb\xbf"
_LINE_ENDS = b"\r\n"
_BLOCK_BYTES = 1 << 24  # lines enough to be worth a call, and little memory beside the columns
_FIRST_ROW = 2  # of data, as the user sees it


@dataclass(frozen=True)
class PlainCsv:
    """One plain file: the rows that were read typed, and the others as text.

    `typed` holds the contract's columns and `source_row`, in the order of the file; `others`
    the lines that were passed over.  Together they are all lines with a value in them.
    """

    file_name: str
    columns: list[str]
    typed: pl.DataFrame
    others: RawFile
    blank_rows: int
    written: _WrittenLines

    @property
    def rows_in(self) -> int:
        """Rows the file holds, header and blank lines apart."""
        return self.typed.height + self.others.rows_in

    @property
    def torn(self) -> pl.DataFrame:
        """As `RawFile.torn`."""
        return self.others.torn

    def text_of(self, source_rows: pl.Series) -> pl.DataFrame:
        """As `RawFile.text_of`."""
        return self.written.read(source_rows.unique().sort().to_numpy()).frame


def read_plain_csv(
    schema: type[dy.Schema], file_name: str, content: Content, block_bytes: int = _BLOCK_BYTES
) -> PlainCsv | None:
    """The file's rows; None if it takes the careful road to read it or to say what is wrong.

    Args:
        schema: the contract to which the rows are read.
        file_name: for messages.
        content: the file's bytes; those of a mapped file stay where they are.
        block_bytes: bytes that one thread reads at a time.
    """
    mark = len(_UTF8_MARK) if content[: len(_UTF8_MARK)] == _UTF8_MARK else 0
    start = content.find(b"\n") + 1
    heading = content[mark:start]
    end = _body_end(content)
    is_text = heading.isascii() and not heading.startswith(PARQUET_MARK)
    if start >= end or not is_text or not is_ended(content):
        return None
    try:
        found = plain_heading(file_name, heading[:-1], Layout())
        if found is None:
            return None
        names, delimiter = found
        parts = _all_lines(LineReader(schema, names, delimiter), content, start, end, block_bytes)
        if parts is None:
            return None
        written = _WrittenLines(file_name, content, heading, parts)
        others = written.read(np.concatenate([part.doubtful for part in parts]))
    except RecordFileError:
        return None
    typed = pl.concat([part.typed for part in parts], rechunk=False)
    blank = sum(part.blank for part in parts) + others.blank_rows
    return PlainCsv(file_name, names, typed, others, blank, written)


def _body_end(content: Content) -> int:
    """Where the last line with anything in it ends, its line end included."""
    end = len(content)
    while end and content[end - 1] in _LINE_ENDS:
        end -= 1
    return content.find(b"\n", end) + 1 or len(content)


def _all_lines(
    reader: LineReader, content: Content, start: int, end: int, block_bytes: int
) -> list[Lines] | None:
    stops = list(_stops(content, start, end, block_bytes))
    starts = [start, *stops[:-1]]
    parts: list[Lines] = []
    row = _FIRST_ROW
    with ThreadPoolExecutor(pl.thread_pool_size()) as pool:
        for part in pool.map(reader.read, [content] * len(stops), starts, stops):
            if part is None:
                pool.shutdown(cancel_futures=True)
                return None
            parts.append(part.numbered_from(row))
            row += part.count
    return parts


def _stops(content: Content, start: int, end: int, block_bytes: int) -> Iterator[int]:
    while start < end:
        start = content.find(b"\n", start + block_bytes - 1, end) + 1 or end
        yield start


class _WrittenLines:
    """Single lines of a plain file, by the row the user sees them in."""

    def __init__(
        self, file_name: str, content: Content, heading: bytes, parts: Sequence[Lines]
    ) -> None:
        self._file_name, self._content, self._heading = file_name, content, heading
        self._parts = parts
        self._firsts = [part.first for part in parts]

    def read(self, rows: Ints) -> RawFile:
        """These rows, which must rise, as the careful road reads them.

        Raises:
            RecordFileError: it cannot.
        """
        lines = self._heading + b"".join(map(self._line, rows.tolist()))
        raw = read_csv(self._file_name, lines, Layout())
        of_row = pl.Series(rows, dtype=pl.Int64)
        return replace(
            raw, frame=_renumbered(raw.frame, of_row), torn=_renumbered(raw.torn, of_row)
        )

    def _line(self, row: int) -> bytes:
        part = self._parts[bisect.bisect_right(self._firsts, row) - 1]
        mark, beyond = divmod(row - part.first, LINES_PER_MARK)
        at = int(part.marks[mark])
        for _ in range(beyond):
            at = self._content.find(b"\n", at) + 1
        return self._content[at : self._content.find(b"\n", at) + 1 or None]


def _renumbered(rows: pl.DataFrame, of_row: pl.Series) -> pl.DataFrame:
    return rows.with_columns(of_row.gather(rows[SOURCE_ROW] - _FIRST_ROW).alias(SOURCE_ROW))
