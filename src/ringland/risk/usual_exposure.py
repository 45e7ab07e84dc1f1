"""What running ahead is like if nothing is done: how a hull is usually fuelled and ridden.

The exposure of the last engine hours is what a set has just been through; what it goes
through next is rather its hull's habit.  The habit is the hull's own mean over the last
`record.usual_d` days, drawn towards its dock's by `credible_means` as far as its own record
leaves it open.  Shortfall is reckoned against what its present calibration needs.
"""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.exposure.exposure_spells import session_totals
from ringland.exposure.factor_registry import FACTORS, MEANS
from ringland.risk.credibility import credible_means
from ringland.risk.exposure_ahead import OPEN, USUAL
from ringland.settings.assumptions import Assumptions

BELIEVED_AS = {
    "shortfall_25h_low_on": "shortfall_25h_on",
    "shortfall_25h_high_on": "shortfall_25h_on",
}
"""Bounds are drawn in by the credibility of the value they bound, so that they bound it still."""


def usual_exposure(
    exposure: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """The usual value of each covariate that looks back, hull by hull.

    Args:
        exposure: `SessionExposure` as known at `as_of`.
        as_of: the instant looked back from.
        assumptions: settings.

    Returns:
        One row per hull with a rental in that time: hull_id, usual_<covariate> for each of
        `MEANS` (null where nothing on record speaks of it), and open_usual_<covariate> for each
        factor among them: how far its mean over a block ahead may lie from that.
    """
    late = exposure.filter(
        pl.col("started_at") > as_of - timedelta(days=assumptions.number("record.usual_d"))
    )
    totals = _against_present_need(session_totals(late, assumptions))
    block_d = assumptions.number("record.recent_sessions_d")
    past_d = (pl.lit(as_of) - pl.col("started_at")).dt.total_seconds() / 86_400.0
    sums = sorted({name for pair in MEANS.values() for name in pair})
    # A hull is held against the dock it is at now, wherever it ran before.
    blocks = (
        totals.sort("hull_id", "started_at")
        .with_columns(
            dock_id=pl.col("dock_id").last().over("hull_id"), block=(past_d / block_d).floor()
        )
        .group_by("hull_id", "dock_id", "block", maintain_order=True)
        .agg(pl.col(sums).sum())
    )
    found = blocks.select("hull_id").unique(maintain_order=True)
    credible: dict[str, pl.DataFrame] = {}
    for name, (total, over) in MEANS.items():
        means = credible_means(
            blocks.select(
                "dock_id", "hull_id", mean=pl.col(total) / pl.col(over), weight=pl.col(over)
            )
        )
        credible[name] = means
        if name in BELIEVED_AS:
            means = _believed_as(means, credible[BELIEVED_AS[name]])
        said = [pl.col("credible_mean").alias(USUAL + name)]
        if name in FACTORS:
            said.append(pl.col("ahead_sd").fill_null(0.0).alias(OPEN + name))
        found = found.join(
            means.select("hull_id", *said),
            on="hull_id",
            how="left",
            maintain_order="left",
        )
    return found


def _against_present_need(totals: pl.DataFrame) -> pl.DataFrame:
    """The shortfall of each session had its hull's present calibration been in force.

    What the record leaves open of it stays as wide as it was.
    """
    hard = pl.col("hard_h")
    need_now = pl.col("octane_need_aki").drop_nulls().last().over("hull_id", order_by="started_at")
    low = pl.col("short_low_onh") - pl.col("short_onh")
    high = pl.col("short_high_onh") - pl.col("short_onh")
    now = pl.coalesce(
        hard * (need_now - pl.col("octane_aki")).clip(lower_bound=0.0), pl.col("short_onh")
    )
    return totals.with_columns(
        short_onh=now,
        short_low_onh=(now + low).clip(lower_bound=0.0),
        short_high_onh=now + high,
    )


def _believed_as(bound: pl.DataFrame, value: pl.DataFrame) -> pl.DataFrame:
    """The bound's means drawn to its dock's by the credibility of the value's."""
    both = bound.drop("credibility").join(
        value.select("hull_id", "dock_id", "credibility"),
        on=["hull_id", "dock_id"],
        maintain_order="left",
    )
    z = pl.col("credibility")
    all_zero = z.sum().over("dock_id") == 0
    counts = pl.when(all_zero).then(1.0).otherwise(z)
    dock = (counts * pl.col("own_mean")).sum().over("dock_id") / counts.sum().over("dock_id")
    return both.with_columns(credible_mean=dock + z * (pl.col("own_mean") - dock))
