"""At what age a hull's piston set is best renewed on plan, or "none", with limits.

The life is the fleet's hazard at the hull's own exposure, all modes at stake together.
The answer is for the mean survival over the parameter draws; its limits come from doing
the same draw by draw.  A plan is for the years: how this week's choice is made stands in
`option_outcome`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import polars as pl

from ringland.decision.actions.action_prices import Prices
from ringland.decision.value.hazard_ahead import CumulativeHazard, Floats
from ringland.settings.assumptions import Assumptions
from ringland.survival.lives.age_replacement import (
    AgeReplacement,
    ReplacementLimits,
    replacement_age,
)
from ringland.words.number_words import number_text, share_text

LEFT_AT_END = 0.01
"""Mean survival at which the search ends: a plan that one set in a hundred lives to see
saves nothing."""

GRID = 400
"""Ages tried in each draw: limits are good to a quarter of a percent of the longest life."""


def renewal_age(
    hazard: CumulativeHazard, exposure: pl.DataFrame, *, prices: Prices, assumptions: Assumptions
) -> AgeReplacement:
    """The planned renewal age of least cost an hour for a set that runs as `exposure` says.

    Args:
        hazard: the fleet's hazard.
        exposure: one row of covariates, held for life.
        prices: of a failure and of a planned renewal, lost rental included.
        assumptions: settings.

    Returns:
        `AgeReplacement`; its age is None where no planned renewal pays.

    Raises:
        ValueError: `exposure` has not exactly one row, or lives do not end within a million
            hours.
    """
    if exposure.height != 1:
        raise ValueError(f"exposure has {exposure.height} rows; give one hull's.")
    longest = _longest_life(hazard, exposure)
    ages = np.linspace(0.0, longest, GRID + 1)
    survival = np.exp(-_from_new(hazard, exposure, ages))

    def mean_survival(asked: Floats) -> Floats:
        return np.asarray(np.exp(-_from_new(hazard, exposure, asked)).mean(axis=0))

    costs = prices.planned_renewal, prices.unplanned
    best = replacement_age(mean_survival, longest, *costs, n_grid=GRID)
    if best.age is None and prices.unplanned > prices.planned_renewal:
        best = replace(
            best,
            reason="no planned replacement: the cost per hour still falls at "
            f"{number_text(longest, 0)} h, where {share_text(1 - LEFT_AT_END)} of the sets "
            f"have failed",
        )
    level = assumptions.number("survival.confidence")
    return replace(best, limits=_limits(survival, ages, costs, level))


def _longest_life(hazard: CumulativeHazard, exposure: pl.DataFrame) -> float:
    ages = np.geomspace(1.0, 1e6, 400)
    left = np.exp(-_from_new(hazard, exposure, ages)).mean(axis=0)
    if left[-1] > LEFT_AT_END:
        raise ValueError("lives do not end within a million hours; the hazard is next to nothing.")
    return float(ages[np.argmax(left <= LEFT_AT_END)])


def _from_new(hazard: CumulativeHazard, exposure: pl.DataFrame, ages: Floats) -> Floats:
    rows = pl.concat([exposure] * len(ages))
    return hazard(np.zeros_like(ages), ages, rows)


def _limits(
    survival: Floats, ages: Floats, costs: tuple[float, float], level: float
) -> ReplacementLimits:
    planned, failure = costs
    step = np.diff(ages)
    used = np.cumsum((survival[:, :-1] + survival[:, 1:]) / 2 * step, axis=1)
    rate = (planned * survival[:, 1:] + failure * (1 - survival[:, 1:])) / used
    at = rate.argmin(axis=1)
    best = np.where(at == rate.shape[1] - 1, np.inf, ages[1:][at])
    low, high = np.quantile(best, [(1 - level) / 2, (1 + level) / 2], method="inverted_cdf")
    return ReplacementLimits(
        low=float(low) if np.isfinite(low) else None,
        high=float(high) if np.isfinite(high) else None,
        share_without=float(np.isinf(best).mean()),
        n_draws=best.size,
        confidence=level,
        method="percentiles over parameter draws; no planned replacement counts as later than all",
    )
