"""Do hulls differ beyond their factors?  Cox regression with a gamma factor per cluster.

Each cluster's hazard is multiplied by its own factor, gamma distributed with mean 1 and
variance theta.  EM for the factors and coefficients at each theta (Klein 1992; Nielsen et
al. 1992), theta by the profile of the marginal likelihood, as R survival's
`frailty(distribution = "gamma")` does (Therneau & Grambsch 2000, chapter 9).
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
import scipy
from scipy import optimize, special

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_kernel import SlotSums
from ringland.survival.cox.cox_maximum import (
    CoxFitError,
    Ties,
    inverse_information,
    partial_likelihood,
)
from ringland.survival.cox.cox_residuals import residual_sums
from ringland.survival.cox.risk_sets import RiskSets
from ringland.survival.spell_checks import Floats, Ints

# Variances looked at; below the lowest a factor of 1 % either way is not seen in a fleet.
THETA_RANGE = (1e-4, 20.0)
# EM and Newton alternate until neither moves by more than this.
MAX_ROUNDS, LAST_MOVE = 5_000, 1e-9


@dataclass(frozen=True)
class FrailtyFit:
    """Coefficients given the cluster factors, the factors, and their variance theta.

    `theta_low` is 0 where the limits reach it.  `p` is for theta = 0, half the chi-squared
    tail as theta lies on its boundary.  `standard_errors` hold theta fixed.
    """

    names: tuple[str, ...]
    coef: Floats
    standard_errors: Floats
    theta: float
    theta_low: float
    theta_high: float
    factors: Floats = field(repr=False)
    likelihood_ratio: float
    p: float


@dataclass(frozen=True)
class _State:
    """Coefficients and factors at one theta, with the marginal log likelihood there."""

    coef: Floats
    factors: Floats
    sums: SlotSums
    loglik: float


def fit_gamma_frailty(fit: CoxFit, *, confidence: float) -> FrailtyFit:
    """The gamma frailty fit over the clusters of a Cox fit, with profile limits of theta.

    Raises:
        CoxFitError: the fit has no clusters, or EM does not settle.
    """
    data = fit.data
    _clusters(data)
    if np.any(data.weight != 1):
        raise CoxFitError("Weighted rows have no frailty fit here: repeat rows instead.")
    at_none = fit.loglik - fit.n_events  # the limit of the marginal likelihood at theta = 0

    def at(theta: float) -> _State:
        return _settle(data, fit.ties, theta, fit.coef)

    found = optimize.minimize_scalar(
        lambda log_theta: -at(float(np.exp(log_theta))).loglik,
        bounds=np.log(THETA_RANGE),
        method="bounded",
        options={"xatol": 1e-6},
    )
    theta, best = float(np.exp(found.x)), at(float(np.exp(found.x)))
    if best.loglik <= at_none or theta < 2 * THETA_RANGE[0]:
        theta, best = 0.0, replace(at(THETA_RANGE[0]), coef=fit.coef, loglik=at_none)
    drop = scipy.stats.chi2.ppf(confidence, 1) / 2

    def shortfall(log_theta: float) -> float:
        return float(at(float(np.exp(log_theta))).loglik - best.loglik + drop)

    begin, end = np.log(max(theta, THETA_RANGE[0])), np.log(THETA_RANGE[1])
    low, high = 0.0, float("inf")
    if best.loglik - at_none > drop:
        low = float(np.exp(optimize.brentq(shortfall, np.log(THETA_RANGE[0]), begin, xtol=1e-6)))
    if shortfall(end) < 0:
        high = float(np.exp(optimize.brentq(shortfall, begin, end, xtol=1e-6)))
    ratio = max(2 * (best.loglik - at_none), 0.0)
    return FrailtyFit(
        names=fit.names,
        coef=best.coef,
        standard_errors=_errors(data, fit.ties, theta, best) if theta else fit.standard_errors,
        theta=theta,
        theta_low=low,
        theta_high=high,
        factors=best.factors if theta else np.ones_like(best.factors),
        likelihood_ratio=ratio,
        p=0.5 * float(scipy.stats.chi2.sf(ratio, 1)) if ratio else 1.0,
    )


def _settle(
    data: RiskSets, ties: Ties, theta: float, coef: Floats, *, is_coef_fixed: bool = False
) -> _State:
    """EM for the factors, with a Newton step for the coefficients in each round."""
    cluster = _clusters(data)
    nu = 1 / theta
    died = np.bincount(cluster, data.event).astype(np.float64)
    factors = np.ones(len(died))
    for _ in range(MAX_ROUNDS):
        sums, expected = _given_factors(data, ties, coef, factors, died)
        hazard = expected / factors
        new = (nu + died) / (nu + hazard)
        moved = float(np.max(np.abs(new - factors)))
        step = np.zeros_like(coef)
        if not is_coef_fixed and len(coef):
            p = len(coef)
            step = inverse_information(sums.information[:p, :p], data.spread) @ sums.score[:p]
        if moved < LAST_MOVE and not np.any(np.abs(step) * data.spread > LAST_MOVE):
            marginal = (
                special.gammaln(nu + died)
                - special.gammaln(nu)
                + nu * np.log(nu)
                - (nu + died) * np.log(nu + hazard)
            )
            loglik = sums.loglik - died @ np.log(factors) + marginal.sum()
            return _State(coef, factors, sums, float(loglik))
        coef, factors = coef + step, new
    raise CoxFitError(f"The cluster factors do not settle at a variance of {theta:g}.")


def _clusters(data: RiskSets) -> Ints:
    if data.cluster is None:
        raise CoxFitError("No clusters were given: fit with cluster= the hull of each row.")
    return data.cluster


def _given_factors(
    data: RiskSets, ties: Ties, coef: Floats, factors: Floats, died: Floats
) -> tuple[SlotSums, Floats]:
    """Partial likelihood with the factors as known risks, and each cluster's expected events."""
    cluster = _clusters(data)
    known = replace(
        data,
        x=np.column_stack([data.x, np.log(factors)[cluster]]),
        centre=np.append(data.centre, 0.0),
    )
    both = np.append(coef, 1.0)
    sums = partial_likelihood(known, both, data.weight, ties, keep=True)
    martingale, _ = residual_sums(
        known.x,
        known.centre,
        both,
        data.weight,
        data.event,
        data.first,
        data.last,
        cluster,
        len(died),
        sums,
    )
    return sums, np.asarray(died - martingale)


def _errors(data: RiskSets, ties: Ties, theta: float, best: _State) -> Floats:
    """From the curvature of the marginal likelihood, by differences of its score."""
    p = len(best.coef)
    information = np.empty((p, p))
    for j in range(p):
        h = 1e-4 / data.spread[j]
        ends = []
        for sign in (1, -1):
            moved = best.coef.copy()
            moved[j] += sign * h
            ends.append(_settle(data, ties, theta, moved, is_coef_fixed=True).sums.score[:p])
        information[j] = (ends[1] - ends[0]) / (2 * h)
    covariance = inverse_information((information + information.T) / 2, data.spread)
    return np.asarray(np.sqrt(np.diag(covariance)))
