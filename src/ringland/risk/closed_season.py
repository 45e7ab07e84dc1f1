"""Before a season's first rentals: how long a fleet was closed, and what earlier years ran then.

Over a winter a hull is not silent, it is laid up; and of its dock's pace of late nothing is
known, so that of the same days in earlier years stands for it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import polars as pl

from ringland.settings.assumptions import Assumptions

DAY_S = 86_400.0

LATE_RENTALS = timedelta(days=60)
"""After the season's last day some may still be rented; a pause begun later is none of it."""


def season_end(as_of: datetime, assumptions: Assumptions) -> datetime:
    """The end of the season's last day in the year of `as_of`; it may be past."""
    return datetime(
        as_of.year,
        int(assumptions.number("season.last_month")),
        int(assumptions.number("season.last_day")),
        tzinfo=as_of.tzinfo,
    ) + timedelta(days=1)


def closed_between(
    exposure: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> tuple[datetime, datetime] | None:
    """From the last rental of the season before to the first of this one, or to `as_of`.

    None where no season's last day lies in the record, or the fleet rented on through the winter.

    Args:
        exposure: started_at and ended_at of the rentals known at `as_of`.
        as_of: the instant looked back from.
        assumptions: the last day of the season; a pause shorter than `record.recent_sessions_d`
            days is none.
    """
    over_at = season_end(as_of, assumptions)
    if over_at > as_of:
        over_at = season_end(over_at.replace(year=as_of.year - 1, day=1), assumptions)
    least = timedelta(days=assumptions.number("record.recent_sessions_d"))
    pauses = (
        exposure.sort("started_at")
        .select(
            begun=pl.col("ended_at").cum_max(),
            ended=pl.col("started_at").shift(-1).fill_null(pl.lit(as_of)),
        )
        .filter(pl.col("begun") < over_at + LATE_RENTALS, pl.col("ended") > over_at)
        .filter(pl.col("ended") - pl.max_horizontal("begun", pl.lit(over_at)) >= least)
        .sort(pl.col("ended") - pl.col("begun"))
    )
    if pauses.is_empty():
        return None
    begun, until = pauses.row(-1)
    return begun, until


def silent_days(
    last_at: pl.Expr, closed: tuple[datetime, datetime] | None, as_of: datetime
) -> pl.Expr:
    """Days since a rental, those of a closed season left out."""
    days = (pl.lit(as_of) - last_at).dt.total_seconds() / DAY_S
    if closed is None:
        return days
    begun, ended = closed
    laid_up = (pl.lit(ended) - pl.max_horizontal(last_at, pl.lit(begun))).dt.total_seconds() / DAY_S
    return days - laid_up.clip(lower_bound=0.0)


def pace_of_earlier_years(
    exposure: pl.DataFrame,
    as_of: datetime,
    years_ago: Sequence[tuple[int, float]],
    ahead_d: tuple[float, float],
) -> pl.DataFrame:
    """Hours a day of each dock's hulls in these days of earlier years.

    Args:
        exposure: dock_id, hull_id, started_at, engine_h_start and engine_h_stop of the rentals.
        as_of: the instant looked ahead from.
        years_ago: days back to the same day of each earlier year, with their weights.
        ahead_d: from and to how many days ahead.

    Returns:
        dock_id, pace_h_d (mean of its hulls that ran then); a dock without running has no row.
    """
    begin_d, end_d = (timedelta(days=days) for days in ahead_d)
    ran_h = (pl.col("engine_h_stop") - pl.col("engine_h_start")).sum()
    years = [
        exposure.filter(
            pl.col("started_at").is_between(then + begin_d, then + end_d, closed="left")
        )
        .group_by("dock_id", maintain_order=True)
        .agg(
            ran_h=weight * ran_h,
            hull_d=weight * pl.col("hull_id").n_unique() * (ahead_d[1] - ahead_d[0]),
        )
        for ago_d, weight in years_ago
        if weight > 0
        for then in [as_of - timedelta(days=ago_d)]
    ]
    if not years:
        return pl.DataFrame(schema={"dock_id": pl.String, "pace_h_d": pl.Float64})
    return (
        pl.concat(years)
        .group_by("dock_id", maintain_order=True)
        .agg(pace_h_d=pl.col("ran_h").sum() / pl.col("hull_d").sum())
        .filter(pl.col("pace_h_d") > 0)
    )
