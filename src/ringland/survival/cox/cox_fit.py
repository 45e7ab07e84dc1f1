"""A Cox fit and what can be read off it at once; `cox_regression` makes it."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
import scipy

from ringland.survival.cox.cox_kernel import SlotSums
from ringland.survival.cox.cox_maximum import Ties, partial_likelihood
from ringland.survival.cox.risk_sets import RiskSets
from ringland.survival.spell_checks import Floats


class ScoreTest(NamedTuple):
    """Test that all coefficients are zero."""

    chi2: float
    df: int
    p: float


@dataclass(frozen=True)
class CoxFit:
    """A Cox fit: coefficients per unit of each column, their errors, and its data.

    `covariance` is the inverse information; `robust_covariance` the sandwich over
    clusters, None when no clusters were given.
    """

    names: tuple[str, ...]
    coef: Floats
    covariance: Floats
    robust_covariance: Floats | None
    loglik_null: float
    loglik: float
    score_test: ScoreTest
    ties: Ties
    n_rows: int
    n_events: int
    n_clusters: int | None
    n_steps: int
    data: RiskSets = field(repr=False)

    @cached_property
    def sums(self) -> SlotSums:
        """The parts per event slot at the fitted coefficients."""
        return partial_likelihood(self.data, self.coef, self.data.weight, self.ties, keep=True)

    @property
    def best_covariance(self) -> Floats:
        """The robust covariance where there is one, else the model's."""
        return self.covariance if self.robust_covariance is None else self.robust_covariance

    @property
    def standard_errors(self) -> Floats:
        """From the model's information."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def robust_errors(self) -> Floats | None:
        """From the sandwich over clusters; None when no clusters were given."""
        if self.robust_covariance is None:
            return None
        return np.sqrt(np.diag(self.robust_covariance))

    def limits(self, confidence: float) -> Floats:
        """Lower and upper limit of each coefficient, shape (p, 2), from `best_covariance`."""
        half = scipy.stats.norm.ppf(0.5 + confidence / 2) * np.sqrt(np.diag(self.best_covariance))
        return np.column_stack([self.coef - half, self.coef + half])
