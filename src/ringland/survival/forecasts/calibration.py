"""Do hulls given a 10 % chance fail one time in ten?  Calibration of forecast chances.

A forecast is a chance to fail within a horizon; each life was then followed for some time.
By group, forecast chance stands beside the share that failed.  The calibration line fits
log odds of failing on log odds of the forecast: slope 1 and intercept 0 are perfect, a
slope below 1 means forecasts too extreme.  Lives that left early are weighted for (IPCW).
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, logit

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.forecasts.forecast_scores import censoring_weights
from ringland.survival.lives.life_data import (
    CensoredLives,
    Flags,
    Floats,
    LifeDataError,
    ended_lives,
)
from ringland.survival.lives.life_tables import kaplan_meier

GROUP_SOURCE = "Kaplan-Meier within groups of forecast chance; Clopper and Pearson (1934)"
LINE_SOURCE = "Cox (1958), Biometrika 45:562-565; Graf et al. (1999) for the weights"


@dataclass(frozen=True)
class CalibrationGroups:
    """Forecast against observed share failed by the horizon, a row per group, rising."""

    forecast: Floats
    observed: Floats
    low: Floats
    high: Floats
    n_lives: Floats
    n_failures: Floats
    horizon: float
    confidence: float
    method: str
    source: str


@dataclass(frozen=True)
class CalibrationLine:
    """Slope and intercept of the log odds of failing on those of the forecast.

    `in_the_large` is the intercept with the slope held at 1: above 0 more failed than
    forecast.
    """

    slope: Estimate
    intercept: Estimate
    in_the_large: Estimate
    expected_failures: float
    observed_failures: float
    n_lives: int
    method: str
    source: str


def calibration_by_group(
    chance: ArrayLike,
    time: ArrayLike,
    is_failure: ArrayLike,
    horizon: float,
    *,
    n_groups: int,
    confidence: float = CONFIDENCE,
) -> CalibrationGroups:
    """Forecast and observed share failed by the horizon, in groups of equal size.

    Lives with one forecast stay in one group, so there may be fewer groups.  Where nobody
    left before the horizon, or nobody failed, limits are exact binomial on the lives
    followed; else log-log Kaplan-Meier.

    Raises:
        LifeDataError: a chance outside [0, 1], or as for `ended_lives`.
    """
    lives, forecast = ended_lives(time, is_failure), _chances(chance)
    edges = np.quantile(forecast, np.linspace(0, 1, n_groups + 1)[1:-1], method="lower")
    group = np.searchsorted(np.unique(edges), forecast, side="left")
    rows = [_group_row(lives, forecast, group == g, horizon, confidence) for g in np.unique(group)]
    mean, observed, low, high, n_lives, n_failures = np.array(rows).T
    return CalibrationGroups(
        forecast=mean,
        observed=observed,
        low=low,
        high=high,
        n_lives=n_lives,
        n_failures=n_failures,
        horizon=horizon,
        confidence=confidence,
        method=f"share failed by {horizon:g}: Kaplan-Meier by group of forecast chance",
        source=GROUP_SOURCE,
    )


def calibration_line(
    chance: ArrayLike,
    time: ArrayLike,
    is_failure: ArrayLike,
    horizon: float,
    *,
    cluster: Sequence[Hashable] | None = None,
    confidence: float = CONFIDENCE,
) -> CalibrationLine:
    """Calibration slope and intercept at a horizon, with sandwich limits by cluster.

    Raises:
        LifeDataError: a chance of exactly 0 or 1, forecasts all alike, or no failure (or
            nothing else) by the horizon.
    """
    lives, forecast = ended_lives(time, is_failure), _chances(chance)
    if np.any(is_sure := (forecast == 0) | (forecast == 1)):
        row = int(np.flatnonzero(is_sure)[0])
        raise LifeDataError(
            f"row {row + 1}: forecast chance is {forecast[row]:g}; a forecast that leaves no "
            "doubt has no log odds. Bound forecasts away from 0 and 1."
        )
    weight = censoring_weights(time, is_failure, [horizon])[:, 0] * lives.count
    failed = (lives.lower <= horizon) & lives.is_exact
    if not 0 < (weight * failed).sum() < weight.sum():
        raise LifeDataError(f"Either no life or every life failed by {horizon:g}; no line fits.")
    odds = logit(forecast)
    if np.ptp(odds[weight > 0]) == 0:
        raise LifeDataError("All forecasts are alike; a slope needs at least two.")
    counted, others = odds[(weight > 0) & failed], odds[(weight > 0) & ~failed]
    if counted.min() >= others.max() or counted.max() <= others.min():
        raise LifeDataError("Forecasts part failures from the rest perfectly; no slope is best.")
    groups = np.arange(failed.size, dtype=np.int64) if cluster is None else _numbers(cluster)
    both = _logistic(np.column_stack([np.ones_like(odds), odds]), failed, weight, groups)
    large = _logistic(np.ones((odds.size, 1)), failed, weight, groups, offset=odds)
    deviate = normal_deviate(confidence)
    method = "sandwich" if cluster is None else "sandwich by cluster"

    def estimate(fit: tuple[Floats, Floats], k: int) -> Estimate:
        value, half = float(fit[0][k]), deviate * float(fit[1][k])
        return Estimate(value, value - half, value + half, confidence, method)

    return CalibrationLine(
        slope=estimate(both, 1),
        intercept=estimate(both, 0),
        in_the_large=estimate(large, 0),
        expected_failures=float((weight * forecast).sum()),
        observed_failures=float((weight * failed).sum()),
        n_lives=failed.size,
        method=f"logistic line at {horizon:g} with IPCW weights, {method} limits",
        source=LINE_SOURCE,
    )


def _group_row(
    lives: CensoredLives, forecast: Floats, inside: Flags, horizon: float, confidence: float
) -> tuple[float, ...]:
    """Forecast, observed, low, high, lives and failures of one group."""
    time, failed = lives.lower[inside], lives.is_exact[inside]
    n_failures = float((failed & (time <= horizon)).sum())
    n_followed = float(((time >= horizon) | failed).sum())
    mean = float(forecast[inside].mean())
    tail = (1.0 - confidence) / 2.0
    if n_failures == 0 or n_followed == time.size:
        n, d = n_followed, n_failures
        low = float(scipy.stats.beta.ppf(tail, d, n - d + 1)) if d > 0 else 0.0
        high = float(scipy.stats.beta.ppf(1.0 - tail, d + 1, n - d)) if d < n else 1.0
        observed = d / n if n > 0 else float("nan")
        return mean, observed, low, high, float(time.size), n_failures
    table = kaplan_meier(time, failed, confidence=confidence, limits="log-log")
    # Beyond the last life followed the share is known only to be no lower.
    row = table.at([min(horizon, float(table.time[-1]))])
    reach = 1.0 - row.estimate[0], 1.0 - row.high[0], 1.0 - row.low[0]
    return mean, float(reach[0]), float(reach[1]), float(reach[2]), float(time.size), n_failures


def _logistic(
    design: Floats,
    failed: Flags,
    weight: Floats,
    groups: NDArray[np.int64],
    offset: Floats | None = None,
) -> tuple[Floats, Floats]:
    """Weighted logistic coefficients by Newton, and their sandwich errors by group."""
    shift = np.zeros(design.shape[0]) if offset is None else offset
    coefficients = np.zeros(design.shape[1])
    for _ in range(100):
        fitted = expit(design @ coefficients + shift)
        score = design.T @ (weight * (failed - fitted))
        information = (design * (weight * fitted * (1.0 - fitted))[:, None]).T @ design
        step = np.linalg.solve(information, score)
        coefficients = coefficients + np.clip(step, -5.0, 5.0)
        if np.abs(step).max() < 1e-10:
            break
    scores = design * (weight * (failed - fitted))[:, None]
    sums = np.column_stack([np.bincount(groups, column) for column in scores.T])
    bread = np.linalg.inv(information)
    return coefficients, np.sqrt(np.diag(bread @ (sums.T @ sums) @ bread))


def _chances(chance: ArrayLike) -> Floats:
    forecast = np.asarray(chance, dtype=np.float64)
    if np.any(is_bad := ~((forecast >= 0) & (forecast <= 1))):
        row = int(np.flatnonzero(is_bad)[0])
        raise LifeDataError(f"row {row + 1}: forecast chance {forecast[row]:g} is not in [0, 1].")
    return forecast


def _numbers(cluster: Sequence[Hashable]) -> NDArray[np.int64]:
    numbers: dict[Hashable, int] = {}
    return np.array([numbers.setdefault(name, len(numbers)) for name in cluster], dtype=np.int64)
