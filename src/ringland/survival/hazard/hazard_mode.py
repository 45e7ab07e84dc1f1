"""Where the hazard's posterior is highest, and how it lies about there.

Given the spreads, the mode is climbed to by Newton steps.  About it the likelihood is taken as
quadratic, and the prior, which is normal given the spreads, is put on exactly: so one climb
tells, for every set of spreads, where the parameters lie and what the record says of the
spreads themselves (Laplace's approximation nested over the hyperparameters, after Rue, Martino
& Chopin 2009).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import linalg

from ringland.survival.hazard.hazard_bucket import Derivatives
from ringland.survival.spell_checks import Floats

MAX_STEPS, MAX_HALVINGS = 200, 50
LAST_GAIN = 1e-18  # Newton's own estimate of what is left to gain, in log likelihood
GOOD_ENOUGH = 1e-4  # the same where only the place of a proposal hangs on it
# The likelihood has stopped rising but a parameter still moves this much a step.
RUNAWAY_MOVE, RUNAWAY_GAIN = 0.05, 1e-8


class NoMaximumError(ValueError):
    """The likelihood has no maximum; `index` is the parameter that runs off."""

    def __init__(self, index: int) -> None:
        self.index = index
        super().__init__(f"Parameter {index} has no finite estimate.")


@dataclass(frozen=True)
class Quadratic:
    """The log likelihood about a point: its value, gradient and bend (minus the Hessian)."""

    at: Floats
    value: float
    gradient: Floats
    bend: Floats

    def with_prior(self, mean: Floats, sd: Floats) -> tuple[Floats, Floats, Floats]:
        """The posterior under normal priors, one row of `sd` after another.

        Returns:
            Means (rows, parameters), precisions (rows, parameters, parameters) and the log of
            the marginal likelihood of each row.
        """
        tightness = sd**-2.0
        precision = self.bend[None] + np.einsum("rp,pq->rpq", tightness, np.eye(len(self.at)))
        pull = self.bend @ self.at + self.gradient + tightness * mean
        centre = np.linalg.solve(precision, pull[..., None])[..., 0]
        away = centre - self.at
        value = (
            self.value
            + away @ self.gradient
            - 0.5 * np.einsum("rp,pq,rq->r", away, self.bend, away)
            - 0.5 * (((centre - mean) / sd) ** 2).sum(axis=1)
        )
        sign, log_size = np.linalg.slogdet(precision)
        marginal = np.where(sign > 0, value - np.log(sd).sum(axis=1) - 0.5 * log_size, -np.inf)
        return centre, precision, marginal


def climb(
    log_likelihood: Callable[[Floats], Derivatives],
    begin: Floats,
    mean: Floats,
    sd: Floats,
    last_gain: float = LAST_GAIN,
) -> Quadratic:
    """The likelihood about the theta of highest posterior.

    Args:
        log_likelihood: value, gradient and Hessian at a theta.
        begin: where to set out.
        mean: prior means.
        sd: prior standard deviations; infinite: no prior.
        last_gain: what may be left to gain.

    Raises:
        NoMaximumError: a parameter runs off while the likelihood no longer rises.
    """

    def posterior(theta: Floats) -> tuple[float, Floats, Floats, Derivatives]:
        with np.errstate(over="ignore", invalid="ignore"):  # too long a step is halved
            there = log_likelihood(theta)
            away = (theta - mean) / sd
            value = there.value - 0.5 * float(away @ away)
            return value, there.gradient - away / sd, there.hessian - np.diag(sd**-2.0), there

    theta = begin.copy()
    value, gradient, hessian, here = posterior(theta)
    for _ in range(MAX_STEPS):
        step = _ascent(gradient, hessian)
        gain = float(step @ gradient)
        if gain < RUNAWAY_GAIN and np.max(np.abs(step)) > RUNAWAY_MOVE:
            raise NoMaximumError(int(np.argmax(np.abs(step))))
        if gain < last_gain:
            break
        for _ in range(MAX_HALVINGS):
            there = posterior(theta + step)
            if there[0] >= value - 1e-12 * (1 + abs(value)) and np.isfinite(there[2]).all():
                break
            step = step / 2
        else:
            break  # rounding leaves nothing to climb
        theta = theta + step
        is_stalled = there[0] <= value and gain < 1e-12
        value, gradient, hessian, here = there
        if is_stalled:
            break
    else:
        raise NoMaximumError(int(np.argmax(np.abs(theta - begin))))
    bend, direction = linalg.eigh(-hessian)
    if bend[0] <= 1e-12 * bend[-1]:
        raise NoMaximumError(int(np.argmax(np.abs(direction[:, 0]))))
    size, vector = linalg.eigh(-here.hessian)
    # a likelihood that curves upwards somewhere is taken as flat there
    return Quadratic(theta, here.value, here.gradient, (vector * size.clip(min=0.0)) @ vector.T)


def _ascent(gradient: Floats, hessian: Floats) -> Floats:
    """A Newton step, made an ascent where the posterior is not concave; at most 2 long."""
    value, vector = linalg.eigh(-hessian)
    floor = 1e-12 * max(1.0, float(np.abs(value).max()))
    step = vector @ ((vector.T @ gradient) / np.maximum(np.abs(value), floor))
    longest = float(np.max(np.abs(step)))
    return np.asarray(step * min(1.0, 2.0 / longest) if longest else step)
