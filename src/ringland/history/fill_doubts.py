"""Fills that were probably written twice, and fills that a later row takes back."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta

import polars as pl

from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence

Records = Mapping[str, pl.DataFrame]
_TIME = "%Y-%m-%d %H:%M"
_LEAST_L = 0.3  # two pumps and a rounding to half a litre part small fills by more than a share


def fills_written_twice(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """A `RecordFlags` of fills as large as another of the same hull a few minutes before."""
    within = timedelta(minutes=assumptions.number("doubt.twice_min"))
    share = assumptions.number("doubt.twice_share")
    before = {
        f"_{name}": pl.col(name).shift(1).over("hull_id") for name in ("filled_at", "volume_l")
    }
    apart_l = (pl.col("volume_l") - pl.col("_volume_l")).abs()
    rows = (
        records["fills"]
        .sort("hull_id", "filled_at", "volume_l")
        .with_columns(**before)
        .filter(
            (pl.col("filled_at") - pl.col("_filled_at") <= within)
            & (apart_l <= pl.max_horizontal(share * pl.col("_volume_l"), _LEAST_L))
        )
    )
    words = sentence(
        "Hull {} took {} l at {} UTC and {} l at {}: probably one fill written down twice, in "
        "two logs or with its time put right. Both are counted.",
        "hull_id",
        pl.col("_volume_l").round(1),
        pl.col("_filled_at").dt.strftime(_TIME),
        pl.col("volume_l").round(1),
        pl.col("filled_at").dt.strftime("%H:%M"),
    )
    return record_flags(rows, "fill_written_twice", "filled_at", words, "fills")


def fills_taken_back(records: Records, set_aside: pl.DataFrame) -> pl.DataFrame:
    """A `RecordFlags` of fills that a row of negative litres, which is set aside, takes back.

    Args:
        records: what is known, by record kind.
        set_aside: rows set aside with `kind` and `value`, `field`, and `hull_id`, `filled_at`
            and `volume_l` as they were written.
    """
    refunds = set_aside.filter(pl.col("kind") == "fills").select(
        "hull_id",
        _back_at=pl.col("filled_at").str.to_datetime(
            "%+", time_zone="UTC", time_unit="us", strict=False
        ),
        _back_l=-pl.col("volume_l").cast(pl.Float64, strict=False),
    )
    refunds = refunds.filter(pl.col("_back_l") > 0).drop_nulls().unique(maintain_order=True)
    rows = (
        records["fills"]
        .join(refunds, on="hull_id", how="inner", maintain_order="left")
        .filter(
            ((pl.col("volume_l") - pl.col("_back_l")).abs() < _SAME_L)
            & (pl.col("filled_at") <= pl.col("_back_at"))
        )
        .sort("hull_id", "_back_at", "filled_at")
        .unique(["hull_id", "_back_at", "_back_l"], keep="last", maintain_order=True)
    )
    words = sentence(
        "A row of {} UTC takes back {} l of hull {}, as many as this fill of {}. The fill is still "
        "counted.",
        pl.col("_back_at").dt.strftime(_TIME),
        pl.col("_back_l").round(1),
        "hull_id",
        pl.col("filled_at").dt.strftime(_TIME),
    )
    return record_flags(rows, "fill_taken_back", "filled_at", words, "fills")


_SAME_L = 0.01
