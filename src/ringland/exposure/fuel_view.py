"""What the ledger shows: each hull's tank over time, and each dock's fuel against its hulls.

Frames only; pictures and words are made elsewhere.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.exposure.octane_margin import ROUNDING_ON
from ringland.exposure.week_ledger import WeekLedger
from ringland.settings.assumptions import Assumptions


def tank_course(
    tank_events: pl.DataFrame, exposure: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """Each hull's tank over time: `tank_events` with the margin of each session.

    `is_worst_hour` marks the sessions that, from the worst down, hold fuel.worst_share of the
    hull's shortfall x hard-running hours.

    Args:
        tank_events: of the ledger.
        exposure: the SessionExposure frame.
        assumptions: fuel.worst_share.

    Returns:
        One row per event of a hull's tank, in order: the columns of `tank_events` and, for
        sessions, started_at, octane_margin_on, hard_running_h, shortfall_onh, is_worst_hour.
    """
    onh = (pl.col("shortfall_on") * pl.col("hard_running_h")).fill_null(0.0)
    worse = pl.col("shortfall_onh").cum_sum().over("hull_id") - pl.col("shortfall_onh")
    whole = pl.col("shortfall_onh").sum().over("hull_id")
    sessions = (
        exposure.with_columns(shortfall_onh=onh)
        .sort("hull_id", "shortfall_onh", "started_at", descending=[False, True, False])
        .with_columns(
            is_worst_hour=(pl.col("shortfall_onh") > 0)
            & (worse < assumptions.number("fuel.worst_share") * whole)
        )
        .select(
            "hull_id",
            "started_at",
            "octane_margin_on",
            "hard_running_h",
            "shortfall_onh",
            "is_worst_hour",
            at="ended_at",
            event=pl.lit("session"),
        )
        .unique(["hull_id", "at"], keep="first", maintain_order=True)
    )
    return tank_events.join(
        sessions, on=["hull_id", "at", "event"], how="left", maintain_order="left"
    )


def dock_fuel_view(
    fuel: WeekLedger,
    exposure: pl.DataFrame,
    at_hand: pl.DataFrame,
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """What each dock sold of late and what stands in its tank, against what its hulls need.

    Args:
        fuel: the ledger's events of late and its tanks as they stand.
        exposure: the SessionExposure frame.
        at_hand: `FuelAtHand` of the same.
        as_of: the moment the view speaks of.
        assumptions: record.recent_sessions_d is how far "of late" reaches.

    Returns:
        One row per dock with a delivery on record.  Sold since then: sold_l, sold_below_need_l
        (by the need of the ride that followed; null where no ride did), sold_octane_aki,
        oldest_sold_d, turnover_d (days the mean level would have lasted; null: nothing sold).
        In the tank now: level_l, octane_low_aki, octane_aki, octane_high_aki, fuel_age_d,
        unknown_share, turns_in_d and old_in_d (days until its mean age passes the two
        thresholds; negative: since).  Its hulls: hulls, need_low_aki, need_high_aki (of the
        calibrations in force), below_need_hulls (for how many its fuel falls short),
        below_need (their names).
    """
    since = as_of - timedelta(days=assumptions.number("record.recent_sessions_d"))
    return (
        _in_the_tank(fuel.tanks, assumptions)
        .join(_sold(fuel, exposure, since), on="dock_id", how="left")
        .join(_turnover(fuel, since, as_of), on="dock_id", how="left")
        .join(_needs(at_hand), on="dock_id", how="left")
        .with_columns(pl.col("sold_l", "sold_below_need_l").fill_null(0.0))
        .sort("dock_id")
    )


def _in_the_tank(tanks: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    age = pl.col("fuel_age_d")
    return (
        tanks.filter(pl.col("kind") == "dock")
        .rename({"tank": "dock_id"})
        .drop("kind")
        .with_columns(
            turns_in_d=assumptions.number("fuel.turns_after_d") - age,
            old_in_d=assumptions.number("fuel.old_after_d") - age,
        )
    )


def _sold(fuel: WeekLedger, exposure: pl.DataFrame, since: datetime) -> pl.DataFrame:
    """Per dock: litres craft took there, and of them those below the need of the next ride."""
    rides = exposure.select("hull_id", "octane_need_aki", at="started_at").sort("at")
    sold = (
        fuel.tank_events.filter(
            (pl.col("event") == "fill") & (pl.col("source") == "dock") & (pl.col("at") > since)
        )
        .sort("at")
        .join_asof(
            rides, on="at", by="hull_id", strategy="forward", check_sortedness=False
        )  # both sorted above; Polars cannot check it within groups
    )
    litres = pl.col("moved_l")
    below = pl.col("poured_octane_aki") < pl.col("octane_need_aki") - ROUNDING_ON
    return sold.group_by(dock_id="source_dock_id", maintain_order=True).agg(
        sold_l=litres.sum(),
        sold_below_need_l=litres.filter(below).sum(),
        sold_octane_aki=(litres * pl.col("poured_octane_aki")).sum() / litres.sum(),
        oldest_sold_d=pl.col("poured_age_d").max(),
    )


def _turnover(fuel: WeekLedger, since: datetime, as_of: datetime) -> pl.DataFrame:
    """Days the mean level (over events) would have lasted at the rate litres left."""
    days = (as_of - since).total_seconds() / 86_400
    left = pl.col("moved_l").filter(pl.col("event") == "draw").sum()
    return (
        fuel.dock_events.filter(pl.col("at") > since)
        .group_by("dock_id", maintain_order=True)
        .agg(turnover_d=pl.when(left > 0).then(pl.col("after_l").mean() * days / left))
    )


def _needs(at_hand: pl.DataFrame) -> pl.DataFrame:
    need, is_below = pl.col("need_aki"), pl.col("is_dock_short")
    return at_hand.group_by("dock_id", maintain_order=True).agg(
        hulls=pl.len(),
        need_low_aki=need.min(),
        need_high_aki=need.max(),
        below_need_hulls=is_below.sum(),
        below_need=pl.col("hull_id").filter(is_below).sort(),
    )
