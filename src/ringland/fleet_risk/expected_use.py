"""How many engine hours a hull is expected to run: what it did of late, else its dock's middle."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.assumptions import Assumptions

DAY_S = 86_400.0


def expected_use(
    exposure: pl.DataFrame, hulls: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Mean engine hours a day for each hull in service, over its recent days in service.

    Looks back `record.recent_sessions_d` days.  A hull without a rental in that time gets
    the middle of its dock's hulls that had one; where no hull of the dock had one, null.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        hulls: the `hulls` records as known at `as_of`.
        as_of: the instant the report speaks of, UTC.
        assumptions: settings.

    Returns:
        One row per hull in service: hull_id, dock_id, use_h_d, is_own_use,
        last_session_at (null: never rented), throttle_known_share (of its recent rentals).
    """
    look_back_d = assumptions.number("record.recent_sessions_d")
    since = as_of - timedelta(days=look_back_d)
    hours = exposure.group_by("hull_id").agg(
        last_session_at=pl.col("ended_at").max(),
        recent_h=(pl.col("engine_h_stop") - pl.col("engine_h_start"))
        .filter(pl.col("started_at") > since)
        .sum(),
        recent_sessions=(pl.col("started_at") > since).sum(),
        throttle_known_share=1
        - pl.col("is_throttle_assumed").filter(pl.col("started_at") > since).mean(),
    )
    days = (
        (pl.lit(as_of) - pl.max_horizontal("in_service_at", pl.lit(since))).dt.total_seconds()
        / DAY_S
    ).clip(lower_bound=1.0)  # a hull that came this morning has had a day to run
    own = (
        in_service(hulls, as_of)
        .join(hours, on="hull_id", how="left")
        .with_columns(
            own_h_d=pl.when(pl.col("recent_sessions") > 0).then(pl.col("recent_h") / days)
        )
    )
    return own.select(
        "hull_id",
        "dock_id",
        use_h_d=pl.coalesce("own_h_d", pl.col("own_h_d").median().over("dock_id")),
        is_own_use=pl.col("own_h_d").is_not_null(),
        last_session_at="last_session_at",
        throttle_known_share="throttle_known_share",
    ).sort("hull_id")


def in_service(hulls: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """The hulls in the fleet at `as_of`."""
    return hulls.filter(
        (pl.col("in_service_at") <= as_of)
        & (pl.col("out_of_service_at").is_null() | (pl.col("out_of_service_at") > as_of))
    )
