"""Weibull proportional hazards on (start, stop] spells: the model behind absolute chances.

Hazard at age t with covariates x held over the spell:
h(t) = (k / s) (t / s)^(k - 1) exp(sum_j b_j (x_j - centre_j) / step_j), shape k, scale s.
Log likelihood: sum over events of log h(stop) less sum over spells of H(stop) - H(start),
which is right under delayed entry and with covariates that change between spells (e.g.
Klein & Moeschberger 2003, section 3.5; Gelman et al. 2013, section 10.4 for the draws).

Log shape, log scale and each b_j have normal priors, so that the model answers with no
failure at all; then it says that its answer is the prior's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.hazard.weibull_likelihood import (
    NoMaximumError,
    NormalPrior,
    SpellSums,
    climb,
    log_posteriors,
    weighted_draws,
)
from ringland.survival.spell_checks import (
    Floats,
    SpellError,
    covariate_matrix,
    event_flags,
    number_column,
    require_same_length,
    require_start_before_stop,
)


@dataclass(frozen=True)
class HazardPrior:
    """Normal priors: log shape, log scale (log h) and each log hazard ratio per step (mean 0)."""

    log_shape_mean: float
    log_shape_sd: float
    log_scale_mean: float
    log_scale_sd: float
    effect_sd: float

    def of_parameters(self, n_factors: int) -> NormalPrior:
        """The same in the order of `WeibullHazardFit.mode`."""
        mean = np.array([self.log_shape_mean, self.log_scale_mean, *[0.0] * n_factors])
        sd = np.array([self.log_shape_sd, self.log_scale_sd, *[self.effect_sd] * n_factors])
        return NormalPrior(mean, sd)


@dataclass(frozen=True)
class FactorEffect:
    """One factor's hazard ratio per step, its limits, and how much of it is the prior.

    `prior_share` is the posterior variance over the prior's: 1 means the record taught
    nothing, 0 that the prior did not matter.  `unaided_ratio` is the maximum likelihood
    estimate without any prior and `unaided_log_error` the standard error of its logarithm;
    None where the estimate does not exist.
    """

    name: str
    step: float
    hazard_ratio: float
    low: float
    high: float
    prior_share: float
    unaided_ratio: float | None
    unaided_log_error: float | None


@dataclass(frozen=True)
class WeibullHazardFit:
    """Posterior of the Weibull hazard: mode and draws of (log shape, log scale, effects).

    Rows of `mode` and columns of `draws`: log shape, log scale (log h, of a spell at
    `centre`), then one log hazard ratio per step of each factor.  `effective_draws` is what
    the weighted pool behind the draws is worth in independent draws.  `unaided` is the
    maximum likelihood estimate without priors and `unaided_errors` its standard errors;
    both None, with the reason in `unaided_why_not`, where it does not exist.
    """

    names: tuple[str, ...]
    step: Floats
    centre: Floats
    prior: HazardPrior
    mode: Floats
    covariance: Floats
    draws: Floats = field(repr=False)
    effective_draws: float
    n_events: int
    n_spells: int
    unaided: Floats | None
    unaided_errors: Floats | None
    unaided_why_not: str | None

    def effects(self, confidence: float) -> tuple[FactorEffect, ...]:
        """Each factor's hazard ratio per step (median of the draws) with equal-tailed limits."""
        tail = (1 - confidence) / 2
        shares, found = self.prior_shares(), []
        for j, name in enumerate(self.names):
            low, middle, high = np.exp(np.quantile(self.draws[:, 2 + j], [tail, 0.5, 1 - tail]))
            found.append(
                FactorEffect(
                    name=name,
                    step=float(self.step[j]),
                    hazard_ratio=float(middle),
                    low=float(low),
                    high=float(high),
                    prior_share=float(shares[2 + j]),
                    unaided_ratio=(
                        None if self.unaided is None else float(np.exp(self.unaided[2 + j]))
                    ),
                    unaided_log_error=(
                        None if self.unaided_errors is None else float(self.unaided_errors[2 + j])
                    ),
                )
            )
        return tuple(found)

    def prior_shares(self) -> Floats:
        """Posterior over prior variance of log shape, log scale and each effect, at most 1."""
        sd = self.prior.of_parameters(len(self.names)).sd
        return np.asarray(np.minimum(self.draws.var(axis=0) / sd**2, 1.0))

    def cumulative_hazard(self, start_h: ArrayLike, stop_h: ArrayLike, x: ArrayLike) -> Floats:
        """Hazard summed over each spell (start_h, stop_h], per draw: shape (n_draws, n).

        The chance of failing in a spell, given survival to its start, is
        1 - exp(-cumulative hazard).
        """
        return self._hazard_of(self.draws, start_h, stop_h, x)

    def mode_cumulative_hazard(self, start_h: ArrayLike, stop_h: ArrayLike, x: ArrayLike) -> Floats:
        """Hazard summed over each spell at the posterior mode, shape (n,)."""
        return np.asarray(self._hazard_of(self.mode[None, :], start_h, stop_h, x)[0])

    def _hazard_of(
        self, theta: Floats, start_h: ArrayLike, stop_h: ArrayLike, x: ArrayLike
    ) -> Floats:
        start, stop = number_column("start_h", start_h), number_column("stop_h", stop_h)
        require_same_length(start_h=start, stop_h=stop)
        if (bad := np.flatnonzero((start < 0) | (stop < start))).size:
            i = bad[0]
            raise SpellError(
                f"Row {i}: from {start[i]:g} h to {stop[i]:g} h is no stretch of a life."
            )
        z = (covariate_matrix(x, len(start), self.names) - self.centre) / self.step
        shape, scale = np.exp(theta[:, :1]), np.exp(theta[:, 1:2])
        spent = (stop / scale) ** shape - (start / scale) ** shape
        return np.asarray(spent * np.exp(theta[:, 2:] @ z.T))


