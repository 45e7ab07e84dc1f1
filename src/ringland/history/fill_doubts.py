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
    """A `RecordFlags` of fills as large as another of the same hull, a few minutes before or,
    in another file that says so of several, a whole number of half hours before: by two clocks.
    """
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
    near = record_flags(rows, "fill_written_twice", "filled_at", words, "fills")
    return pl.concat([near, _by_two_clocks(records["fills"])])


def _by_two_clocks(fills: pl.DataFrame) -> pl.DataFrame:
    """The fills of one file that stand in another by a clock of another zone."""
    if "source_file" not in fills.columns:
        return record_flags(fills.clear(), "fill_written_twice", "filled_at", pl.lit(""), "fills")
    one = fills.select(
        "hull_id", "filled_at", "volume_l", "source_file", _litres=pl.col("volume_l").round(1)
    )
    apart = pl.col("filled_at") - pl.col("_filled_at")
    files = ["source_file", "_source_file", "_apart"]
    pairs = (
        one.join(one.rename({n: f"_{n}" for n in ("filled_at", "volume_l", "source_file")}),
                 on=["hull_id", "_litres"], maintain_order="left_right")
        .filter(
            (pl.col("source_file") != pl.col("_source_file"))
            & apart.is_between(_HALF_HOUR, _FARTHEST_ZONES)
            & (apart.dt.total_seconds() % _HALF_HOUR.total_seconds() == 0)
        )
        .with_columns(_apart=apart)
    )  # fmt: skip
    rows = pairs.filter(pl.len().over(files) >= _LEAST_PAIRS).sort("hull_id", "filled_at")
    words = sentence(
        "Hull {} took {} l at {} UTC by {} and as much at {} by {}, which stands as far off for "
        "other fills too: probably one fill by two clocks. Both are counted.",
        "hull_id",
        pl.col("volume_l").round(1),
        pl.col("filled_at").dt.strftime(_TIME),
        "source_file",
        pl.col("_filled_at").dt.strftime("%H:%M"),
        "_source_file",
    )
    rows = rows.with_columns(words=words).select("hull_id", "filled_at", "_source_file", "words")
    rows = rows.unique(["hull_id", "filled_at"], keep="first", maintain_order=True)
    found = fills.join(rows, on=["hull_id", "filled_at"], how="inner", maintain_order="left")
    return record_flags(found, "fill_written_twice", "filled_at", pl.col("words"), "fills")


_HALF_HOUR, _FARTHEST_ZONES = timedelta(minutes=30), timedelta(hours=14)
_LEAST_PAIRS = 3


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
