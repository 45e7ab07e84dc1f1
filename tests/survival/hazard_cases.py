"""Fits of simulated spells, and fits whose draws are given, for the tests of every room."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ringland.survival.hazard.hazard_design import Factor, SpellRows
from ringland.survival.hazard.hazard_prior import HazardPrior
from ringland.survival.hazard.joint_hazard import JointHazard, fit_joint_hazard

from .simulated_spells import Simulated

EFFECT_SD = 0.7
"""Of every factor's log hazard ratio per step."""

PRIOR = HazardPrior(
    log_shape_mean=0.4,
    log_shape_sd=0.4,
    log_scale_mean=6.9,
    log_scale_sd=1.0,
    between_sd=0.7,
    age_bend_sd=0.7,
    factor_bend_sd=0.5,
    place_sd=0.3,
    own_sd=0.5,
)


def rows_of(spells: Simulated, own: bool = False) -> SpellRows:
    """The spells of one bucket; with `own` the hulls bear factors."""
    return SpellRows(
        spells.start,
        spells.stop,
        np.asarray(spells.event, dtype=bool),
        spells.x,
        own=[str(hull) for hull in spells.hull] if own else None,
    )


def plain_factors(n: int, step: float = 1.0) -> list[Factor]:
    return [Factor(f"x{j + 1}", step, 0.0, EFFECT_SD) for j in range(n)]


def fitted(
    spells: Simulated,
    *,
    own: bool = False,
    prior: HazardPrior = PRIOR,
    factors: Sequence[Factor] | None = None,
    n_draws: int = 500,
) -> JointHazard:
    return fit_joint_hazard(
        [rows_of(spells, own)],
        plain_factors(spells.x.shape[1]) if factors is None else factors,
        prior=prior,
        n_draws=n_draws,
        rng=np.random.default_rng(1),
    )


def given_hazard(names: Sequence[str], draws: Sequence[Sequence[float]]) -> JointHazard:
    """A Weibull hazard with straight lines whose draws are given.

    `draws` has log shape, log scale and a log hazard ratio per unit of each name; the
    hazard is held over steps of age, so that it is the Weibull's within one part in a thousand.
    """
    table = np.asarray(draws, dtype=float)
    n = len(names)
    rows = SpellRows(
        np.array([0.0]), np.array([1000.0]), np.array([False]), np.zeros((1, n)), own=["known"]
    )
    fit = fit_joint_hazard(
        [rows], [Factor(name, 1.0, 0.0, EFFECT_SD) for name in names],
        prior=PRIOR, n_draws=len(table), rng=np.random.default_rng(1),
    )  # fmt: skip
    theta = np.zeros((len(table), fit.plan.size))
    theta[:, :2] = table[:, :2]
    theta[:, fit.plan.n_base :] = table[:, 2:]
    return replace(
        fit,
        theta=theta,
        own_factor=np.ones_like(fit.own_factor),
        own_open=np.zeros_like(fit.own_open),
        new_place=np.zeros_like(fit.new_place),
    )
