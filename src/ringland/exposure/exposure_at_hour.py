"""What many piston sets burned up to the same hour of their lives, in one pass.

The same means as `exposure_spells` gives a set, whose way is by running totals: here each
session counts by the share of its hours that lies in the trailing hours, summed over all
sets at once.  A set that ran nothing in these hours is not among them; `exposure_spells`
says what stands in for its past.
"""

from __future__ import annotations

import polars as pl

from ringland.exposure.exposure_spells import session_totals
from ringland.settings.assumptions import Assumptions


def exposure_at_hour(exposure: pl.DataFrame, hour: float, assumptions: Assumptions) -> pl.DataFrame:
    """The trailing covariates at an hour of every set that ran in the hours before it.

    Args:
        exposure: `SessionExposure` of the sets, with what they ran after the hour.
        hour: engine hours since each set was fitted.
        assumptions: exposure.trailing_h and what stands in for no record.

    Returns:
        piston_set_id, shortfall_25h_on, fuel_age_25h_d, full_throttle_25h,
        is_raised_calibration; in order of set.
    """
    since = hour - assumptions.number("exposure.trailing_h")
    begin, end = pl.col("set_h_start"), pl.col("set_h_stop")
    inside = pl.min_horizontal(end, pl.lit(hour)) - pl.max_horizontal(begin, pl.lit(since))
    last = (pl.col("set_h_stop") <= hour).sum()  # the session under way, or the next one
    names = ("hours", "hard_h", "short_onh", "aged_l", "age_ld")
    # what ended before counts for nothing, and is most of the record
    late = exposure.filter(pl.col("piston_set_id").is_not_null() & (end > since))
    sums = (
        session_totals(late, assumptions)
        .sort("piston_set_id", "set_h_start", "started_at")
        .with_columns(share=(inside / (end - begin)).clip(0.0, 1.0).fill_nan(0.0))
        .group_by("piston_set_id", maintain_order=True)
        .agg(
            *((pl.col(name) * pl.col("share")).sum() for name in names),
            calibration=pl.col("calibration").get(pl.min_horizontal(last, pl.len() - 1)),
        )
        .filter(pl.col("hours") > 0)
    )
    return sums.select(
        "piston_set_id",
        shortfall_25h_on=_ratio("short_onh", "hard_h"),
        fuel_age_25h_d=_ratio("age_ld", "aged_l"),
        full_throttle_25h=pl.col("hard_h") / pl.col("hours"),
        is_raised_calibration=(pl.col("calibration") == "raised").fill_null(value=False),
    )


def _ratio(part: str, whole: str) -> pl.Expr:
    return pl.when(pl.col(whole) > 0).then(pl.col(part) / pl.col(whole)).otherwise(0.0)
