"""What a hazard fit asks: its buckets, columns and priors, and the posterior they give."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy import special

from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.hazard_bucket import Bucket, Derivatives, OwnSums
from ringland.survival.hazard.hazard_design import Design
from ringland.survival.hazard.hazard_prior import SPREADS, HazardPrior, ParameterPlan
from ringland.survival.spell_checks import Floats

OWN = SPREADS.index("own")


@dataclass(frozen=True)
class HazardProblem:
    """What is fitted: buckets of spells, the columns made of them, priors."""

    buckets: tuple[Bucket, ...]
    steps: AgeSteps
    design: Design
    prior: HazardPrior
    plan: ParameterPlan
    has_own: bool

    def derivatives(self, theta: Floats, own_spread: float) -> Derivatives:
        """The log likelihood, summed over the buckets in order."""
        variance = own_spread**2 if self.has_own else 0.0
        first, *others = (b.derivatives(self.steps, theta, variance) for b in self.buckets)
        for other in others:
            first = first + other
        return first

    def evaluated(self, theta: Floats, spreads: Floats) -> tuple[Floats, list[OwnSums]]:
        """Log posterior of each draw, by its log spreads, and what it expects of own groups."""
        plan = self.plan
        coefficients = theta[:, plan.n_base :]
        slopes = self.open_slopes(theta)
        with np.errstate(over="ignore", invalid="ignore"):  # so far out explains nothing
            heights = self.steps.log_hazard(theta)
            cumulative = self.steps.cumulative(theta)
            value = plan.log_density(self.prior, theta, spreads)
            sums = []
            for bucket in self.buckets:
                found = bucket.own_sums(cumulative, coefficients, slopes)
                own = bucket.own_log_likelihoods(found, self.variance(spreads))
                value = value + bucket.event_terms(heights, coefficients)
                value = value + special.logsumexp(own, axis=0).sum(axis=1)
                sums.append(found)
        return np.where(np.isfinite(value), value, -np.inf), sums

    def open_slopes(self, theta: Floats) -> Floats:
        """Log hazard per unit of each covariate, by draw, along its nearest line."""
        per_step = self.design.line_slopes(theta[:, self.plan.n_base :])
        steps = np.array([factor.step for factor in self.design.factors])
        return np.asarray(per_step / steps)

    def variance(self, spreads: Floats) -> Floats:
        """Variance of the own factors by draw; zero where no own groups are told apart."""
        return spreads[:, OWN] ** 2 if self.has_own else np.zeros(len(spreads))
