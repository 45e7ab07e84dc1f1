"""A first look at a file nobody has described: encoding, delimiter, sheets, tables, heading rows.

Only for drafting a mapping: what is guessed here is shown to the user, who keeps the draft
or puts it right; no record is loaded on a guess.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from ringland.intake.written.raw_file import Layout, RawFile, RecordFileError
from ringland.intake.written.raw_text import is_workbook, read_raw
from ringland.intake.written.sheet_tables import Cells, all_headings, tables_apart, up_to
from ringland.intake.written.workbook_text import sheet_cells, sheet_names

_SNIFFED = (",", ";", "\t", "|")
_ROWS_LOOKED_AT = 200


@dataclass(frozen=True)
class SourceLook:
    """One table of a file as it was understood; `remarks` say what was guessed."""

    sheet: str | None
    layout: Layout
    raw: RawFile
    remarks: tuple[str, ...]
    is_only: bool = True
    """Whether it is the only table on its sheet."""


def look_at(file_name: str, content: bytes) -> list[SourceLook]:
    """Every table with rows below headings, sheet by sheet.

    Raises:
        RecordFileError: the file cannot be read, no row of it looks like headings, or two
            tables stand side by side.
    """
    looks: list[SourceLook] = []
    if is_workbook(content):
        for sheet in sheet_names(file_name, content):
            rows = sheet_cells(file_name, content, sheet).rows()
            looks.extend(_tables(file_name, content, rows, Layout(sheet=sheet, is_lenient=True)))
    elif content.startswith(b"PAR1"):
        looks.append(SourceLook(None, Layout(), read_raw(file_name, content), ()))
    else:
        looks.extend(_look_at_text(file_name, content))
    if not looks:
        raise RecordFileError(
            file_name, "No row looks like headings.", "Write a row with the names of the columns."
        )
    return looks


def _look_at_text(file_name: str, content: bytes) -> Iterator[SourceLook]:
    encoding, remark = _encoding(content)
    text = content.decode(encoding or "utf-8-sig", errors="replace")
    lines = text.splitlines()
    delimiter = max(_SNIFFED, key=lambda mark: _steadiness(lines[:_ROWS_LOOKED_AT], mark))
    rows = list(csv.reader(io.StringIO(text), delimiter=delimiter))
    layout = Layout(
        None if encoding == "utf-16" else encoding, delimiter, None, (), is_lenient=True
    )
    yield from _tables(file_name, content, rows, layout, remark)


def _tables(
    file_name: str,
    content: bytes,
    rows: Sequence[Cells],
    layout: Layout,
    remarks: tuple[str, ...] = (),
) -> Iterator[SourceLook]:
    headings = all_headings(rows)
    for place, numbers in enumerate(headings):
        _refuse_side_by_side(file_name, layout.sheet, rows, numbers[-1])
        last = headings[place + 1][0] - 1 if place + 1 < len(headings) else None
        this = Layout(layout.encoding, layout.delimiter, layout.sheet, numbers, is_lenient=True)
        raw = tables_apart(up_to(read_raw(file_name, content, this), last)).raw
        if raw.rows_in:
            yield SourceLook(layout.sheet, this, raw, remarks, is_only=len(headings) == 1)


def _refuse_side_by_side(
    file_name: str, sheet: str | None, rows: Sequence[Cells], heading: int
) -> None:
    """Refuse a table that an empty column parts into two with a heading in common."""
    names = [(cell or "").strip().lower() for cell in rows[heading - 1]]
    for at, name in enumerate(names):
        is_gap = not name and all(at >= len(row) or not row[at] for row in rows)
        if is_gap and set(filter(None, names[:at])) & set(filter(None, names[at:])):
            raise RecordFileError(
                f"{file_name} [{sheet}]" if sheet else file_name,
                f"Two tables seem to stand side by side, parted by column {at + 1}.",
                "Move one of them to a sheet or file of its own.",
                row=heading,
            )


def _encoding(content: bytes) -> tuple[str | None, tuple[str, ...]]:
    """The encoding to state, None for UTF-8, and what to tell the user about it."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16", ()
    try:
        content.decode()
    except UnicodeDecodeError:
        pass
    else:
        return None, ()
    try:
        content.decode("cp1252")
    except UnicodeDecodeError:
        return "latin-1", ("encoding guessed: look whether accented letters come out right",)
    return "cp1252", ("encoding guessed: look whether accented letters come out right",)


def _steadiness(lines: Sequence[str], mark: str) -> int:
    """How many lines have as many of the mark as the most usual number above none."""
    counts = [line.count(mark) for line in lines if line.count(mark)]
    return max((counts.count(count) for count in set(counts)), default=0)
