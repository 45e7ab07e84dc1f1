"""One file in the place of another: the corrections that make its rows stand for the old ones.

Nothing is taken out of the record.  A row of the old file that the new one does not hold is
withdrawn, a row that it holds otherwise is put right cell by cell; both from the day the
replacement was written down on, with the new file's name as the reason.
"""

from __future__ import annotations

from datetime import datetime

import polars as pl

from ringland.contracts.record_kinds import CORRECTIONS, RecordKind
from ringland.history.corrections import key_text

_KEY = "record_key"


def replacement(
    kind: RecordKind, old: pl.DataFrame, new: pl.DataFrame, reason: str, noted_at: datetime
) -> pl.DataFrame:
    """The corrections, as rows of `contracts.records.Corrections`; none for equal rows.

    Args:
        kind: what the rows are.
        old: the old file's rows on record, corrected so far and not withdrawn.
        new: the new file's rows, typed.
        reason: e.g. 'replaced by june mended.csv'.
        noted_at: when it was decided.
    """
    old = old.with_columns(key_text(kind, old).alias(_KEY))
    gone = old.join(new, on=list(kind.key), how="anti", nulls_equal=True, maintain_order="left")
    found = [gone.select(_KEY, change=pl.lit("withdrawn"), field=pl.lit(None, pl.String))]
    both = old.join(
        new, on=list(kind.key), how="inner", nulls_equal=True, suffix="_new", maintain_order="left"
    )
    for name, column in kind.schema.columns().items():
        if name in kind.key or name == "recorded_at":
            continue
        other = both.filter(pl.col(name).ne_missing(pl.col(f"{name}_new")))
        value = pl.col(f"{name}_new")
        written = (
            value.dt.strftime("%Y-%m-%dT%H:%M:%S%.fZ")
            if isinstance(column.dtype, pl.Datetime)
            else value.cast(pl.String)
        )
        found.append(
            other.select(_KEY, change=pl.lit("corrected"), field=pl.lit(name), new_value=written)
        )
    frame = pl.concat(found, how="diagonal_relaxed").with_columns(
        record_kind=pl.lit(kind.name), reason=pl.lit(reason), recorded_at=pl.lit(noted_at)
    )
    wanted = CORRECTIONS.schema.create_empty().schema
    return frame.with_columns(
        pl.lit(None, pl.String).alias(name) for name in wanted if name not in frame.columns
    ).select(pl.col(name).cast(dtype) for name, dtype in wanted.items())
