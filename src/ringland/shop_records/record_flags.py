"""Doubts about loaded records, in the one form in which they are kept."""

from __future__ import annotations

import polars as pl

from ringland.shop_records.tables import RecordFlags


def record_flags(rows: pl.DataFrame, flag: str, at: str, words: pl.Expr) -> pl.DataFrame:
    """A `RecordFlags` with one flag per row.

    Args:
        rows: may hold hull_id and engine_id; one that is missing is null in the flags.
        flag: one of `tables.RECORD_FLAGS`.
        at: the column with the instant of the record in doubt.
        words: the sentence.
    """
    missing = [name for name in ("hull_id", "engine_id") if name not in rows.columns]
    return (
        rows.with_columns(pl.lit(None, pl.String).alias(name) for name in missing)
        .select(
            pl.lit(flag).alias("flag"),
            "hull_id",
            "engine_id",
            pl.col(at).alias("noted_at"),
            words.alias("sentence"),
        )
        .pipe(RecordFlags.validate, cast=True)
    )
