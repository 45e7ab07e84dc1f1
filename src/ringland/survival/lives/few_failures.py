"""What a record with few or no failures can carry: a life at a stated shape.

With the shape taken from elsewhere, age to that power is exponential, so one parameter is
left and its limits are chi-square.  Nelson (1985), Journal of Quality Technology 17:140-146;
the exponential life is the case of shape 1.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy.optimize import brentq

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.lives.life_data import CensoredLives, Floats, LifeDataError, ended_lives
from ringland.survival.lives.life_distributions import WEIBULL
from ringland.survival.lives.life_likelihood import LifeLikelihood

SOURCE = "Nelson (1985), J. Qual. Tech. 17:140-146; Meeker and Escobar (1998), section 8.7"
# Log-life distance beyond which a limit is taken as none.
FARTHEST = 300.0


@dataclass(frozen=True)
class FixedShapeLife:
    """A Weibull life whose shape is taken as given and whose scale is estimated.

    `scale` has two-sided limits, `scale_lower` the one-sided lower bound at the same
    level.  With no failures the value and upper limits are infinite.
    """

    shape: float
    scale: Estimate
    scale_lower: float
    log_likelihood: float
    n_lives: float
    n_failures: float
    method: str
    source: str

    def life_by(self, share_failed: float) -> Estimate:
        """The age by which a share have failed, e.g. 0.10 for B10, with two-sided limits."""
        factor = float(-np.log1p(-share_failed)) ** (1.0 / self.shape)
        s = self.scale
        return Estimate(s.value * factor, s.low * factor, s.high * factor, s.confidence, s.method)

    def survival(self, age: ArrayLike) -> Floats:
        """The chance to last beyond each age."""
        return np.exp(-((np.asarray(age, dtype=np.float64) / self.scale.value) ** self.shape))


def fixed_shape_life(
    lives: CensoredLives, shape: float, *, confidence: float = CONFIDENCE
) -> FixedShapeLife:
    """The maximum likelihood scale at a stated Weibull shape.

    Where every failure was seen to the hour the limits are chi-square for records that end
    by time: 2r + 2 degrees of freedom for lower limits, 2r for upper.  Failures known only
    within bounds have likelihood-ratio limits instead; `method` says which.

    Raises:
        ValueError: the shape is not positive.
    """
    _check_shape(shape)
    if lives.is_bounded.any():
        return _by_likelihood(lives, shape, confidence)
    exposure = _powered_hours(lives, shape)
    r = lives.n_failures
    tail = (1.0 - confidence) / 2.0

    def lower(chance: float) -> float:
        return float(
            (2.0 * exposure / scipy.stats.chi2.ppf(chance, 2.0 * r + 2.0)) ** (1.0 / shape)
        )

    value = (exposure / r) ** (1.0 / shape) if r > 0 else float("inf")
    high = (
        (2.0 * exposure / scipy.stats.chi2.ppf(tail, 2.0 * r)) ** (1.0 / shape)
        if r > 0
        else float("inf")
    )
    method = "chi-square, record ended by time (2r + 2 and 2r degrees of freedom)"
    return FixedShapeLife(
        shape=shape,
        scale=Estimate(value, lower(1.0 - tail), float(high), confidence, method),
        scale_lower=lower(confidence),
        log_likelihood=_log_likelihood(lives, shape, value) if r > 0 else 0.0,
        n_lives=lives.n_lives,
        n_failures=r,
        method=f"Weibull scale at shape {shape:g}, {method}",
        source=SOURCE,
    )


def exponential_life(lives: CensoredLives, *, confidence: float = CONFIDENCE) -> FixedShapeLife:
    """Mean life at a constant hazard: hours run over failures, with chi-square limits."""
    return fixed_shape_life(lives, 1.0, confidence=confidence)


def zero_failure_bound(
    hours: ArrayLike,
    shape: float,
    *,
    entry: ArrayLike | None = None,
    confidence: float = CONFIDENCE,
) -> float:
    """One-sided lower bound of the Weibull scale when none of the lives has failed.

    `hours` are the ages reached.  The scale at which a record without failure has chance
    1 - confidence.

    Raises:
        ValueError: the shape is not positive, or confidence is not between 0 and 1.
        LifeDataError: an age is not positive.
    """
    normal_deviate(confidence)  # refuses a level that is none
    age = np.atleast_1d(np.asarray(hours, dtype=np.float64))
    lives = ended_lives(age, np.zeros(age.shape, dtype=bool), entry=entry)
    return fixed_shape_life(lives, shape, confidence=confidence).scale_lower


def _check_shape(shape: float) -> None:
    if not (shape > 0 and np.isfinite(shape)):
        raise ValueError(f"shape is {shape}; give a positive number, e.g. 2 for wear-out.")


def _powered_hours(lives: CensoredLives, shape: float) -> float:
    return float(lives.count @ (lives.lower**shape - lives.entry**shape))


def _log_likelihood(lives: CensoredLives, shape: float, scale: float) -> float:
    likelihood = LifeLikelihood.of(lives, WEIBULL)
    return likelihood.at(float(np.log(scale)), -float(np.log(shape))).value


def _by_likelihood(lives: CensoredLives, shape: float, confidence: float) -> FixedShapeLife:
    likelihood = LifeLikelihood.of(lives, WEIBULL)
    log_shape = float(np.log(shape))

    def curve(location: float) -> float:
        return likelihood.at(location, -log_shape).value

    def slope(location: float) -> float:
        return float(likelihood.at(location, -log_shape).gradient[0])

    # From far too long a life downwards the slope turns once from negative to positive.
    longest = float(np.log(np.where(lives.is_running, lives.lower, lives.upper).max()))
    above, below = longest + 1.0, longest
    while slope(above) > 0:
        above += 1.0
    while not slope(below) > 0:
        below -= 0.5 / shape
        if below < longest - FARTHEST:
            raise LifeDataError(
                "No failure is bounded from below, so the shortest life fits best; "
                "give the last time known good of at least one failure, or a running life."
            )
    best = float(brentq(slope, below, above, xtol=1e-12))
    top = curve(best)

    def end(side: float, deviate: float) -> float:
        def excess(location: float) -> float:
            return 2.0 * (top - curve(location)) - deviate**2

        outside = best + side / shape
        while excess(outside) < 0:
            outside += side / shape
            if abs(outside - best) > FARTHEST:
                return float("inf") if side > 0 else 0.0
        return float(np.exp(brentq(excess, best, outside, xtol=1e-12)))

    two_sided = normal_deviate(confidence)
    one_sided = normal_deviate(2.0 * confidence - 1.0) if confidence > 0.5 else 0.0
    method = "likelihood ratio"
    return FixedShapeLife(
        shape=shape,
        scale=Estimate(
            float(np.exp(best)), end(-1.0, two_sided), end(1.0, two_sided), confidence, method
        ),
        scale_lower=end(-1.0, one_sided) if one_sided else float(np.exp(best)),
        log_likelihood=top,
        n_lives=lives.n_lives,
        n_failures=lives.n_failures,
        method=f"Weibull scale at shape {shape:g}, {method}",
        source=SOURCE,
    )
