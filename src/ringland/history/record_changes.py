"""What changed between two views of the records, and why."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_kinds import RECORD_KINDS, RecordKind
from ringland.contracts.record_tables import RecordChanges
from ringland.history.corrections import as_key_text, key_text

_KEY = "record_key"


def what_changed(
    before: Mapping[str, pl.DataFrame],
    after: Mapping[str, pl.DataFrame],
    corrections: pl.DataFrame,
) -> pl.DataFrame:
    """A `RecordChanges` between two views of the same records, e.g. a week then and restated.

    Args:
        before: what was known.
        after: what is known now of the same time; `recorded_at` is not compared.
        corrections: all corrections on record, for their reasons.
    """
    found: list[pl.DataFrame] = [RecordChanges.create_empty()]
    for name, kind in RECORD_KINDS.items():
        if name in before and name in after:
            mine = corrections.filter(pl.col("record_kind") == name)
            reasons = mine.select(
                as_key_text(kind, mine["record_key"]).alias(_KEY), "field", "reason", "recorded_at"
            ).sort("recorded_at")
            found.append(_of_kind(kind, before[name], after[name], reasons))
    return pl.concat(found)


def _of_kind(
    kind: RecordKind, before: pl.DataFrame, after: pl.DataFrame, reasons: pl.DataFrame
) -> pl.DataFrame:
    old, new = _cells(kind, before), _cells(kind, after)
    values = [name for name in kind.schema.column_names() if name != "recorded_at"]
    gone = old.join(new, on=_KEY, how="anti", maintain_order="left").select(
        _KEY, change=pl.lit("withdrawn"), field=pl.lit(None, pl.String)
    )
    came = new.join(old, on=_KEY, how="anti", maintain_order="left").select(
        _KEY, change=pl.lit("came later"), field=pl.lit(None, pl.String)
    )
    long = [
        frame.unpivot(values, index=_KEY, variable_name="field", value_name=value)
        for frame, value in ((old, "before"), (new, "after"))
    ]
    cells = (
        long[0]
        .join(long[1], on=[_KEY, "field"], how="inner", maintain_order="left")
        .filter(pl.col("before").ne_missing(pl.col("after")))
        .with_columns(change=pl.lit("corrected"))
    )
    rows = pl.concat([cells, gone, came], how="diagonal_relaxed")
    why = reasons.unique([_KEY, "field"], keep="last", maintain_order=True)
    whole = reasons.unique(_KEY, keep="last", maintain_order=True).select(_KEY, _whole="reason")
    rows = rows.join(
        why.drop("recorded_at"), on=[_KEY, "field"], how="left", nulls_equal=True,
        maintain_order="left",
    ).join(whole, on=_KEY, how="left", maintain_order="left")  # fmt: skip
    said = pl.coalesce("reason", "_whole", pl.lit("written down only later"))
    return RecordChanges.validate(
        rows.select(
            pl.lit(kind.name).alias("record_kind"), _KEY, "change", "field", "before", "after",
            said.alias("why"),
        ),
        cast=True,
    )  # fmt: skip


def _cells(kind: RecordKind, rows: pl.DataFrame) -> pl.DataFrame:
    return rows.select(
        key_text(kind, rows).alias(_KEY),
        *(
            pl.col(name).dt.strftime("%Y-%m-%dT%H:%M:%SZ")
            if isinstance(dtype, pl.Datetime)
            else pl.col(name).cast(pl.String)
            for name, dtype in rows.schema.items()
            if name in kind.schema.column_names()
        ),
    )
