"""A text file whose last line has no end: was it cut off in its last cell?

A copy that broke off leaves `9` where `911.4` stood, and nothing in the cell tells.  What tells
is the missing line end; but some programs never write one.  So the last cell is held against
those above it: it is whole if it is in quotation marks, if every one of them has its length, or
if it is a word met above that begins no other.  Else its row is set aside, and comes in when
the whole file is loaded.
"""

from __future__ import annotations

import json
from dataclasses import replace

import polars as pl

from ringland.intake.written.raw_file import SOURCE_ROW, Content, RawFile, no_torn_rows

_ENDED = (b"\n", b"\r", b'"')
"""A last byte after which nothing is missing: a line's end, or a quotation mark that closes."""
_ENOUGH = 3
"""Cells above of one length that tell how long all are."""


def is_ended(content: Content) -> bool:
    """Whether a text file ends where a line does."""
    return content[-2:].rstrip(b"\0").endswith(_ENDED)  # the null: of UTF-16


def without_cut_line(raw: RawFile) -> RawFile:
    """A file whose last line has no end, with its last row set aside if that may be cut."""
    last = raw.frame.tail(1)
    torn_last = raw.torn[SOURCE_ROW].max()
    if last.is_empty():
        return raw
    number = last[SOURCE_ROW].item()
    if isinstance(torn_last, int) and torn_last > number:
        return raw
    name = raw.columns[-1]
    if _is_whole(last[name].item(), raw.frame[name].head(-1)):
        return raw
    cells = [cell or "" for cell in last.select(raw.columns).row(0)]
    fault = (
        f"The file ends without a line end after '{cells[-1]}' in {name}; it may have been cut "
        f"off there."
    )
    remedy = "Load the whole file; or, if this is all of it, press Enter after the last line first."
    as_written = json.dumps(cells, ensure_ascii=False)
    schema = no_torn_rows().schema
    torn = pl.DataFrame([(number, fault, remedy, as_written)], schema=schema, orient="row")
    return replace(raw, frame=raw.frame.head(-1), torn=pl.concat([raw.torn, torn]))


def _is_whole(cell: str | None, above: pl.Series) -> bool:
    above = above.fill_null("")
    cell = cell or ""
    if len(above) >= _ENOUGH and (above.str.len_chars() == len(cell)).all():
        return True
    is_word = bool(cell) and not any(letter.isdigit() for letter in cell)
    begun = above.filter(above.str.starts_with(cell))
    return is_word and not begun.is_empty() and bool((begun == cell).all())
