"""How many engine hours a hull is expected to run: its dock's pace, its share, the season's turn.

What a hull ran in a few weeks is mostly chance, and a rental year rises in spring and falls
in autumn.  So the hours expected of a hull are those its dock's hulls ran of late, times how
much it runs beside them over the year, drawn in as far as its record leaves that open
(`credible_means`), times how the season goes on from here (`season_turn`).  In a season's
first weeks, of which little is known, it is the dock's pace in the same days of earlier years.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.risk.closed_season import closed_between, pace_of_earlier_years, silent_days
from ringland.risk.credibility import credible_means
from ringland.risk.season_turn import AHEAD_D, YEAR_D, RanHours, turn_ahead, years_ago
from ringland.settings.assumptions import Assumptions

Floats = NDArray[np.float64]

DAY_S = 86_400.0
LATER_USE = "later_use_h_d"
"""Optional column: engine hours a day expected beyond those days, to the season's end."""


def expected_use(
    exposure: pl.DataFrame, hulls: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Mean engine hours a day expected of each hull in service over the days ahead.

    A hull that did not run in a block of `record.recent_sessions_d` days says nothing in it:
    it may have lain ashore.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        hulls: the `hulls` records as known at `as_of`.
        as_of: the instant the report speaks of, UTC.
        assumptions: settings.

    Returns:
        One row per hull in service: hull_id, dock_id, use_h_d = dock_use_h_d (mean of its
        dock's hulls that ran of late; null: none did) x use_beside_dock x season_turn; after a
        closed season the dock's pace of earlier years, at this one's level, x use_beside_dock,
        turn_sd_log (how far the log of the season's turn may be off, for every hull alike),
        turn_own_share, turn_weeks and turn_off_log (as `SeasonTurn`),
        is_own_use (whether its own rentals speak for use_beside_dock, which is else 1),
        use_sd_log (standard deviation of the log of hours run in a block over those expected),
        last_session_at (null: never rented), silent_d (days since, a closed season left out),
        throttle_known_share (of its recent rentals).
    """
    look_back_d = assumptions.number("record.recent_sessions_d")
    of_late = pl.col("started_at") > as_of - timedelta(days=look_back_d)
    last = exposure.group_by("hull_id", maintain_order=True).agg(
        last_session_at=pl.col("ended_at").max(),
        throttle_known_share=1 - pl.col("is_throttle_assumed").filter(of_late).mean(),
    )
    fleet = in_service(hulls, as_of)
    blocks = _hours_by_block(exposure, fleet, as_of, assumptions)
    pace = blocks.filter(pl.col("block") == 0).select("dock_id", dock_use_h_d="dock_h_d").unique()
    share = credible_means(
        blocks.select(
            "dock_id",
            "hull_id",
            mean=pl.col("ran_h") / pl.col("dock_h"),
            weight=pl.col("dock_h"),
        )
    )
    ran = RanHours.of(exposure)
    turn = turn_ahead(ran, as_of, assumptions)
    opens = _opening_pace(exposure, ran, as_of, assumptions)
    closed = closed_between(exposure, as_of, assumptions)
    return (
        fleet.select("hull_id", "dock_id")
        .join(last, on="hull_id", how="left")
        .join(pace, on="dock_id", how="left")
        .join(opens, on="dock_id", how="left")
        .join(share.select("hull_id", use_beside_dock="credible_mean"), on="hull_id", how="left")
        .select(
            "hull_id",
            "dock_id",
            use_h_d=pl.coalesce("pace_h_d", turn.turn * pl.col("dock_use_h_d"))
            * pl.col("use_beside_dock").fill_null(1.0),
            season_turn=pl.lit(turn.turn),
            turn_sd_log=pl.lit(turn.sd_log),
            turn_own_share=pl.lit(turn.own_share),
            turn_weeks=pl.lit(turn.n_weeks),
            turn_off_log=pl.lit(turn.off_log, dtype=pl.Float64),
            use_sd_log=pl.lit(use_spread(blocks, share, assumptions)),
            dock_use_h_d="dock_use_h_d",
            use_beside_dock=pl.col("use_beside_dock").fill_null(1.0),
            is_own_use=pl.col("use_beside_dock").is_not_null(),
            last_session_at="last_session_at",
            silent_d=silent_days(pl.col("last_session_at"), closed, as_of),
            throttle_known_share="throttle_known_share",
        )
        .sort("hull_id")
    )


def use_spread(blocks: pl.DataFrame, share: pl.DataFrame, assumptions: Assumptions) -> float:
    """How far hours run lay from those expected a block before: standard deviation of the log.

    Each block is held against its dock's pace one block earlier times the hull's share, as a
    week's report would have; so it holds the season's turn too.  A robust estimate (median of
    the absolute deviations), drawn to the setting where the record has few blocks.
    """
    before = blocks.select("hull_id", pl.col("block") - 1, pace_before="dock_h_d")
    expected_h = pl.col("pace_before") * pl.col("days") * pl.col("credible_mean")
    ratio = (
        blocks.join(before, on=["hull_id", "block"], maintain_order="left")
        .join(share.select("hull_id", "credible_mean"), on="hull_id", maintain_order="left")
        .select(log=(pl.col("ran_h") / expected_h).log())
        .filter(pl.col("log").is_finite())["log"]
        .to_numpy()
    )
    prior = assumptions.number("record.use_sd_log")
    worth, n = assumptions.number("record.use_sd_blocks"), len(ratio)
    # of a normal, 1.4826 of these medians is the standard deviation
    seen = 1.4826 * float(np.median(np.abs(ratio - np.median(ratio)))) if n else prior
    return float(np.sqrt((n * seen**2 + worth * prior**2) / (n + worth)))


def _hours_by_block(
    exposure: pl.DataFrame, fleet: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Hours of each hull in service in each block of days of the last year it ran in.

    Blocks count back from `as_of`.  `dock_h_d` is the pace of the dock's hulls that ran in
    the block, `dock_h` what a hull in service as long as this one would run at that pace.
    """
    block_d = assumptions.number("record.recent_sessions_d")
    ago_d = (pl.lit(as_of) - pl.col("started_at")).dt.total_seconds() / DAY_S
    served_d = (pl.lit(as_of) - pl.col("in_service_at")).dt.total_seconds() / DAY_S
    return (
        exposure.filter(ago_d.is_between(0.0, YEAR_D, closed="left"))
        .with_columns(block=(ago_d / block_d).floor())
        .group_by("hull_id", "block", maintain_order=True)
        .agg(ran_h=(pl.col("engine_h_stop") - pl.col("engine_h_start")).sum())
        .filter(pl.col("ran_h") > 0)
        .join(
            fleet.select("hull_id", "dock_id", "in_service_at"), on="hull_id", maintain_order="left"
        )
        .sort("dock_id", "hull_id", "block")
        # a hull that came this morning has had a day to run
        .with_columns(days=(served_d - pl.col("block") * block_d).clip(1.0, block_d))
        .with_columns(
            dock_h_d=pl.col("ran_h").sum().over("dock_id", "block")
            / pl.col("days").sum().over("dock_id", "block")
        )
        .with_columns(dock_h=pl.col("dock_h_d") * pl.col("days"))
    )


def later_use(
    use: pl.DataFrame,
    exposure: pl.DataFrame,
    as_of: datetime,
    until: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Hours a day of each hull from `AHEAD_D` days on to the season's end, as earlier ones went on.

    Args:
        use: hull_id, use_h_d and season_turn, as `expected_use` returns them.
        exposure: `SessionExposure` as known at `as_of`.
        as_of: the instant looked ahead from.
        until: the season's end.
        assumptions: settings.

    Returns:
        hull_id, `LATER_USE` (use_h_d where no day is left), rest_turn_sd_log (how far the log
        of the hours from `as_of` to the season's end may be off, for every hull alike).
    """
    days = (until - as_of).total_seconds() / DAY_S
    ratio, rest_sd = pl.lit(1.0), pl.col("turn_sd_log")
    if days > AHEAD_D:
        ran = RanHours.of(exposure)
        turn = turn_ahead(ran, as_of, assumptions, ahead_d=(AHEAD_D, days)).turn
        rest_sd = pl.lit(turn_ahead(ran, as_of, assumptions, ahead_d=(0.0, days)).sd_log)
        ratio = pl.when(pl.col("season_turn") > 0).then(turn / pl.col("season_turn")).otherwise(1.0)
        if _is_opening(exposure, as_of, assumptions):
            ratio = pl.lit(_as_years_went_on(exposure, ran, as_of, days))
    return use.select(
        "hull_id", (pl.col("use_h_d") * ratio).alias(LATER_USE), rest_turn_sd_log=rest_sd
    )


def hours_ahead(sets: pl.DataFrame, days: float) -> Floats:
    """Engine hours of each set in the days ahead, shape (sets,): `use_h_d`, then `LATER_USE`."""
    near = sets["use_h_d"].to_numpy().astype(float)
    late = sets[LATER_USE].to_numpy().astype(float) if LATER_USE in sets.columns else near
    return np.asarray(near * min(days, AHEAD_D) + late * max(0.0, days - AHEAD_D))


def _is_opening(exposure: pl.DataFrame, as_of: datetime, assumptions: Assumptions) -> bool:
    """Whether the fleet was closed in the days looked back over for expected use."""
    closed = closed_between(exposure, as_of, assumptions)
    of_late = timedelta(days=assumptions.number("record.recent_sessions_d"))
    return closed is not None and as_of - closed[1] < of_late


def _opening_pace(
    exposure: pl.DataFrame, ran: RanHours, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """dock_id, pace_h_d: of earlier years at this season's level; no row once it is open."""
    paces = pace_of_earlier_years(exposure, as_of, years_back(ran.first, as_of), (0.0, AHEAD_D))
    if not _is_opening(exposure, as_of, assumptions):
        return paces.clear()
    return paces.with_columns(pl.col("pace_h_d") * _level(ran, as_of, assumptions))


def _level(ran: RanHours, as_of: datetime, assumptions: Assumptions) -> float:
    """How far this year stands above earlier ones in the days before; 1: nothing ran yet."""
    back = years_back(ran.first, as_of)
    look_back = timedelta(days=assumptions.number("record.recent_sessions_d"))
    now_h = ran.between(as_of - look_back, as_of)
    before_h = sum(
        weight * ran.between(then - look_back, then)
        for ago_d, weight in back
        for then in [as_of - timedelta(days=ago_d)]
    )
    n_years = sum(weight for _, weight in back)
    level_h = assumptions.number("record.season_level_h")
    return (n_years * now_h + level_h) / (before_h + level_h) if now_h and n_years else 1.0


def _as_years_went_on(
    exposure: pl.DataFrame, ran: RanHours, as_of: datetime, until_d: float
) -> float:
    """The pace beyond `AHEAD_D` days over that within them, in earlier years; 1: not known."""
    back = years_back(ran.first, as_of)
    late, near = (
        pace_of_earlier_years(exposure, as_of, back, ahead)["pace_h_d"].mean()
        for ahead in ((AHEAD_D, until_d), (0.0, AHEAD_D))
    )
    return float(late / near) if isinstance(late, float) and isinstance(near, float) else 1.0


def years_back(first: datetime | None, as_of: datetime) -> list[tuple[int, float]]:
    """Days back to the same day of each earlier year since the first rental, with weights."""
    return [] if first is None else years_ago((as_of - first).total_seconds() / DAY_S)


def in_service(hulls: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """The hulls in the fleet at `as_of`."""
    return hulls.filter(
        (pl.col("in_service_at") <= as_of)
        & (pl.col("out_of_service_at").is_null() | (pl.col("out_of_service_at") > as_of))
    )
