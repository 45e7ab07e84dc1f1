"""From a hull's number back to the rows of the files it came from."""

from __future__ import annotations

import polars as pl

from ringland.settings.assumptions import Assumptions

SOURCE = {"source_file": pl.String, "source_row": pl.Int64}
"""Where a record row stands; null where the records were handed on without it."""


def recent_fills(
    fills: pl.DataFrame, exposure: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """The fills behind each hull's last engine hours, with the file and row of each.

    The hours are those the covariates look back over (`exposure.trailing_h`).  The last fill
    before them counts too: its fuel was still in the tank.

    Args:
        fills: the `fills` records, with `source_file` and `source_row` where known.
        exposure: `SessionExposure`.
        assumptions: settings.

    Returns:
        hull_id, filled_at, volume_l, source, source_dock_id, octane_aki, octane_ron,
        source_file, source_row; in order of hull and time.
    """
    window_h = assumptions.number("exposure.trailing_h")
    run_h = pl.col("engine_h_stop") - pl.col("engine_h_start")
    since = (
        exposure.sort("hull_id", "started_at")
        .with_columns(left_h=run_h.cum_sum(reverse=True).over("hull_id"), run_h=run_h)
        .filter(pl.col("left_h") - pl.col("run_h") < window_h)
        .group_by("hull_id", maintain_order=True)
        .agg(since=pl.col("started_at").min())
    )
    placed = fills.with_columns(
        pl.lit(None, dtype=dtype).alias(name)
        for name, dtype in SOURCE.items()
        if name not in fills.columns
    ).join(since, on="hull_id")
    before = (pl.col("filled_at") <= pl.col("since")).alias("is_before")
    return (
        placed.with_columns(before)
        .filter(
            ~pl.col("is_before")
            | (
                pl.col("filled_at")
                == pl.col("filled_at").filter(pl.col("is_before")).max().over("hull_id")
            )
        )
        .select(
            "hull_id",
            "filled_at",
            "volume_l",
            "source",
            "source_dock_id",
            "octane_aki",
            "octane_ron",
            *(pl.col(name).cast(dtype) for name, dtype in SOURCE.items()),
        )
        .sort("hull_id", "filled_at", "volume_l")
    )
