"""Failures seen against those said, by how many weeks ahead they were said: a check that can fail.

What earlier lists said of the next 7 and 30 days is parted into four weeks ahead.  In each the
failures seen among the sets then still running are held against those expected of them, the
cumulative hazard of the said chances up to where each was followed.  Unlike the parts of the
record (`fit_against_record`), none of these failures was known to the fit that spoke of it.

What the ranges left open is mostly common to all hulls (the level of the hazard).  How much of
a hull's own range that is follows from this week's draws; the counts in keeping with what was
said are Poisson, mixed over a log-normal level of that spread, and all four weeks together cry
wolf in at most one record of twenty.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

import dataframely as dy
import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from ringland.risk.failure_risk import HORIZONS_D, chances_of, hazards_shown
from ringland.risk.fit_against_record import count_limits
from ringland.risk.fleet_hazard import CHECK_DRAWS, FleetFits
from ringland.score.score_history import followed
from ringland.settings.assumptions import Assumptions
from ringland.survival.estimates import normal_deviate

Floats = NDArray[np.float64]

EDGES_D = (0.0, 7.0, 14.0, 21.0, 28.0)
"""Ends of the weeks ahead."""
LEVELS = 200
"""Levels the counts are mixed over."""


class WeeksAhead(dy.Schema):
    """One row per week ahead that earlier lists spoke of."""

    week = dy.Int64(primary_key=True, min=1)
    n_hull_weeks = dy.Int64(min=0, description="at risk when that week ahead began")
    seen = dy.Int64(min=0)
    expected = dy.Float64(min=0, description="by the chances said, where each was followed")
    low = dy.Float64(description="fewest failures in keeping with what was said")
    high = dy.Float64(description="most")
    misses = dy.Bool()


def weeks_ahead(
    chances: pl.DataFrame,
    *,
    failures: pl.DataFrame,
    taken_out: pl.DataFrame,
    followed_to: datetime,
    common: float,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Seen and expected failures week by week ahead.

    Args:
        chances: `HullChances` of earlier weeks, with `as_of`, a week or more apart.
        failures: hull_id, failed_at of the failures the chances speak of.
        taken_out: hull_id, taken_out_at: opened on plan, sold or withdrawn unfailed.
        followed_to: the instant to which failures are on record.
        common: share of a hull's spread that is common to all, as `common_share` returns it.
        assumptions: settings.

    Returns:
        `WeeksAhead`; empty while no week said is over.
    """
    told = chances.filter(pl.col("chance_30d").is_not_null()).with_columns(
        pl.col("as_of").cast(pl.Datetime("us", "UTC"))
    )
    told = followed(told, failures, taken_out, followed_to)
    confidence = assumptions.number("survival.confidence")
    tail = (1 - confidence) / 2 / (len(EDGES_D) - 1)
    rows = []
    for week, (begin, end) in enumerate(pairwise(EDGES_D), start=1):
        is_over = pl.col("as_of") + timedelta(days=end) <= followed_to
        part = told.filter(is_over & (pl.col("time_d") > begin))
        if part.is_empty():
            continue
        until = np.minimum(part["time_d"].to_numpy(), end)
        by_hull = _hazard_by(part, until) - _hazard_by(part, np.full(part.height, begin))
        expected = float(by_hull.sum())
        spread = common * _spread_said(part, by_hull, confidence)
        seen = part.filter(pl.col("is_failure") & (pl.col("time_d") <= end)).height
        low, high = count_limits(expected * _levels(spread), tail)
        rows.append(
            {
                "week": week, "n_hull_weeks": part.height, "seen": seen, "expected": expected,
                "low": low, "high": high, "misses": not low <= seen <= high,
            }
        )  # fmt: skip
    if not rows:
        return WeeksAhead.create_empty()
    return WeeksAhead.validate(pl.DataFrame(rows), cast=True)


def common_share(fits: FleetFits, running: pl.DataFrame, assumptions: Assumptions) -> float:
    """Spread of the log of the fleet's failures in 30 days, in parts of a hull's own spread.

    Both are standard deviations over this week's draws; 1 where there are no draws to tell.
    """
    told = running.filter(pl.col("why_not").is_null())
    few = fits.thinned(CHECK_DRAWS)
    if told.is_empty() or few.cannot_tell is not None:
        return 1.0
    days = HORIZONS_D["30d"]
    hours = told["use_h_d"].to_numpy() * days
    drawn = chances_of(hazards_shown(few, told, hours, assumptions, days=days))
    drawn = np.log(np.maximum(drawn, np.finfo(float).tiny))
    own = float(drawn.std(axis=0).mean())
    return float(min(1.0, special.logsumexp(drawn, axis=1).std() / own)) if own > 0 else 1.0


def _hazard_by(rows: pl.DataFrame, day: Floats) -> Floats:
    """Cumulative hazard of what was said of each row up to a day, level between 0, 7 and 30."""
    at = [0.0, HORIZONS_D["7d"], HORIZONS_D["30d"]]
    said = (rows[f"chance_{name}"].to_numpy().clip(0.0, 1 - 1e-9) for name in ("7d", "30d"))
    in_7d, in_30d = (-np.log1p(-chance) for chance in said)
    late = np.maximum(in_30d - in_7d, 0.0) / (at[2] - at[1])
    return np.asarray(in_7d * np.minimum(day / at[1], 1.0) + late * np.maximum(day - at[1], 0.0))


def _spread_said(rows: pl.DataFrame, weight: Floats, confidence: float) -> float:
    """Mean standard deviation of the log chance behind the ranges said, weighted."""
    low, high = (rows[f"chance_30d_{end}"].to_numpy() for end in ("low", "high"))
    wide = (low > 0) & (weight > 0)
    if not wide.any():
        return 0.0
    half = np.log(high[wide] / low[wide]) / 2 / normal_deviate(confidence)
    return float(np.average(half, weights=weight[wide]))


def _levels(spread: float) -> Floats:
    """Even draws of a log-normal level whose mean is one."""
    score = special.ndtri((np.arange(LEVELS) + 0.5) / LEVELS)
    return np.asarray(np.exp(spread * score - spread**2 / 2))
