"""How many engine hours a hull is expected to run: what it did of late, in this season's turn.

A rental year rises in spring and falls in autumn.  What a hull ran of late is therefore
multiplied by how the whole fleet's hours went on from these same weeks in earlier seasons.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.assumptions import Assumptions

DAY_S = 86_400.0
YEAR_D = 364
"""Whole weeks, so that a weekend is held against a weekend."""
AHEAD_D = 30
"""Days ahead that the season's turn speaks of; shorter and longer horizons take it too."""


def expected_use(
    exposure: pl.DataFrame, hulls: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Mean engine hours a day expected of each hull in service over the days ahead.

    Its mean over the last `record.recent_sessions_d` days in service, times the season's
    turn (`season_turn`).  A hull without a rental in that time gets the middle of its
    dock's hulls that had one; where no hull of the dock had one, null.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        hulls: the `hulls` records as known at `as_of`.
        as_of: the instant the report speaks of, UTC.
        assumptions: settings.

    Returns:
        One row per hull in service: hull_id, dock_id, use_h_d, season_turn, is_own_use,
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
    turn = season_turn(exposure, as_of, assumptions)
    return own.select(
        "hull_id",
        "dock_id",
        use_h_d=turn * pl.coalesce("own_h_d", pl.col("own_h_d").median().over("dock_id")),
        season_turn=pl.lit(turn),
        is_own_use=pl.col("own_h_d").is_not_null(),
        last_session_at="last_session_at",
        throttle_known_share="throttle_known_share",
    ).sort("hull_id")


def season_turn(exposure: pl.DataFrame, as_of: datetime, assumptions: Assumptions) -> float:
    """Hours a day in the days ahead over those of late, as earlier seasons went on from here.

    Pooled over all earlier years whose look-back lies within the record; held within
    `record.season_turn_most` and its inverse.  1 where no earlier year is on record, or
    where nothing ran in those weeks.

    Args:
        exposure: started_at, engine_h_start and engine_h_stop of the rentals known at `as_of`.
        as_of: the instant looked ahead from.
        assumptions: settings.
    """
    look_back_d = assumptions.number("record.recent_sessions_d")
    first = exposure["started_at"].min()
    if not isinstance(first, datetime):
        return 1.0
    ran_h = pl.col("engine_h_stop") - pl.col("engine_h_start")
    before_h = after_h = 0.0
    then = as_of - timedelta(days=YEAR_D)
    while then - timedelta(days=look_back_d) >= first:
        for_days = pl.col("started_at") - pl.lit(then)
        before, after = exposure.select(
            ran_h.filter(for_days.is_between(-timedelta(days=look_back_d), timedelta(0), "left"))
            .sum()
            .alias("before"),
            ran_h.filter(for_days.is_between(timedelta(0), timedelta(days=AHEAD_D), "left"))
            .sum()
            .alias("after"),
        ).row(0)
        before_h, after_h = before_h + before, after_h + after
        then -= timedelta(days=YEAR_D)
    if before_h <= 0.0:
        return 1.0
    most = assumptions.number("record.season_turn_most")
    return min(max((after_h / AHEAD_D) / (before_h / look_back_d), 1.0 / most), most)


def in_service(hulls: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """The hulls in the fleet at `as_of`."""
    return hulls.filter(
        (pl.col("in_service_at") <= as_of)
        & (pl.col("out_of_service_at").is_null() | (pl.col("out_of_service_at") > as_of))
    )
