"""Cells a row can do without: what cannot be read of them costs the cell, not the row.

A column is such a one if it may be empty and its emptiness says nothing.  Where it does ('empty:
still in service', 'empty: the tank was emptied') or the column tells rows apart, names a record
or tells an end, a lost cell would say what nobody wrote; then the row is set aside.
"""

from __future__ import annotations

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.written.raw_file import SOURCE_ROW
from ringland.intake.written.text_cast import FAULT_SCHEMA, faults
from ringland.words.plain_words import sentence

_SPEAKING = "empty:"


def may_be_lost(kind: RecordKind) -> list[str]:
    """The columns whose cells a row can do without."""
    bound = {*kind.key, *kind.ends, *kind.told_with, *kind.refers_to}
    return [
        name
        for name, column in kind.schema.columns().items()
        if column.nullable and name not in bound and _SPEAKING not in (column.description or "")
    ]


def without_strange_words(
    kind: RecordKind, typed: pl.DataFrame
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Optional cells that hold none of the words they may, emptied, and their faults."""
    found = [pl.DataFrame(schema=FAULT_SCHEMA)]
    for name in may_be_lost(kind):
        column: dy.Column = kind.schema.columns()[name]
        allowed = (column.metadata or {}).get("allowed")
        if not allowed:
            continue
        strange = typed[name].is_not_null() & ~typed[name].is_in(list(allowed))
        if strange.any():
            fault = sentence(f"{name} is '{{}}', which is not one of the choices.", pl.col(name))
            remedy = pl.lit(f"Write one of: {', '.join(allowed)}.")
            found.append(faults(typed.filter(strange), name, fault, remedy))
            typed = typed.with_columns(typed[name].set(strange, None))
    return typed, pl.concat(found)


def only_cells_lost(kind: RecordKind, found: pl.DataFrame) -> pl.DataFrame:
    """The faults of rows that lost nothing but such cells."""
    costly = found.filter(~pl.col("field").is_in(may_be_lost(kind)))
    return found.filter(~pl.col(SOURCE_ROW).is_in(costly[SOURCE_ROW].unique().implode()))
