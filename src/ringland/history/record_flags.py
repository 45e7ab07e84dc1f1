"""Doubts about loaded records, in the one form in which they are kept."""

from __future__ import annotations

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS
from ringland.contracts.record_tables import RecordFlags
from ringland.history.corrections import key_text
from ringland.words.doubt_words import DOUBT_REMEDIES


def record_flags(
    rows: pl.DataFrame, flag: str, at: str, words: pl.Expr, kind: str | None = None
) -> pl.DataFrame:
    """A `RecordFlags` with one flag per row.

    Args:
        rows: may hold hull_id and engine_id; one that is missing is null in the flags.
        flag: one of `tables.RECORD_FLAGS`.
        at: the column with the instant of the record in doubt.
        words: the sentence.
        kind: the record kind whose key the rows hold, where each is one record in doubt; the
            user can then correct or withdraw it by that key.
    """
    missing = [name for name in ("hull_id", "engine_id") if name not in rows.columns]
    keys = pl.Series([None] * rows.height, dtype=pl.String)
    if kind is not None:
        keys = key_text(RECORD_KINDS[kind], rows)
    return (
        rows.with_columns(keys.alias("record_key"))
        .with_columns(pl.lit(None, pl.String).alias(name) for name in missing)
        .select(
            pl.lit(flag).alias("flag"),
            "hull_id",
            "engine_id",
            pl.col(at).alias("noted_at"),
            words.alias("sentence"),
            pl.lit(DOUBT_REMEDIES[flag]).alias("remedy"),
            pl.lit(kind, pl.String).alias("record_kind"),
            "record_key",
        )
        .pipe(RecordFlags.validate, cast=True)
    )
