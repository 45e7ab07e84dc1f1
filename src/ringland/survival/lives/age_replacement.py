"""At what age should a piston set be renewed on plan, if at all?

Renewed at age T or at failure, whichever is first, a slot costs
(planned x R(T) + failure x F(T)) / (mean hours used) per hour.  The best T exists only
where the hazard rises and a failure costs more than a planned job; otherwise the answer is
that there is no planned replacement, never the end of a search.  Barlow and Proschan
(1965), chapter 4.  Downtime is left out; put lost rental into the costs.  Costs far ahead may
be discounted (`discounted_replacement_age`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import gamma, gammainc

from ringland.survival.estimates import CONFIDENCE
from ringland.survival.lives.life_data import Floats
from ringland.survival.lives.life_tables import LifeTable

SOURCE = "Barlow and Proschan (1965), Mathematical Theory of Reliability, chapter 4"
# Powered ages beyond this have survival below 1e-300: no life to renew is left.
LAST_POWERED_AGE = 690.0
# Cost rates closer than this are equal to rounding.
ROUNDING = 1e-12
# Six ages between two of the grid: exact for a survival that is a curve of the 11th degree there.
NODES, WEIGHTS = np.polynomial.legendre.leggauss(6)


@dataclass(frozen=True)
class ReplacementLimits:
    """Limits of the best age; None: no planned replacement lies within the limits.

    `share_without` is the share of draws in which no planned replacement pays.
    """

    low: float | None
    high: float | None
    share_without: float
    n_draws: int
    confidence: float
    method: str


@dataclass(frozen=True)
class AgeReplacement:
    """The best age to renew on plan, or None for no planned replacement, and why.

    Cost rates are per hour.  `cost_rate` is at the best age, or of running to failure where
    there is none; `run_to_failure_rate` is None where the record does not reach far enough
    to know it.  `saving_share` is what the plan saves of running to failure.
    """

    age: float | None
    cost_rate: float | None
    run_to_failure_rate: float | None
    chance_to_reach: float | None
    reason: str
    limits: ReplacementLimits | None
    method: str
    source: str

    @property
    def saving_share(self) -> float | None:
        """Share of the run-to-failure cost that the plan saves; 0 without a plan."""
        if self.age is None:
            return 0.0
        if self.cost_rate is None or self.run_to_failure_rate is None:
            return None
        return 1.0 - self.cost_rate / self.run_to_failure_rate


def weibull_replacement_age(
    shape: float,
    scale: float,
    planned_cost: float,
    failure_cost: float,
    *,
    draws: Floats | None = None,
    confidence: float = CONFIDENCE,
) -> AgeReplacement:
    """Best planned age of a Weibull life; `draws` (shape, scale a row) give its limits.

    Raises:
        ValueError: shape, scale or a cost is not positive.
    """
    _check_positive(shape=shape, scale=scale)
    _check_positive(planned_cost=planned_cost, failure_cost=failure_cost)
    limits = None
    if draws is not None:
        limits = _limits(np.asarray(draws), planned_cost, failure_cost, confidence)
    run_to_failure = failure_cost / (scale * float(gamma(1.0 + 1.0 / shape)))
    method = f"Weibull shape {shape:g}, scale {scale:g} h"
    best = float(_best_over_scale(np.array([shape]), planned_cost, failure_cost)[0])
    if not np.isfinite(best):
        if failure_cost <= planned_cost:
            reason = "a failure costs no more than a planned job"
        elif shape <= 1.0:
            reason = f"the hazard does not rise with age (shape {shape:g})"
        else:
            reason = "the hazard rises too little: the best age lies beyond every life"
        return _without(run_to_failure, reason, limits, method)
    age = best * scale
    return AgeReplacement(
        age=age,
        cost_rate=float(weibull_cost_rate(age, shape, scale, planned_cost, failure_cost)),
        run_to_failure_rate=run_to_failure,
        chance_to_reach=float(np.exp(-(best**shape))),
        reason="the hazard at this age costs as much per hour as the plan does",
        limits=limits,
        method=method,
        source=SOURCE,
    )


def weibull_cost_rate(
    age: ArrayLike, shape: float, scale: float, planned_cost: float, failure_cost: float
) -> Floats:
    """Cost per hour of renewing a Weibull life at each age or at failure."""
    hours = np.asarray(age, dtype=np.float64)
    powered = (hours / scale) ** shape
    failed = -np.expm1(-powered)
    used = scale * _mean_used(powered, shape)
    return np.asarray((planned_cost * (1.0 - failed) + failure_cost * failed) / used)


def replacement_age(
    survival: Callable[[Floats], Floats],
    longest: float,
    planned_cost: float,
    failure_cost: float,
    *,
    density: Callable[[float], float] | None = None,
    n_grid: int = 2000,
) -> AgeReplacement:
    """Best planned age of any smooth life, searched up to `longest` hours.

    `survival` gives the shares alive at many ages at once and is known up to `longest`;
    `density` sharpens the answer where it is known, else it is taken by differences.  A cost
    still falling at `longest` gives no planned replacement.

    Raises:
        ValueError: a cost or `longest` is not positive, or survival at 0 is not 1.
    """
    _check_positive(planned_cost=planned_cost, failure_cost=failure_cost, longest=longest)
    ages = np.linspace(0.0, longest, n_grid + 1)
    left = survival(ages)
    if abs(left[0] - 1.0) > ROUNDING:
        raise ValueError(f"survival at age 0 is {left[0]}; a life starts at 1.")
    used = np.cumsum(_hours_between(survival, ages[:-1], ages[1:]))
    rate = (planned_cost * left[1:] + failure_cost * (1.0 - left[1:])) / used
    ends = left[-1] <= ROUNDING
    run_to_failure = failure_cost / float(used[-1]) if ends else None
    method = f"cost rate on {n_grid} ages up to {longest:g} h, then its turning point"
    k = int(np.argmin(rate))
    if failure_cost <= planned_cost:
        return _without(run_to_failure, _CHEAP_FAILURE, None, method)
    if k == rate.size - 1:
        return _without(run_to_failure, _still_falling(longest, ends), None, method)
    pdf = density or _by_differences(survival, longest)
    ratio = planned_cost / (failure_cost - planned_cost)

    def reached_and_used(t: float) -> tuple[float, float]:
        since = _hours_between(survival, ages[k : k + 1], np.array([t]))
        before = float(used[k - 1]) if k else 0.0
        return float(survival(np.array([t]))[0]), before + float(since[0])

    def turning(t: float) -> float:
        reached, total = reached_and_used(t)
        return float(pdf(t) * total - reached * (1.0 - reached + ratio))

    low, high = float(ages[k]), float(ages[k + 2])
    low = max(low, 1e-9 * longest)
    if not turning(low) < 0.0 < turning(high):
        return _without(run_to_failure, _still_falling(longest, ends), None, method)
    age = float(brentq(turning, low, high, xtol=1e-14 * longest, rtol=1e-14))
    reached, total = reached_and_used(age)
    return AgeReplacement(
        age=age,
        cost_rate=(planned_cost * reached + failure_cost * (1.0 - reached)) / total,
        run_to_failure_rate=run_to_failure,
        chance_to_reach=reached,
        reason="the hazard at this age costs as much per hour as the plan does",
        limits=None,
        method=method,
        source=SOURCE,
    )


def replacement_age_from_table(
    table: LifeTable, planned_cost: float, failure_cost: float
) -> AgeReplacement:
    """Best planned age of a Kaplan-Meier survival: just before one of its failures.

    Between failures a later age is always cheaper, so only the failure ages can be best.

    Raises:
        ValueError: a cost is not positive, or the table is not a survival from age 0.
    """
    _check_positive(planned_cost=planned_cost, failure_cost=failure_cost)
    if table.quantity != "survival" or table.from_age != 0.0:
        raise ValueError("give a survival table from age 0; call kaplan_meier.")
    before = np.concatenate(([1.0], table.estimate[:-1]))
    used = np.cumsum(before * np.diff(np.concatenate(([0.0], table.time))))
    rate = (planned_cost * before + failure_cost * (1.0 - before)) / used
    ends = table.estimate[-1] == 0.0
    run_to_failure = failure_cost / float(used[-1]) if ends else None
    method = f"Kaplan-Meier survival, {table.failures.sum():g} failures"
    k = int(np.argmin(rate))
    if failure_cost <= planned_cost:
        return _without(run_to_failure, _CHEAP_FAILURE, None, method)
    if run_to_failure is not None and rate[k] >= run_to_failure * (1.0 - ROUNDING):
        return _without(run_to_failure, "no age costs less than failure", None, method)
    if not ends and k == rate.size - 1:
        longest = float(table.time[-1])
        return _without(None, _still_falling(longest, at_end=False), None, method)
    return AgeReplacement(
        age=float(table.time[k]),
        cost_rate=float(rate[k]),
        run_to_failure_rate=run_to_failure,
        chance_to_reach=float(before[k]),
        reason="just before this failure age the cost per hour is lowest",
        limits=None,
        method=method,
        source=SOURCE,
    )


_CHEAP_FAILURE = "a failure costs no more than a planned job"


def _still_falling(longest: float, at_end: bool) -> str:
    if at_end:
        return "the cost per hour falls with age to the end of every life"
    return f"the cost per hour still falls at {longest:g} h, the end of the record"


def _without(
    run_to_failure: float | None, reason: str, limits: ReplacementLimits | None, method: str
) -> AgeReplacement:
    return AgeReplacement(
        age=None,
        cost_rate=run_to_failure,
        run_to_failure_rate=run_to_failure,
        chance_to_reach=None,
        reason=f"no planned replacement: {reason}",
        limits=limits,
        method=method,
        source=SOURCE,
    )


def _best_over_scale(shapes: Floats, planned_cost: float, failure_cost: float) -> Floats:
    """Best age over scale for each shape, infinity where there is none.

    The condition h(T) x mean used - F(T) = planned / (failure - planned) rises with T for
    shapes above 1, so it is halved down to its root on the log scale.
    """
    best = np.full(shapes.size, np.inf)
    if failure_cost <= planned_cost:
        return best
    ratio = planned_cost / (failure_cost - planned_cost)
    rising = shapes > 1.0
    b = shapes[rising]

    def condition(log_powered: Floats) -> Floats:
        powered = np.exp(log_powered)
        hazard = b * np.exp(log_powered * (1.0 - 1.0 / b))
        return hazard * _mean_used(powered, b) + np.expm1(-powered)

    low = np.full(b.size, -300.0)
    high = np.full(b.size, np.log(LAST_POWERED_AGE))
    exists = condition(high) > ratio
    for _ in range(80):  # halves a bracket of 307 below the spacing of doubles
        middle = 0.5 * (low + high)
        is_past = condition(middle) > ratio
        high, low = np.where(is_past, middle, high), np.where(is_past, low, middle)
    best[rising] = np.where(exists, np.exp(0.5 * (low + high) / b), np.inf)
    return best


def _mean_used(powered: Floats, shape: ArrayLike) -> Floats:
    """Mean hours used up to an age, over the scale: the integral of survival."""
    inverse = 1.0 / np.asarray(shape)
    return np.asarray(gamma(1.0 + inverse) * gammainc(inverse, powered))


def _limits(
    draws: Floats, planned_cost: float, failure_cost: float, confidence: float
) -> ReplacementLimits:
    if draws.ndim != 2 or draws.shape[1] != 2 or draws.shape[0] == 0:
        raise ValueError(f"draws have shape {draws.shape}; give rows of (shape, scale).")
    ages = np.sort(_best_over_scale(draws[:, 0], planned_cost, failure_cost) * draws[:, 1])
    tail = (1.0 - confidence) / 2.0
    low, high = np.quantile(ages, [tail, 1.0 - tail], method="inverted_cdf")
    return ReplacementLimits(
        low=float(low) if np.isfinite(low) else None,
        high=float(high) if np.isfinite(high) else None,
        share_without=float(np.isinf(ages).mean()),
        n_draws=ages.size,
        confidence=confidence,
        method="percentiles over parameter draws; no planned replacement counts as later than all",
    )


def _hours_between(survival: Callable[[Floats], Floats], low: Floats, high: Floats) -> Floats:
    """Mean hours from each lower age to its upper one, by Gauss and Legendre's rule."""
    half = (high - low) / 2.0
    at = low[:, None] + half[:, None] * (1.0 + NODES)
    return np.asarray(half * (survival(at.ravel()).reshape(at.shape) @ WEIGHTS))


def _by_differences(
    survival: Callable[[Floats], Floats], longest: float
) -> Callable[[float], float]:
    step = 1e-3 * longest

    def density(t: float) -> float:
        h = min(step, 0.2 * t, 0.4 * (longest - t)) or step * 1e-3
        left = survival(t + h * np.array([-2.0, -1.0, 1.0, 2.0]))
        near = (left[1] - left[2]) / (2.0 * h)
        far = (left[0] - left[3]) / (4.0 * h)
        # the error of the two steps cancels to fourth order
        return float((4.0 * near - far) / 3.0)

    return density


def _check_positive(**numbers: float) -> None:
    for name, value in numbers.items():
        if not (value > 0 and np.isfinite(value)):
            raise ValueError(f"{name} is {value}; give a positive number.")
