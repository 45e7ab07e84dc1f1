"""Log posterior of the Weibull hazard on spells, its derivatives, its maximum, its draws.

Parameters theta = (log shape, log scale, effects).  With k the shape, s the scale and
u = log(t / s): log h0 = log k - log s + (k - 1) u and H0 = exp(k u).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numba import njit
from scipy import linalg

from ringland.survival.spell_checks import Flags, Floats, Ints

MAX_STEPS, MAX_HALVINGS = 200, 50
LAST_GAIN = 1e-18  # Newton's own estimate of what is left to gain, in log likelihood
# The likelihood has stopped rising but a parameter still moves this much a step.
RUNAWAY_MOVE, RUNAWAY_GAIN = 0.05, 1e-8
# Proposals for each draw kept; the Student proposal's freedom, for tails heavier than the
# posterior's; the share of the pool it should be worth, and how often it is refitted.
POOL, PROPOSAL_DF, GOOD_SHARE, REFITS = 2, 7, 0.5, 4


class NoMaximumError(ValueError):
    """The likelihood has no maximum; `index` is the parameter that runs off."""

    def __init__(self, index: int) -> None:
        self.index = index
        super().__init__(f"Parameter {index} has no finite estimate.")


@dataclass(frozen=True)
class SpellSums:
    """Spells made ready: distinct ages, where each spell starts and stops, event totals."""

    age: Floats
    start_at: Ints
    stop_at: Ints
    z: Floats
    n_events: int
    event_log_age: float
    event_z: Floats

    @classmethod
    def of(cls, start: Floats, stop: Floats, is_event: Flags, z: Floats) -> SpellSums:
        """The sums for spells (start, stop] with covariates `z` in steps from the centre."""
        age, at = np.unique(np.concatenate([start, stop]), return_inverse=True)
        n = len(start)
        return cls(
            age=age,
            start_at=at[:n].astype(np.int64),
            stop_at=at[n:].astype(np.int64),
            z=np.ascontiguousarray(z),
            n_events=int(is_event.sum()),
            event_log_age=float(np.log(stop[is_event]).sum()),
            event_z=z[is_event].sum(axis=0),
        )


@dataclass(frozen=True)
class NormalPrior:
    """Independent normal priors of theta; an infinite `sd` is no prior."""

    mean: Floats
    sd: Floats

    def log_density(self, theta: Floats) -> Floats:
        """Up to a constant, over the last axis of `theta`."""
        return np.asarray(-0.5 * (((theta - self.mean) / self.sd) ** 2).sum(axis=-1))


def log_posterior(
    theta: Floats, spells: SpellSums, prior: NormalPrior
) -> tuple[float, Floats, Floats]:
    """Value, gradient and Hessian at one theta; the value is up to a constant."""
    k, z = np.exp(theta[0]), spells.z
    positive = spells.age > 0
    u = np.log(spells.age, out=np.zeros_like(spells.age), where=positive) - theta[1]
    H = np.where(positive, np.exp(k * u), 0.0)
    parts = np.stack([H, k * u * H, (k * u + (k * u) ** 2) * H])
    over = (parts[:, spells.stop_at] - parts[:, spells.start_at]) * np.exp(z @ theta[2:])
    total, a, aa = over.sum(axis=1)
    d = spells.n_events
    ku = k * (spells.event_log_age - d * theta[1])
    value = d * (theta[0] - theta[1]) + ku * (1 - 1 / k) + spells.event_z @ theta[2:] - total
    gradient = np.concatenate([[d + ku - a, -k * d + k * total], spells.event_z - over[0] @ z])
    hessian = np.empty((len(theta), len(theta)))
    hessian[0, 0] = ku - aa
    hessian[0, 1] = hessian[1, 0] = -k * d + k * (total + a)
    hessian[1, 1] = -(k**2) * total
    hessian[0, 2:] = hessian[2:, 0] = -over[1] @ z
    hessian[1, 2:] = hessian[2:, 1] = k * over[0] @ z
    hessian[2:, 2:] = -(z * over[0][:, None]).T @ z
    away = (theta - prior.mean) / prior.sd
    return (
        float(value + prior.log_density(theta)),
        gradient - away / prior.sd,
        hessian - np.diag(prior.sd**-2.0),
    )


def log_posteriors(theta: Floats, spells: SpellSums, prior: NormalPrior) -> Floats:
    """The value of `log_posterior` at each row of `theta`; minus infinity where it overflows.

    So far out the cumulative hazards pass the largest number, and their differences, or
    what the events add, are no numbers any more: such a theta explains nothing.
    """
    with np.errstate(over="ignore", invalid="ignore"):  # made minus infinity just below
        value = _log_posteriors(theta, spells, prior)
    return np.where(np.isfinite(value), value, -np.inf)


def _log_posteriors(theta: Floats, spells: SpellSums, prior: NormalPrior) -> Floats:
    k, d = np.exp(theta[:, 0]), spells.n_events
    hazards = _total_hazards(
        np.ascontiguousarray(theta), spells.age, spells.start_at, spells.stop_at, spells.z
    )
    value = d * (theta[:, 0] - theta[:, 1]) + (k - 1) * (spells.event_log_age - d * theta[:, 1])
    return np.asarray(value + theta[:, 2:] @ spells.event_z - hazards + prior.log_density(theta))


@njit(cache=True)
def _total_hazards(theta: Floats, age: Floats, start_at: Ints, stop_at: Ints, z: Floats) -> Floats:
    total = np.zeros(theta.shape[0])
    spent = np.zeros(age.shape[0])
    for m in range(theta.shape[0]):
        k = np.exp(theta[m, 0])
        for j in range(age.shape[0]):
            if age[j] > 0:
                spent[j] = np.exp(k * (np.log(age[j]) - theta[m, 1]))
        for i in range(z.shape[0]):
            effect = 0.0
            for j in range(z.shape[1]):
                effect += z[i, j] * theta[m, 2 + j]
            total[m] += (spent[stop_at[i]] - spent[start_at[i]]) * np.exp(effect)
    return total


def climb(spells: SpellSums, prior: NormalPrior, begin: Floats) -> tuple[Floats, Floats]:
    """The theta of highest log posterior and minus the Hessian there, positive definite.

    Raises:
        NoMaximumError: a parameter runs off while the likelihood no longer rises.
    """
    theta = begin
    value, gradient, hessian = log_posterior(theta, spells, prior)
    for _ in range(MAX_STEPS):
        step = _ascent(gradient, hessian)
        gain = float(step @ gradient)
        if gain < RUNAWAY_GAIN and np.max(np.abs(step)) > RUNAWAY_MOVE:
            raise NoMaximumError(int(np.argmax(np.abs(step))))
        if gain < LAST_GAIN:
            return theta + step, _precision(hessian)
        for _ in range(MAX_HALVINGS):
            with np.errstate(over="ignore", invalid="ignore"):  # too long a step is halved
                there = log_posterior(theta + step, spells, prior)
            if there[0] >= value - 1e-12 * (1 + abs(value)) and np.isfinite(there[2]).all():
                break
            step = step / 2
        else:
            return theta, _precision(hessian)  # rounding leaves nothing to climb
        theta = theta + step
        is_stalled = there[0] <= value and gain < 1e-12
        value, gradient, hessian = there
        if is_stalled:
            return theta, _precision(hessian)
    raise NoMaximumError(int(np.argmax(np.abs(theta - begin))))


def _precision(hessian: Floats) -> Floats:
    """Minus the Hessian, if every direction bends downwards; else raises NoMaximumError."""
    bend, direction = linalg.eigh(-hessian)
    if bend[0] <= 1e-12 * bend[-1]:
        raise NoMaximumError(int(np.argmax(np.abs(direction[:, 0]))))
    return -hessian


def _ascent(gradient: Floats, hessian: Floats) -> Floats:
    """A Newton step, made an ascent where the posterior is not concave; at most 2 long."""
    value, vector = linalg.eigh(-hessian)
    floor = 1e-12 * max(1.0, float(np.abs(value).max()))
    step = vector @ ((vector.T @ gradient) / np.maximum(np.abs(value), floor))
    longest = float(np.max(np.abs(step)))
    return np.asarray(step * min(1.0, 2.0 / longest) if longest else step)


def weighted_draws(
    log_density: Callable[[Floats], Floats],
    centre: Floats,
    covariance: Floats,
    n_draws: int,
    rng: np.random.Generator,
) -> tuple[Floats, float]:
    """Draws from a density, and what the weighted pool behind them is worth.

    A Student proposal is drawn from, weighted by the density and, while the weights are
    uneven, refitted to its weighted draws; then the best pool is resampled systematically
    (Cappe et al. 2004, population Monte Carlo).  A draw whose log density is not finite
    gets no weight.

    Raises:
        ValueError: the density is not finite at any draw of the first proposal.
    """
    best_worth, best_pool, best_weight = 0.0, np.empty((0, 0)), np.empty(0)
    for _ in range(1 + REFITS):
        pool, log_proposal = _student_draws(centre, covariance, POOL * n_draws, rng)
        density = log_density(pool)
        log_weight = np.where(np.isfinite(density), density, -np.inf) - log_proposal
        if np.isneginf(log_weight).all():
            break  # nothing to learn from; an earlier pool, if any, stands
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        worth = 1.0 / float((weight**2).sum())
        if worth > best_worth:
            best_worth, best_pool, best_weight = worth, pool, weight
        if worth >= GOOD_SHARE * len(pool):
            break
        centre = weight @ pool
        covariance = (pool - centre).T @ ((pool - centre) * weight[:, None])
        covariance += 1e-12 * np.diag(np.diag(covariance).clip(min=1e-12))
    if not best_worth:
        raise ValueError("The density is not finite at any draw: its centre is far off.")
    ticks = (rng.random() + np.arange(n_draws)) / n_draws
    chosen = np.searchsorted(np.cumsum(best_weight), ticks).clip(max=len(best_weight) - 1)
    return best_pool[chosen], best_worth


def _student_draws(
    centre: Floats, covariance: Floats, n: int, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Draws of a multivariate Student distribution and its log density up to a constant."""
    p = len(centre)
    factor = linalg.cholesky(covariance, lower=True)
    normal = rng.standard_normal((n, p))
    stretch = PROPOSAL_DF / rng.chisquare(PROPOSAL_DF, n)
    squared = (normal**2).sum(axis=1) * stretch
    draws = centre + (normal * np.sqrt(stretch)[:, None]) @ factor.T
    return draws, -0.5 * (PROPOSAL_DF + p) * np.log1p(squared / PROPOSAL_DF)
