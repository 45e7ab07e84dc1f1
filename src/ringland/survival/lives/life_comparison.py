"""Would fewer parameters do?  Likelihood-ratio tests between nested life models.

Wear-out against a constant hazard; groups of lives (cast and forged sets) against one
pooled life; two failure modes on the same lives against one shape for both.  Twice the
difference in log likelihood is referred to chi-square, which is rough with few failures:
the counts stand beside the p-value.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy.optimize import minimize_scalar

from ringland.survival.lives.few_failures import exponential_life, fixed_shape_life
from ringland.survival.lives.life_data import (
    CensoredLives,
    LifeDataError,
    bounded_lives,
    ended_lives,
)
from ringland.survival.lives.life_distributions import WEIBULL, LogLife
from ringland.survival.lives.parametric_life import LifeFit, fit_life

SOURCE = "Meeker and Escobar (1998), Statistical Methods for Reliability Data, section 8.3"


@dataclass(frozen=True)
class LikelihoodRatio:
    """A test of a smaller model inside a larger one; a small p speaks for the larger.

    `n_failures` are by part (group or mode); the p-value rests on the smallest of them.
    """

    question: str
    statistic: float
    degrees: int
    p_value: float
    log_likelihood_smaller: float
    log_likelihood_larger: float
    n_failures: dict[str, float]
    method: str
    source: str


def wear_out_test(lives: CensoredLives) -> LikelihoodRatio:
    """Weibull against a constant hazard (shape 1)."""
    larger, smaller = fit_life(lives), exponential_life(lives)
    return _ratio(
        "is the hazard constant (Weibull shape 1)?",
        smaller.log_likelihood,
        larger.log_likelihood,
        1,
        {"all": lives.n_failures},
    )


def groups_test(
    groups: Mapping[str, CensoredLives], distribution: LogLife = WEIBULL
) -> LikelihoodRatio:
    """Own life for each group of lives against one pooled life for all.

    Raises:
        LifeDataError: fewer than two groups.
        NoFiniteFitError: a group alone does not bound its own life.
    """
    if len(groups) < 2:
        raise LifeDataError("Give at least two groups of lives to compare.")
    separate = {name: fit_life(lives, distribution) for name, lives in groups.items()}
    pooled = fit_life(pool(list(groups.values())), distribution)
    return _ratio(
        "do all groups share one life?",
        pooled.log_likelihood,
        sum(fit.log_likelihood for fit in separate.values()),
        2 * (len(groups) - 1),
        {name: fit.n_failures for name, fit in separate.items()},
    )


def modes_test(
    exit_: ArrayLike, mode: Sequence[str | None], *, entry: ArrayLike | None = None
) -> tuple[LikelihoodRatio, dict[str, LifeFit]]:
    """Own Weibull for each mode against one shape for all; also the separate fits.

    The modes compete on the same lives; each fit takes the others as censoring.  With one
    shape for all, the pooled failures follow one Weibull and its modes keep constant
    proportions, so a single pooled curve would do.

    Raises:
        LifeDataError: fewer than two modes have failures.
        NoFiniteFitError: a mode alone does not bound its own life.
    """
    names = sorted({m for m in mode if m is not None})
    if len(names) < 2:
        raise LifeDataError("Fewer than two modes have failures; there is nothing to separate.")
    lives = {
        name: ended_lives(exit_, np.array([m == name for m in mode]), entry=entry) for name in names
    }
    fits = {name: fit_life(of_mode) for name, of_mode in lives.items()}

    def shared(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return sum(fixed_shape_life(of_mode, shape).log_likelihood for of_mode in lives.values())

    logs = [float(np.log(fit.shape)) for fit in fits.values()]
    best = minimize_scalar(
        lambda s: -shared(s), bounds=(min(logs) - 1e-6, max(logs) + 1e-6), method="bounded",
        options={"xatol": 1e-9},
    )  # fmt: skip
    test = _ratio(
        "do the modes share one shape, so that one pooled curve would do?",
        float(-best.fun),
        sum(fit.log_likelihood for fit in fits.values()),
        len(names) - 1,
        {name: fit.n_failures for name, fit in fits.items()},
    )
    return test, fits


def pool(groups: Sequence[CensoredLives]) -> CensoredLives:
    """All lives of several groups as one."""
    return bounded_lives(
        np.concatenate([lives.lower for lives in groups]),
        np.concatenate([lives.upper for lives in groups]),
        entry=np.concatenate([lives.entry for lives in groups]),
        count=np.concatenate([lives.count for lives in groups]),
    )


def _ratio(
    question: str, smaller: float, larger: float, degrees: int, n_failures: dict[str, float]
) -> LikelihoodRatio:
    statistic = max(0.0, 2.0 * (larger - smaller))
    return LikelihoodRatio(
        question=question,
        statistic=statistic,
        degrees=degrees,
        p_value=float(scipy.stats.chi2.sf(statistic, degrees)),
        log_likelihood_smaller=smaller,
        log_likelihood_larger=larger,
        n_failures=n_failures,
        method=f"likelihood ratio, chi-square on {degrees} degrees of freedom",
        source=SOURCE,
    )
