"""Rows and cells that could not be read, with all that was written of them."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.contracts.record_tables import LostCells, SetAside
from ringland.intake.row_faults import shown
from ringland.intake.written.raw_text import SOURCE_ROW, RawFile
from ringland.words.plain_words import sentence

if TYPE_CHECKING:
    from ringland.intake.written.plain_csv import PlainCsv

_WRITTEN = {SOURCE_ROW: pl.Int64, "field": pl.String, "written": pl.String}


def set_aside_rows(kind: RecordKind, raw: RawFile | PlainCsv, found: pl.DataFrame) -> pl.DataFrame:
    """A `SetAside` of the rows with these faults and of those that are torn."""
    if found.is_empty() and raw.torn.is_empty():
        return SetAside.create_empty()
    torn = raw.torn.with_columns(field=pl.lit(None, pl.String), value=pl.lit(None, pl.String))
    rows = pl.concat([_as_written(raw, found), torn], how="diagonal")
    rows = rows.sort(SOURCE_ROW, maintain_order=True).with_columns(
        kind=pl.lit(kind.name), source_file=pl.lit(raw.file_name)
    )
    return SetAside.validate(rows.select(SetAside.column_names()))


def lost_cells(
    kind: RecordKind, raw: RawFile | PlainCsv, good: pl.DataFrame, cells: pl.DataFrame
) -> pl.DataFrame:
    """A `LostCells`: what could not be read of rows that are loaded without it."""
    if cells.is_empty():
        return LostCells.create_empty()
    key = [shown(name, good.schema[name]) for name in kind.key]
    keys = good.select(SOURCE_ROW, record_key=pl.concat_str(key, separator="; "))
    rows = (
        _as_written(raw, cells)
        .join(keys, on=SOURCE_ROW, how="left", maintain_order="left")
        .with_columns(
            kind=pl.lit(kind.name),
            source_file=pl.lit(raw.file_name),
            fault=sentence("{} The record is loaded without it.", "fault"),
            remedy=sentence("Correct that cell in a file 'corrections'. {}", "remedy"),
        )
    )
    return LostCells.validate(rows.select(LostCells.column_names()))


def _as_written(raw: RawFile | PlainCsv, found: pl.DataFrame) -> pl.DataFrame:
    """The faults with the whole row as JSON, and the cells as they were written."""
    faulty = raw.text_of(found[SOURCE_ROW])
    raw_rows = pl.DataFrame(
        {
            SOURCE_ROW: faulty[SOURCE_ROW],
            "raw_row": [
                json.dumps(row, ensure_ascii=False) for row in faulty.drop(SOURCE_ROW).to_dicts()
            ],
        },
        schema={SOURCE_ROW: pl.Int64, "raw_row": pl.String},
    )
    # The cell as it was written says more than the figure it was read as.
    # Column by column, since a file may itself have columns called 'field' or 'value'.
    cells = [
        faulty.select(SOURCE_ROW, pl.lit(name).alias("field"), pl.col(name).alias("written"))
        for name in sorted(set(found["field"].drop_nulls()) & set(raw.columns))
    ]
    written = pl.concat([pl.DataFrame(schema=_WRITTEN), *cells])
    return (
        found.join(written, on=[SOURCE_ROW, "field"], how="left", maintain_order="left")
        .with_columns(value=pl.coalesce("written", "value"))
        .join(raw_rows, on=SOURCE_ROW, how="left")
    )
