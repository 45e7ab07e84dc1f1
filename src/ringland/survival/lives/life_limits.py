"""Limits of a fitted life: shape, scale, the life by a share failed, reliability at an age.

Profile limits are the values a likelihood-ratio test does not reject: for each trial value
the other parameter is set to its best, and the limit is where twice the drop in log
likelihood reaches the chi-square point of one degree of freedom.  They need not be
symmetric, may be infinite, and are what to print with few failures.  Wald limits come from
the curvature alone, on each quantity's open scale: log shape, log life, or the standard
error term z of a reliability.  Meeker and Escobar (1998), sections 8.3 and 8.4.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.optimize import brentq

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.lives.parametric_life import LifeFit

# Beyond this distance on the log or z scale a limit is printed as 0 or infinity: a shape
# 3,000 times the estimate, a life 1e130 times; survival at z = 40 is 0 to the last digit.
FARTHEST = {"shape": 8.0, "scale": 300.0, "life": 300.0, "reliability": 40.0}


@dataclass(frozen=True)
class Quantity:
    """What limits are wanted of; build one with `life_by` or `reliability_at`."""

    kind: Literal["shape", "scale", "life", "reliability"]
    at: float = 0.0


SHAPE = Quantity("shape")
SCALE = Quantity("scale")
B10 = Quantity("life", 0.10)


def life_by(share_failed: float) -> Quantity:
    """The age by which a share have failed, e.g. 0.10 for B10.

    Raises:
        ValueError: the share does not lie between 0 and 1.
    """
    if not 0.0 < share_failed < 1.0:
        raise ValueError(f"share failed is {share_failed}; give a share between 0 and 1.")
    return Quantity("life", share_failed)


def reliability_at(age: float) -> Quantity:
    """The chance to last beyond an age.

    Raises:
        ValueError: the age is not positive.
    """
    if not age > 0.0:
        raise ValueError(f"age is {age}; give positive hours.")
    return Quantity("reliability", age)


def value_of(fit: LifeFit, quantity: Quantity) -> float:
    """The maximum likelihood value of a quantity."""
    return _from_open_scale(fit, quantity, _open_value(fit, quantity))


def wald_limits(fit: LifeFit, quantity: Quantity, *, confidence: float = CONFIDENCE) -> Estimate:
    """Limits from the curvature: normal on log shape, log life, or z for a reliability."""
    middle = _open_value(fit, quantity)
    half = normal_deviate(confidence) * _open_error(fit, quantity)
    ends = [_from_open_scale(fit, quantity, middle + side * half) for side in (-1.0, 1.0)]
    return Estimate(
        value_of(fit, quantity), min(ends), max(ends), confidence, "Wald on the log or z scale"
    )


def profile_limits(fit: LifeFit, quantity: Quantity, *, confidence: float = CONFIDENCE) -> Estimate:
    """Profile-likelihood limits of shape, scale, a life or a reliability.

    Infinity (or 0) as a limit: no value in that direction is rejected.
    """
    middle = _open_value(fit, quantity)
    allowed = normal_deviate(confidence) ** 2
    first_step = float(np.clip(_open_error(fit, quantity), 1e-3, 2.0))
    ends = []
    for side in (-1.0, 1.0):
        end = _profile_end(fit, quantity, middle, side * first_step, allowed)
        ends.append(_limit_value(fit, quantity, end))
    return Estimate(value_of(fit, quantity), min(ends), max(ends), confidence, "profile likelihood")


def _limit_value(fit: LifeFit, quantity: Quantity, end: float) -> float:
    if np.isinf(end) and quantity.kind == "reliability":
        return 0.0 if end > 0 else 1.0
    if np.isinf(end):
        return 0.0 if end < 0 else float("inf")
    return _from_open_scale(fit, quantity, end)


def _profile_end(
    fit: LifeFit, quantity: Quantity, middle: float, step: float, allowed: float
) -> float:
    """The open-scale value, in the direction of `step`, where the drop reaches `allowed`."""
    # With delayed entry the likelihood may have several tops, so the climb may start from
    # any of a spread; else there is one.  Always from where it stood at the last trial.
    free = fit.location if quantity.kind == "shape" else fit.log_scale
    reach = 6.0 * np.exp(fit.log_scale) if quantity.kind == "shape" else 3.0
    spread = (free + reach * np.linspace(-1.0, 1.0, 5)).tolist()
    starts = [free, *(spread if fit.likelihood.n_entry.size else [])]

    def excess(value: float) -> float:
        profiled, starts[0] = _profiled(fit, quantity, value, starts)
        return 2.0 * (fit.log_likelihood - profiled) - allowed

    inside, outside, free_inside = middle, middle + step, free
    while excess(outside) < 0.0:
        inside, free_inside, step = outside, starts[0], 1.5 * step
        outside = outside + step
        if abs(outside - middle) > FARTHEST[quantity.kind]:
            return float(np.copysign(np.inf, step))
    starts[1:] = [starts[0], free_inside]
    return float(brentq(excess, inside, outside, xtol=1e-11, rtol=1e-12))


def _profiled(
    fit: LifeFit, quantity: Quantity, value: float, starts: list[float]
) -> tuple[float, float]:
    """The highest log likelihood with the quantity held, and where it stands."""
    at = fit.likelihood.at
    if quantity.kind == "shape":
        log_scale = fit.shape_sign * value

        def derivatives(free: float) -> tuple[float, float, float]:
            curve = at(free, log_scale)
            return curve.value, float(curve.gradient[0]), float(curve.hessian[0, 0])

        return _climb(derivatives, starts, longest=float(np.exp(log_scale)) * 4.0)

    is_reliability = quantity.kind == "reliability"
    anchor = float(np.log(quantity.at)) if is_reliability else value
    z = value if is_reliability else _z_of(fit, quantity)

    def along(free: float) -> tuple[float, float, float]:
        # location = anchor - scale x z, so both derivatives of location are -scale x z.
        shift = -float(np.exp(free)) * z
        curve = at(anchor + shift, free)
        g, h = curve.gradient, curve.hessian
        bend = h[0, 0] * shift**2 + 2.0 * h[0, 1] * shift + h[1, 1] + g[0] * shift
        return curve.value, float(g[0] * shift + g[1]), float(bend)

    return _climb(along, starts, longest=1.0)


def _z_of(fit: LifeFit, quantity: Quantity) -> float:
    """The error term z of a life: 0 for the scale parameter itself."""
    return 0.0 if quantity.kind == "scale" else fit.distribution.quantile(quantity.at)


def _open_value(fit: LifeFit, quantity: Quantity) -> float:
    """The quantity on its open scale: log shape, log life, or z of a reliability."""
    scale = float(np.exp(fit.log_scale))
    if quantity.kind == "shape":
        return fit.shape_sign * fit.log_scale
    if quantity.kind == "reliability":
        return float((np.log(quantity.at) - fit.location) / scale)
    return fit.location + scale * _z_of(fit, quantity)


def _open_error(fit: LifeFit, quantity: Quantity) -> float:
    """Standard error on the open scale, by the delta method."""
    scale = float(np.exp(fit.log_scale))
    if quantity.kind == "shape":
        slope = np.array([0.0, fit.shape_sign])
    elif quantity.kind == "reliability":
        slope = np.array([-1.0 / scale, -_open_value(fit, quantity)])
    else:
        slope = np.array([1.0, scale * _z_of(fit, quantity)])
    return float(np.sqrt(slope @ fit.covariance @ slope))


def _from_open_scale(fit: LifeFit, quantity: Quantity, value: float) -> float:
    if quantity.kind == "reliability":
        with np.errstate(over="ignore"):  # far out survival is 0
            return float(np.exp(fit.distribution.log_survival(np.asarray(value))))
    return float(np.exp(value)) if value < np.log(np.finfo(float).max) else float("inf")


def _climb(
    derivatives: Callable[[float], tuple[float, float, float]], starts: list[float], longest: float
) -> tuple[float, float]:
    """Highest value of a smooth function of one variable, by damped Newton from the best start.

    Minus infinity at the first start where the function is minus infinity at all of them.
    """
    point = max(dict.fromkeys(starts), key=lambda start: derivatives(start)[0])
    value, slope, bend = derivatives(point)
    if not np.isfinite(value):
        return -np.inf, starts[0]
    for _ in range(200):
        step = -slope / bend if bend < 0 else np.copysign(longest, slope)
        step = float(np.clip(step, -longest, longest))
        if abs(slope * step) < 1e-14 * max(1.0, abs(value)):
            break
        there = derivatives(point + step)
        while not there[0] > value:
            step *= 0.5
            if abs(step) < 1e-14:
                return value, point
            there = derivatives(point + step)
        if abs(step) == longest:  # a long way to go: with delayed entry tops lie far out
            longest *= 2.0
        point, (value, slope, bend) = point + step, there
    return value, point
