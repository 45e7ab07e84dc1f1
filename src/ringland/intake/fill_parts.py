"""Fills in two parts within a minute, and rows of negative litres that take a fill back.

A pump that rings one fill up in two parts writes them with the same minute.  Both went into the
tank, so both are kept: the second a second later, which is within what the minute says.  A row
of negative litres is no fill; together with the fill of the same file that it takes back it is
set aside, and the words name both rows.
"""

from __future__ import annotations

import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.written.raw_file import SOURCE_ROW
from ringland.intake.written.text_cast import FAULT_SCHEMA, faults
from ringland.words.plain_words import sentence

_KIND = "fills"
_SAME_L = 0.01


def parts_apart(kind: RecordKind, rows: pl.DataFrame) -> tuple[pl.DataFrame, int]:
    """Fills of one hull and minute but other litres a second apart, and how many were moved."""
    if kind.name != _KIND or rows.is_empty():
        return rows, 0
    key = ["hull_id", "filled_at"]
    if rows.select(pl.struct(key).is_duplicated().any()).item() is False:
        return rows, 0
    # by litres, not by row: an export in another order gives the same instants
    part = pl.col("volume_l").rank("dense", descending=True).over(key) - 1
    is_minute = pl.col("filled_at").dt.second() == 0
    part = pl.when(is_minute).then(part).otherwise(0).cast(pl.Int64)
    moved = rows.with_columns(_part=part)
    count = int((moved["_part"] > 0).sum())
    at = pl.col("filled_at") + pl.duration(seconds=pl.col("_part"), time_unit="us")
    return moved.with_columns(filled_at=at).drop("_part"), count


def refund_faults(kind: RecordKind, *parts: pl.DataFrame) -> pl.DataFrame:
    """The rows of negative litres and the fills they take back, as `text_cast.FAULT_SCHEMA`.

    `parts` hold the rows of one file together.
    """
    if kind.name != _KIND or not any((part["volume_l"] < 0).any() for part in parts):
        return pl.DataFrame(schema=FAULT_SCHEMA)
    typed = pl.concat(parts)
    refunds = typed.filter(pl.col("volume_l") < 0)
    named = refunds.select("hull_id", _back=SOURCE_ROW, _at="filled_at", _l=-pl.col("volume_l"))
    pairs = (
        typed.join(named, on="hull_id", how="inner")
        .filter(
            ((pl.col("volume_l") - pl.col("_l")).abs() < _SAME_L)
            & (pl.col("filled_at") <= pl.col("_at"))
        )
        .sort("_back", "filled_at", SOURCE_ROW)
        .unique("_back", keep="last", maintain_order=True)
        .unique(SOURCE_ROW, keep="first", maintain_order=True)
    )
    taken_back = faults(
        pairs,
        "volume_l",
        sentence("The fill is taken back by row {}, a refund.", "_back"),
        pl.lit(
            "If the fuel stayed in the tank, load this row again without the refund; else leave "
            "both rows out."
        ),
    )
    refunds = refunds.join(
        pairs.select(_of=SOURCE_ROW, _row="_back"), left_on=SOURCE_ROW, right_on="_row", how="left"
    )
    back = faults(
        refunds,
        "volume_l",
        pl.when(pl.col("_of").is_null())
        .then(sentence("volume_l is {}: a refund, which is no fill.", "volume_l"))
        .otherwise(
            sentence("volume_l is {}: a refund, which takes back row {}.", "volume_l", "_of")
        ),
        pl.when(pl.col("_of").is_null())
        .then(
            pl.lit(
                "Withdraw the fill it takes back in a file 'corrections', then leave this row out."
            )
        )
        .otherwise(pl.lit("Leave both rows out if the fuel never went into the tank.")),
    )
    return pl.concat([taken_back, back])
