"""A first look at a file nobody has described: encoding, delimiter, sheets, heading rows.

Only for drafting a mapping: what is guessed here is shown to the user, who keeps the draft
or puts it right; no record is loaded on a guess.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence
from dataclasses import dataclass

from ringland.intake.raw_file import Layout, RawFile, RecordFileError
from ringland.intake.raw_text import is_workbook, read_raw
from ringland.intake.workbook_text import sheet_cells, sheet_names

_SNIFFED = (",", ";", "\t", "|")
_ROWS_LOOKED_AT = 200


@dataclass(frozen=True)
class SourceLook:
    """One sheet of a file as it was understood; `remarks` say what was guessed."""

    sheet: str | None
    layout: Layout
    raw: RawFile
    remarks: tuple[str, ...]


def look_at(file_name: str, content: bytes) -> list[SourceLook]:
    """Every sheet that holds rows below headings; one for a file that is no workbook.

    Raises:
        RecordFileError: the file cannot be read, or no row of it looks like headings.
    """
    looks = []
    if is_workbook(content):
        for sheet in sheet_names(file_name, content):
            rows = sheet_cells(file_name, content, sheet).head(_ROWS_LOOKED_AT).rows()
            if headings := heading_rows(rows):
                layout = Layout(sheet=sheet, header_rows=headings, is_lenient=True)
                looks.append(SourceLook(sheet, layout, read_raw(file_name, content, layout), ()))
    elif content.startswith(b"PAR1"):
        looks.append(SourceLook(None, Layout(), read_raw(file_name, content), ()))
    else:
        looks.extend(_look_at_text(file_name, content))
    if not looks:
        raise RecordFileError(
            file_name, "No row looks like headings.", "Write a row with the names of the columns."
        )
    return looks


def _look_at_text(file_name: str, content: bytes) -> list[SourceLook]:
    encoding, remark = _encoding(content)
    text = content.decode(encoding or "utf-8-sig", errors="replace")
    lines = text.splitlines()[:_ROWS_LOOKED_AT]
    delimiter = max(_SNIFFED, key=lambda mark: _steadiness(lines, mark))
    rows = list(csv.reader(io.StringIO("\n".join(lines)), delimiter=delimiter))
    headings = heading_rows(rows)
    if not headings:
        return []
    stated = None if encoding == "utf-16" else encoding
    layout = Layout(stated, delimiter, None, headings, is_lenient=True)
    return [SourceLook(None, layout, read_raw(file_name, content, layout), remark)]


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


def heading_rows(rows: Sequence[Sequence[str | None]]) -> tuple[int, ...]:
    """The rows, counted from 1, that hold the headings; empty if none looks like it.

    It is the first row that is as wide as the rows below it and holds words only, with the
    row above it if that has two words or more (merged headings).
    """
    filled = [[(cell or "").strip() for cell in row] for row in rows]
    widths = [sum(bool(cell) for cell in row) for row in filled]
    usual = max(widths, default=0)
    for at, row in enumerate(filled):
        if widths[at] and 2 * widths[at] > usual and not any(_is_figure(cell) for cell in row):
            above = filled[at - 1] if at else []
            is_merged = sum(bool(cell) for cell in above) > 1 and not any(map(_is_figure, above))
            if not is_merged and at + 1 < len(filled) and _is_under_merged(row, filled[at + 1]):
                return (at + 1, at + 2)
            return (at, at + 1) if is_merged else (at + 1,)
    return ()


def _is_under_merged(row: Sequence[str], below: Sequence[str]) -> bool:
    """Whether the row has gaps as merged headings leave and the next fills them with words."""
    gaps = [at for at, cell in enumerate(row) if not cell and at]
    return (
        bool(gaps)
        and all(at < len(below) and below[at] and not _is_figure(below[at]) for at in gaps)
        and not any(_is_figure(cell) for cell in below)
    )


def _is_figure(cell: str) -> bool:
    return bool(cell) and cell[0] in "+-.,0123456789" and any(c.isdigit() for c in cell)
