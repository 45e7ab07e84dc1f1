"""How much groups (engines, docks) differ in hazard beyond their factors, and each one's own.

Each group's hazard is multiplied by a factor of its own, gamma distributed with mean 1 and
variance theta.  Given theta, a group with d failures where H were expected has the factor's
posterior gamma(1/theta + d, 1/theta + H): partial pooling, little drawn away from 1 where H
is small.  The groups' marginal likelihood of theta (Klein 1992; Therneau & Grambsch 2000,
chapter 9) times a half-normal prior of its root gives theta's posterior, on a grid.

Expected failures are those of a fit without the factors, taken as known; a set that entered
late counts from its entry.  The gamma posterior is drawn as the lognormal of the same mean
and variance, so that a page can repeat it from two short columns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import ArrayLike
from scipy import special

from ringland.survival.spell_checks import Floats, Ints

SPREADS = np.linspace(0.02, 3.0, 150)
"""Roots of theta looked at; below the lowest a factor of 2 % either way is not seen."""


@dataclass(frozen=True)
class GroupSpread:
    """Posterior of the spread and of each group's factor, one draw beside another.

    `variance` and `score` (standard normal) have one entry per draw; `failures` and
    `expected` one per name.  Groups take the scores in turn from different places, so that
    their factors are not drawn alike.
    """

    names: tuple[str, ...]
    failures: Floats
    expected: Floats
    variance: Floats = field(repr=False)
    score: Floats = field(repr=False)

    def factors(self, groups: Sequence[str | None]) -> Floats:
        """Each group's hazard over that of a middle one, shape (draws, groups).

        A group not on record is drawn from the spread alone.
        """
        place = {group: at for at, group in enumerate(dict.fromkeys(groups))}
        record = [self.record_of(group) for group in place]
        failures, expected, starts = np.array(record).reshape(-1, 3).T
        at = (np.arange(len(self.score))[:, None] + starts.astype(np.int64)) % len(self.score)
        before = 1.0 / self.variance[:, None]
        shape, rate = before + failures, before + expected
        log_variance = np.log1p(1.0 / shape)
        drawn = shape / rate * np.exp(np.sqrt(log_variance) * self.score[at] - log_variance / 2)
        return np.asarray(drawn[:, [place[group] for group in groups]])

    def record_of(self, group: str | None) -> tuple[float, float, int]:
        """Failures of a group, those expected, and where its scores begin."""
        if group not in self.names:
            return 0.0, 0.0, 0
        i = self.names.index(group)
        return (
            float(self.failures[i]),
            float(self.expected[i]),
            i * len(self.score) // len(self.names),
        )

    def spread(self, confidence: float) -> tuple[float, float, float]:
        """Median and equal-tailed limits of the factors' standard deviation."""
        tail = (1 - confidence) / 2
        low, middle, high = np.quantile(np.sqrt(self.variance), [tail, 0.5, 1 - tail])
        return float(middle), float(low), float(high)

    def thinned(self, every: int, wanted: int) -> GroupSpread:
        """The same on every so many-th draw."""
        return replace(
            self,
            variance=self.variance[::every][:wanted],
            score=self.score[::every][:wanted],
        )


def group_spread(
    group: Sequence[str],
    event: ArrayLike,
    expected: ArrayLike,
    *,
    prior_sd: float,
    n_draws: int,
    rng: np.random.Generator,
) -> GroupSpread:
    """The posterior from spells: whose each is, whether it ends in failure, and its hazard.

    Args:
        group: the group of each spell.
        event: whether it ends in the failure.
        expected: cumulative hazard of each spell without the factors.
        prior_sd: scale of the half-normal prior of the factors' standard deviation.
        n_draws: draws wanted.
        rng: the only source of randomness.
    """
    names, at = np.unique(np.asarray(group, dtype=str), return_inverse=True)
    at = np.asarray(at, dtype=np.int64)
    failures = _sum_by(at, np.asarray(event, dtype=float), len(names))
    hazard = _sum_by(at, np.asarray(expected, dtype=float), len(names))
    log_weight = log_likelihood(SPREADS**2, failures, hazard) - 0.5 * (SPREADS / prior_sd) ** 2
    weight = np.exp(log_weight - log_weight.max())
    ticks = (np.arange(n_draws) + 0.5) / n_draws
    chosen = np.searchsorted(np.cumsum(weight) / weight.sum(), ticks).clip(max=len(weight) - 1)
    return GroupSpread(
        names=tuple(str(name) for name in names),
        failures=failures,
        expected=hazard,
        variance=rng.permutation(SPREADS[chosen] ** 2),
        score=rng.permutation(special.ndtri(ticks)),
    )


def log_likelihood(variance: ArrayLike, failures: Floats, expected: Floats) -> Floats:
    """Marginal log likelihood of each variance, up to what does not depend on it."""
    theta = np.asarray(variance, dtype=float)[:, None]
    shape = 1.0 / theta + failures
    terms = (
        special.gammaln(shape)
        - special.gammaln(1.0 / theta)
        + failures * np.log(theta)
        - shape * np.log1p(theta * expected)
    )
    return np.asarray(terms.sum(axis=1))


def _sum_by(at: Ints, values: Floats, n: int) -> Floats:
    return np.bincount(at, weights=values, minlength=n).astype(float)
