"""What a hazard fit says of each factor, and how much of it is the prior's."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringland.survival.hazard.hazard_prior import SPREADS
from ringland.survival.hazard.joint_hazard import JointHazard
from ringland.survival.spell_checks import Floats


@dataclass(frozen=True)
class FactorEffect:
    """One factor's hazard ratio per step, its limits, and how much of it is the prior.

    The ratio is that of the straight line nearest the factor's course over the record, within
    places (docks) where the fit tells those apart; `between_ratio` and its limits are the same
    between places, None where it does not.  `prior_share` is the posterior variance over the
    prior's: 1 means the record taught nothing, 0 that the prior did not matter.
    `unaided_ratio` is the maximum likelihood estimate of a plain Weibull without any prior and
    `unaided_log_error` the standard error of its logarithm; None where there is none.
    """

    name: str
    step: float
    hazard_ratio: float
    low: float
    high: float
    prior_share: float
    unaided_ratio: float | None = None
    unaided_log_error: float | None = None
    between_ratio: float | None = None
    between_low: float | None = None
    between_high: float | None = None


def factor_effects(fit: JointHazard, confidence: float) -> tuple[FactorEffect, ...]:
    """Each factor's hazard ratio per step (median of the draws) with equal-tailed limits."""
    within, between = _lines(fit)
    shares, found = prior_shares(fit), []
    estimate, errors = fit.unaided.estimate, fit.unaided.errors
    for j, factor in enumerate(fit.design.factors):
        middle, low, high = _ratio(within[:, j], confidence)
        apart = _ratio(between[:, j], confidence) if j in fit.design.split else (None,) * 3
        found.append(
            FactorEffect(
                name=factor.name,
                step=factor.step,
                hazard_ratio=middle,
                low=low,
                high=high,
                prior_share=shares[factor.name],
                unaided_ratio=None if estimate is None else float(np.exp(estimate[2 + j])),
                unaided_log_error=None if errors is None else float(errors[2 + j]),
                between_ratio=apart[0],
                between_low=apart[1],
                between_high=apart[2],
            )
        )
    return tuple(found)


def prior_shares(fit: JointHazard) -> dict[str, float]:
    """Posterior over prior variance, at most 1, of the shape, the scale and each factor's line.

    The shape is that of the Weibull nearest the baseline over the record.
    """
    prior, bend = fit.prior, fit.prior.factor_bend_sd
    within, _ = _lines(fit)
    shares = {
        "shape": float(np.log(fit.mean_shape().clip(min=1e-3)).var()) / prior.log_shape_sd**2,
        "scale": float(fit.theta[:, 1].var()) / prior.log_scale_sd**2,
    }
    at = 0
    for j, factor in enumerate(fit.design.factors):
        line = fit.design.line_share[at : at + len(factor.knots)]
        at += len(factor.knots)
        before = factor.effect_sd**2 + bend**2 * float(line @ line)
        shares[factor.name] = float(within[:, j].var()) / before
    return {name: min(share, 1.0) for name, share in shares.items()}


def within_places(fit: JointHazard, name: str) -> Floats:
    """Draws of a factor's log hazard ratio per step within places."""
    return _lines(fit)[0][:, fit.names.index(name)]


def spread_of(fit: JointHazard, name: str, confidence: float) -> tuple[float, float, float]:
    """Median and equal-tailed limits of one of `hazard_prior.SPREADS`."""
    return _limits(fit.spreads[:, SPREADS.index(name)], confidence)


def _lines(fit: JointHazard) -> tuple[Floats, Floats]:
    """Log hazard ratio per step of each factor within and between places, by draw."""
    plan = fit.plan
    coefficients = fit.theta[:, plan.n_base :]
    within = fit.design.line_slopes(coefficients)
    between = within.copy()
    first = plan.n_lines + plan.n_hinges
    for column, j in enumerate(fit.design.split):
        between[:, j] += coefficients[:, first + column]
    return within, between


def _ratio(log_ratio: Floats, confidence: float) -> tuple[float, float, float]:
    middle, low, high = _limits(log_ratio, confidence)
    return float(np.exp(middle)), float(np.exp(low)), float(np.exp(high))


def _limits(draws: Floats, confidence: float) -> tuple[float, float, float]:
    tail = (1 - confidence) / 2
    low, middle, high = np.quantile(draws, [tail, 0.5, 1 - tail])
    return float(middle), float(low), float(high)
