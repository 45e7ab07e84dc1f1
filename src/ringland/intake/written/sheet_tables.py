"""Where tables begin and end on a sheet, and what of a second one stands below the first."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import polars as pl

from ringland.intake.written.heading_words import is_figure, reads_like_headings
from ringland.intake.written.raw_file import SOURCE_ROW, RawFile
from ringland.units import UNIT_NAMES

Cells = Sequence[str | None]
_UNITS = {name.lower() for name in UNIT_NAMES} | {"gal", "ltr", "litres", "hrs", "hours"}


def heading_rows(rows: Sequence[Cells]) -> tuple[int, ...]:
    """The rows, counted from 1, that hold the headings; empty if none looks like it.

    It is the first row that is as wide as the rows below it and holds words only, with the
    row above it if that has two words or more (merged headings) and the row below it if that
    holds nothing but units.
    """
    filled = [[(cell or "").strip() for cell in row] for row in rows]
    widths = [sum(bool(cell) for cell in row) for row in filled]
    usual = max(widths, default=0)
    for at, row in enumerate(filled):
        if widths[at] and 2 * widths[at] > usual and not any(is_figure(cell) for cell in row):
            above = filled[at - 1] if at else []
            below = filled[at + 1] if at + 1 < len(filled) else []
            is_merged = sum(bool(cell) for cell in above) > 1 and not any(map(is_figure, above))
            if not is_merged and (_is_under_merged(row, below) or _are_units(below)):
                return (at + 1, at + 2)
            return (at, at + 1) if is_merged else (at + 1,)
    return ()


def _is_under_merged(row: Sequence[str], below: Sequence[str]) -> bool:
    """Whether the row has gaps as merged headings leave and the next fills them with words."""
    gaps = [at for at, cell in enumerate(row) if not cell and at]
    return (
        bool(gaps)
        and all(at < len(below) and below[at] and not is_figure(below[at]) for at in gaps)
        and not any(is_figure(cell) for cell in below)
    )


def _are_units(row: Sequence[str]) -> bool:
    words = [cell.strip("()[]").lower() for cell in row if cell]
    return bool(words) and all(word in _UNITS for word in words)


def all_headings(rows: Sequence[Cells]) -> list[tuple[int, ...]]:
    """The heading rows of every table on a sheet, top to bottom; `heading_rows` of the first.

    Headings that only come again, as on each printed page, begin no table.
    """
    first = heading_rows(rows)
    if not first:
        return []
    found = [first]
    names = rows[first[-1] - 1]
    for number in range(first[-1] + 1, len(rows)):
        row = rows[number - 1]
        if reads_like_headings(row) and not is_heading_again(row, names):
            found.append((number,))
            names = row
    return found


def is_heading_again(row: Cells, names: Cells) -> bool:
    """Whether a row says the headings again."""
    said = [(cell or "").strip().lower() for cell in row]
    wanted = [(name or "").strip().lower() for name in names]
    same = sum(cell == name for cell, name in zip(said, wanted, strict=False) if cell)
    return same > 1 and same == sum(bool(cell) for cell in said)


class Apart(NamedTuple):
    """A table without what is no row of it."""

    raw: RawFile
    headings_again: int
    has_second: bool

    @property
    def is_more_than_one(self) -> bool:
        """Whether there is more than one table's rows in it."""
        return self.has_second or self.headings_again > 0

    @property
    def notes(self) -> tuple[str, ...]:
        """What to say of the file."""
        if not self.headings_again:
            return ()
        return (f"Rows that only say the headings again: {self.headings_again}.",)


def tables_apart(raw: RawFile) -> Apart:
    """The rows of the first table; those below a second one's headings come back as torn.

    Headings that come again are no rows and are counted.
    """
    names = raw.columns
    suspects = _rows_of_words(raw)
    again = [n for n, cells in suspects if is_heading_again(cells, names)]
    others = [n for n, cells in suspects if n not in again and reads_like_headings(cells)]
    others += [
        row[0]
        for row in raw.torn.select(SOURCE_ROW, "raw_row").iter_rows()
        if _reads_like_torn_headings(row[1])
    ]
    frame = raw.frame.filter(~pl.col(SOURCE_ROW).is_in(again)) if again else raw.frame
    raw = replace(raw, frame=frame)
    if not others:
        return Apart(raw, len(again), has_second=False)
    begins = min(others)
    below = frame.filter(pl.col(SOURCE_ROW) >= begins)
    fault = f"The row stands in or below a second table, whose headings are in row {begins}."
    remedy = (
        f"Put that table into a file or sheet of its own, or give it a [[table]] with "
        f"header_rows = [{begins}] in the mapping."
    )
    torn = pl.DataFrame(
        [
            (
                row[SOURCE_ROW],
                fault,
                remedy,
                json.dumps([row[name] for name in names], ensure_ascii=False),
            )
            for row in below.to_dicts()
        ],
        schema=raw.torn.schema,
        orient="row",
    )
    torn = pl.concat([raw.torn, torn]).sort(SOURCE_ROW)
    raw = replace(raw, frame=frame.filter(pl.col(SOURCE_ROW) < begins), torn=torn)
    return Apart(raw, len(again), has_second=True)


def up_to(raw: RawFile, last_row: int | None) -> RawFile:
    """The rows up to one; None: all."""
    if last_row is None:
        return raw
    is_in = pl.col(SOURCE_ROW) <= last_row
    return replace(raw, frame=raw.frame.filter(is_in), torn=raw.torn.filter(is_in))


def _rows_of_words(raw: RawFile) -> list[tuple[int, list[str | None]]]:
    """The rows with two cells or more and no digit in any, with their numbers."""
    names = raw.columns
    if len(names) < 2 or raw.frame.is_empty():
        return []
    text = pl.concat_str([pl.col(name).fill_null("") for name in names], separator=" ")
    filled = pl.sum_horizontal(pl.col(name).is_not_null() for name in names)
    rows = raw.frame.filter((filled > 1) & ~text.str.contains(r"\d"))
    return [(row[SOURCE_ROW], [row[name] for name in names]) for row in rows.to_dicts()]


def _reads_like_torn_headings(raw_row: str) -> bool:
    cells = json.loads(raw_row)
    return reads_like_headings(list(cells.values()) if isinstance(cells, dict) else cells)
