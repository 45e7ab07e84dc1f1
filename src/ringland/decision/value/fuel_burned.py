"""What hulls and docks burned of late against what they need."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.exposure.octane_margin import ROUNDING_ON
from ringland.settings.assumptions import Assumptions


def fuel_burned(
    exposure: pl.DataFrame, by: str, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """The fuel burned over the recent days, and the highest need it met.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        by: 'hull_id' or 'dock_id', the grain of the answer.
        as_of: the instant the report speaks of.
        assumptions: settings.

    Returns:
        One row per hull or dock that ran: `by`, n_hulls, burned_l, need_high_aki,
        below_need_share (of the litres whose margin is known), shortfall_on (mean over
        the litres below need), fuel_age_d (mean), over_14d_share, over_28d_share,
        unknown_share, oldest_fuel_d (highest mean age of one rental's fuel).  Null where the
        record does not say.
    """
    since = as_of - timedelta(days=assumptions.number("record.recent_sessions_d"))
    margin, always = pl.col("octane_margin_on"), pl.lit(True)
    is_short = margin < -ROUNDING_ON
    known = pl.col("burn_l").filter(margin.is_not_null()).sum()
    return (
        exposure.filter(pl.col("started_at") > since)
        .sort("started_at", "hull_id")
        .group_by(by, maintain_order=True)
        .agg(
            n_hulls=pl.col("hull_id").n_unique(),
            burned_l=pl.col("burn_l").sum(),
            need_high_aki=pl.col("octane_need_aki").max(),
            below_need_share=pl.when(known > 0).then(
                pl.col("burn_l").filter(is_short).sum() / known
            ),
            shortfall_on=_weighted(-margin, is_short),
            fuel_age_d=_weighted(pl.col("fuel_age_d"), always),
            over_14d_share=_weighted(pl.col("share_over_14d"), always),
            over_28d_share=_weighted(pl.col("share_over_28d"), always),
            unknown_share=_weighted(pl.col("unknown_share"), always),
            oldest_fuel_d=pl.col("fuel_age_d").max(),
        )
        .sort(by)
    )


def dock_fuel(
    exposure: pl.DataFrame,
    tanks: pl.DataFrame,
    docks: pl.DataFrame,
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """`fuel_burned` for every dock on record, with what stands in its tank now.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        tanks: `TanksNow`.
        docks: the `docks` records.
        as_of: the instant the report speaks of.
        assumptions: settings.

    Returns:
        One row per dock: the columns of `fuel_burned`, and of its tank level_l, octane_aki,
        octane_low_aki, octane_high_aki, fuel_age_now_d; null without a delivery on record.
    """
    in_tank = tanks.filter(pl.col("kind") == "dock").select(
        "level_l",
        "octane_aki",
        "octane_low_aki",
        "octane_high_aki",
        dock_id="tank",
        fuel_age_now_d="fuel_age_d",
    )
    return (
        docks.select("dock_id")
        .join(fuel_burned(exposure, "dock_id", as_of, assumptions), on="dock_id", how="left")
        .join(in_tank, on="dock_id", how="left")
        .sort("dock_id")
    )


def one_grade_docks(exposure: pl.DataFrame, assumptions: Assumptions) -> tuple[str, ...]:
    """Docks whose hulls burned one grade over the whole record: its octane hardly varies.

    There an effect of fuel cannot be told from an effect of the dock.
    """
    least = assumptions.number("record.one_grade_sd_on")
    spread = exposure.group_by("dock_id", maintain_order=True).agg(sd_on=pl.col("octane_aki").std())
    return tuple(spread.filter(pl.col("sd_on") < least)["dock_id"].sort())


def _weighted(value: pl.Expr, among: pl.Expr) -> pl.Expr:
    """The litres-weighted mean over rows that know the value; null when none does."""
    counts = among & value.is_not_null()
    weight = pl.col("burn_l").filter(counts).sum()
    return pl.when(weight > 0).then((value * pl.col("burn_l")).filter(counts).sum() / weight)
