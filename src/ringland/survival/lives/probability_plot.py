"""Coordinates of a probability plot: the failures, the fitted line and its limits.

On these axes lives of the fitted distribution fall on a straight line: log age against
log(-log survival) for Weibull, against the normal deviate for lognormal.  Only the frame is
made here; the picture is drawn elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from scipy.special import ndtri

from ringland.survival.estimates import CONFIDENCE
from ringland.survival.lives.inspection_lives import inspection_life_table
from ringland.survival.lives.life_data import CensoredLives, Floats
from ringland.survival.lives.life_limits import profile_limits, reliability_at, wald_limits
from ringland.survival.lives.life_tables import risk_counts, survival_of_counts
from ringland.survival.lives.parametric_life import LifeFit

SOURCE = "Meeker and Escobar (1998), Statistical Methods for Reliability Data, chapter 6"


@dataclass(frozen=True)
class ProbabilityPlot:
    """Two frames on the plot's axes, and how they were made.

    `points`: age, share_failed (middle of the step at that age), low and high of the
    life table there (null where inspections leave no limits), failures, y.  `line`: age,
    share_failed, low, high, y, y_low, y_high.
    """

    points: pl.DataFrame
    line: pl.DataFrame
    n_failures: float
    confidence: float
    method: str
    source: str


def probability_plot(
    lives: CensoredLives,
    fit: LifeFit,
    *,
    confidence: float = CONFIDENCE,
    use_profile: bool = True,
    n_line: int = 25,
) -> ProbabilityPlot:
    """Plot coordinates of lives and of the life distribution fitted to them."""
    points = _inspected_points(lives) if lives.is_bounded.any() else _points(lives, confidence)
    points = points.with_columns(y=pl.Series(_axis(fit, points["share_failed"].to_numpy())))
    failed = ~lives.is_running
    ends = np.where(failed & np.isfinite(lives.upper), lives.upper, lives.lower)
    youngest = float(np.where(lives.lower[failed] > 0, lives.lower[failed], ends[failed]).min())
    ages = np.geomspace(youngest, float(ends.max()), n_line)
    limits_of = profile_limits if use_profile else wald_limits
    rows = [limits_of(fit, reliability_at(float(age)), confidence=confidence) for age in ages]
    line = pl.DataFrame(
        {
            "age": ages,
            "share_failed": [1.0 - row.value for row in rows],
            "low": [1.0 - row.high for row in rows],
            "high": [1.0 - row.low for row in rows],
        }
    )
    line = line.with_columns(
        y=pl.Series(_axis(fit, line["share_failed"].to_numpy())),
        y_low=pl.Series(_axis(fit, line["low"].to_numpy())),
        y_high=pl.Series(_axis(fit, line["high"].to_numpy())),
    )
    return ProbabilityPlot(
        points=points,
        line=line,
        n_failures=lives.n_failures,
        confidence=confidence,
        method=f"{fit.distribution.name} axes, {rows[0].method} limits of the line",
        source=SOURCE,
    )


def _points(lives: CensoredLives, confidence: float) -> pl.DataFrame:
    table = survival_of_counts(risk_counts(lives), confidence=confidence, limits="log-log")
    before = np.concatenate(([1.0], table.estimate[:-1]))
    is_failure = table.failures > 0
    frame = pl.DataFrame(
        {
            "age": table.time,
            "share_failed": 1.0 - 0.5 * (before + table.estimate),
            "low": 1.0 - table.high,
            "high": 1.0 - table.low,
            "failures": table.failures,
        }
    )
    return frame.filter(pl.Series(is_failure)).with_columns(pl.col("low", "high").fill_nan(None))


def _inspected_points(lives: CensoredLives) -> pl.DataFrame:
    """A point at the upper end of each interval that holds failures."""
    table = inspection_life_table(lives)
    is_failure = np.isfinite(table.upper)
    return pl.DataFrame(
        {
            "age": table.upper[is_failure],
            "share_failed": 1.0 - table.survival[is_failure],
            "low": pl.Series([None] * int(is_failure.sum()), dtype=pl.Float64),
            "high": pl.Series([None] * int(is_failure.sum()), dtype=pl.Float64),
            "failures": table.chance[is_failure] * table.n_lives,
        }
    ).filter(pl.col("share_failed") < 1.0)


def _axis(fit: LifeFit, share_failed: Floats) -> Floats:
    """The plot's upward axis; infinite where nothing or everything has failed."""
    with np.errstate(divide="ignore"):
        if fit.distribution.name == "Weibull":
            return np.asarray(np.log(-np.log1p(-share_failed)), dtype=np.float64)
        return np.asarray(ndtri(share_failed), dtype=np.float64)
