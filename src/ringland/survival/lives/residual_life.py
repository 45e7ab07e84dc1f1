"""How much longer a life that has reached an age is used: mean residual life, and up to a limit.

Mean time used from age a to b: integral of S(u) / S(a) from a to b.  Without b it is the mean
residual life, which a record that ends before the last failure cannot give without a model.
"""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincc, gammaln

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.lives.life_data import CensoredLives, LifeDataError
from ringland.survival.lives.life_tables import risk_counts

SOURCE = "Klein and Moeschberger (1997), Survival Analysis, sections 4.5 and 4.6"


def mean_time_used(
    lives: CensoredLives, from_age: float, until: float, *, confidence: float = CONFIDENCE
) -> Estimate:
    """Mean time used between two ages by a life that reached the first, by the product limit.

    Variance: sum over failure ages of (area beyond the age)^2 d / (n (n - d)).

    Raises:
        LifeDataError: `until` is not beyond `from_age`, or no life was followed to it.
    """
    if not until > from_age:
        raise LifeDataError(f"until {until:g} is not beyond from_age {from_age:g}.")
    counts = risk_counts(lives, from_age=from_age)
    followed_to = float(lives.lower.max())
    if until > followed_to:
        raise LifeDataError(
            f"No life was followed to {until:g}; the record ends at {followed_to:g}."
        )
    inside = counts.time <= until
    time, failed, at_risk = counts.time[inside], counts.failures[inside], counts.at_risk[inside]
    survival = np.concatenate(([1.0], np.cumprod(1.0 - failed / at_risk)))
    edges = np.concatenate(([from_age], time, [until]))
    areas = survival * np.diff(edges)
    beyond = areas.sum() - np.cumsum(areas)[:-1]  # from each failure age on
    left = at_risk - failed
    variance = np.sum(
        np.divide(beyond**2 * failed, at_risk * left, out=np.zeros_like(left), where=left > 0)
    )
    value, half = float(areas.sum()), normal_deviate(confidence) * float(np.sqrt(variance))
    return Estimate(value, value - half, value + half, confidence, "product limit, Greenwood")


def weibull_residual_life(shape: float, scale: float, age: float) -> float:
    """Mean residual life of a Weibull life at an age: (1/S(a)) integral of S from a on.

    Raises:
        ValueError: shape or scale is not positive, or the age is negative.
    """
    if not (shape > 0 and scale > 0 and age >= 0):
        raise ValueError(f"shape {shape}, scale {scale}, age {age}: give positive numbers.")
    power = (age / scale) ** shape
    rest = gammaincc(1.0 / shape, power) * np.exp(gammaln(1.0 / shape)) / shape
    return float(scale * rest * np.exp(power))