def fit_weibull_hazard(
    start: ArrayLike,
    stop: ArrayLike,
    event: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str],
    step: ArrayLike,
    centre: ArrayLike,
    prior: HazardPrior,
    n_draws: int,
    rng: np.random.Generator,
) -> WeibullHazardFit:
    """The posterior of a Weibull hazard given spells; works with no event and no factor.

    Draws come from a Student proposal at the mode, weighted by the exact posterior and
    resampled (adaptive importance sampling; Gelman et al. 2013, section 10.4).

    Args:
        start: age at the start of each spell, h, not negative.
        stop: age at its end, later than `start`.
        event: whether the spell ends in the failure.
        x: covariates held over the spell, shape (n, p); p may be 0.
        names: one name per column of `x`.
        step: one step of each factor, the unit its effect speaks of.
        centre: the value of each factor at which the scale is the characteristic life.
        prior: normal priors on the log scale.
        n_draws: posterior draws wanted.
        rng: the only source of randomness.

    Raises:
        SpellError: a row cannot be used, or a step is not above zero.
    """
    start, stop = number_column("start", start), number_column("stop", stop)
    is_event = event_flags(event)
    require_same_length(start=start, stop=stop, event=is_event)
    require_start_before_stop(start, stop)
    if (bad := np.flatnonzero(start < 0)).size:
        raise SpellError(f"Row {bad[0]}: start {start[bad[0]]:g} h is before the life began.")
    step, centre = number_column("step", step), number_column("centre", centre)
    if len(step) != len(names) or len(centre) != len(names):
        raise SpellError(
            f"step has {len(step)} and centre {len(centre)} values for {len(names)} names."
        )
    if np.any(step <= 0):
        raise SpellError(f"step of {names[int(np.argmin(step))]} must be above zero.")
    z = (covariate_matrix(x, len(start), names) - centre) / step
    spells = SpellSums.of(start, stop, is_event, z)
    normal = prior.of_parameters(len(names))
    mode, precision = climb(spells, normal, normal.mean)
    covariance: Floats = np.asarray(np.linalg.inv(precision), dtype=np.float64)
    draws, effective = weighted_draws(
        lambda theta: log_posteriors(theta, spells, normal), mode, covariance, n_draws, rng
    )
    unaided, unaided_errors, why_not = _without_prior(spells, mode, names)
    return WeibullHazardFit(
        names=tuple(names),
        step=step,
        centre=centre,
        prior=prior,
        mode=mode,
        covariance=covariance,
        draws=draws,
        effective_draws=effective,
        n_events=spells.n_events,
        n_spells=len(start),
        unaided=unaided,
        unaided_errors=unaided_errors,
        unaided_why_not=why_not,
    )


def _without_prior(
    spells: SpellSums, mode: Floats, names: Sequence[str]
) -> tuple[Floats | None, Floats | None, str | None]:
    """The maximum likelihood estimate and its errors, or why there is none."""
    if spells.n_events == 0:
        return None, None, "no failure on record"
    no_prior = NormalPrior(np.zeros_like(mode), np.full_like(mode, np.inf))
    try:
        best, precision = climb(spells, no_prior, mode)
        return best, np.sqrt(np.diag(np.linalg.inv(precision))), None
    except NoMaximumError as error:
        parameter = ("shape", "scale", *names)[error.index]
        return (
            None,
            None,
            f"{parameter} has no finite estimate from {spells.n_events} failures alone",
        )
