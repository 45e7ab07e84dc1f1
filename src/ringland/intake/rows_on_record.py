"""Rows of a file against those on record: new, there already, ended since, or contradicting.

Nothing on record is ever changed but by an end that has come; a row that contradicts the
record is set aside.
"""

from __future__ import annotations

import json
from typing import NamedTuple

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.contracts.record_tables import SetAside
from ringland.intake.intake import SOURCE_FILE, RowAccountError
from ringland.intake.row_faults import differences
from ringland.intake.written.raw_text import SOURCE_ROW
from ringland.words.plain_words import sentence


class NewRows(NamedTuple):
    """Rows of a file against those on record: rows in = the sum of the three parts."""

    new: pl.DataFrame
    already_there: pl.DataFrame
    """The row on record says the same; or one of the two knows an end the other does not."""
    conflicts_set_aside: pl.DataFrame
    """A `SetAside`: same key, other values; the row on record stays."""


def split_new(kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame) -> NewRows:
    """The rows not on record yet, apart from those that are and those that contradict it.

    Both frames are `Intake.loaded` of this kind; of the rows on record those of other keys
    may be left out.  Two nulls in a key are equal; `recorded_at` does not count as a
    difference.  A row whose end has come since (see `RecordKind.ends`) is already there;
    `now_ended` tells which.
    """
    new, met = _meet(kind, loaded, already_loaded)
    conflicts = met.filter(~_agrees(kind))
    parts = NewRows(
        new, met.filter(_agrees(kind)).select(loaded.columns), _conflicts(kind, conflicts)
    )
    if loaded.height != new.height + parts.already_there.height + conflicts.height:
        raise RowAccountError(f"{kind.name}: the rows new and on record do not add up.")
    return parts


def now_ended(kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame) -> pl.DataFrame:
    """Rows on record without an end that have got one: put these in the place of those.

    `recorded_at` stays as on record: the row was known then, and its end is known from the
    end itself.
    """
    if not _told_later(kind):
        return loaded.clear()
    _, met = _meet(kind, loaded, already_loaded)
    got_end = pl.any_horizontal(
        pl.lit(value=False),
        *(
            pl.col(name).is_not_null() & pl.col(f"{name}_first").is_null()
            for name in _told_later(kind)
        ),
    )
    kept = [pl.coalesce(f"{name}_first", name).alias(name) for name in _told_later(kind)]
    return (
        met.filter(_agrees(kind) & got_end)
        .with_columns(*kept, recorded_at=pl.col("recorded_at_first"))
        .select(loaded.columns)
    )


def _meet(
    kind: RecordKind, loaded: pl.DataFrame, already_loaded: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    key = list(kind.key)
    first = {name: f"{name}_first" for name in already_loaded.columns if name not in key}
    held = already_loaded.rename(first)
    if held.is_empty():
        return loaded, loaded.clear().join(held, on=key)
    new = loaded.join(held, on=key, how="anti", nulls_equal=True, maintain_order="left")
    met = loaded.join(held, on=key, how="inner", nulls_equal=True, maintain_order="left")
    return new, met


def _values(kind: RecordKind) -> list[str]:
    return [name for name in kind.schema.column_names() if name not in (*kind.key, "recorded_at")]


def _told_later(kind: RecordKind) -> list[str]:
    return [*kind.ends, *kind.told_with]


def _agrees(kind: RecordKind) -> pl.Expr:
    """Whether two rows of one key say the same, but for an end that only one of them knows."""
    later = _told_later(kind)
    lasting = [_is_same(name) for name in _values(kind) if name not in later]
    ends = [
        _is_same(name) | pl.col(name).is_null() | pl.col(f"{name}_first").is_null()
        for name in later
    ]
    return pl.all_horizontal(pl.lit(value=True), *lasting, *ends)


def _is_same(name: str) -> pl.Expr:
    return pl.col(name).eq_missing(pl.col(f"{name}_first"))


def _conflicts(kind: RecordKind, rows: pl.DataFrame) -> pl.DataFrame:
    if rows.is_empty():
        return SetAside.create_empty()
    place = sentence("row {} of {}", f"{SOURCE_ROW}_first", f"{SOURCE_FILE}_first")
    found = differences(
        rows.with_columns(_place=place), list(kind.key), _values(kind), "{}", "_place"
    )
    written = [
        json.dumps(row, ensure_ascii=False, default=lambda instant: instant.isoformat())
        for row in rows.select(kind.schema.column_names()).to_dicts()
    ]
    found = found.with_columns(
        rows[SOURCE_FILE], kind=pl.lit(kind.name), raw_row=pl.Series(written, dtype=pl.String)
    )
    return SetAside.validate(found.select(SetAside.column_names()))
