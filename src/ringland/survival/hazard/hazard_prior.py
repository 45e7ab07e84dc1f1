"""The priors of the hazard, and how tightly each holds at given spreads.

Log shape and log scale of the Weibull line and each factor's line are normal.  Hinges of age
and of factors, the docks' effects and the engines' factors scatter about zero with standard
deviations of their own, half-normal: so far as the record is silent they are drawn together
and the hazard towards a Weibull with straight lines (Jackson 2023 for the smoothing prior).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringland.survival.hazard.age_steps import KNOT_RATIO
from ringland.survival.spell_checks import Floats

SPREADS = ("age_bend", "factor_bend", "place", "own")
"""The spreads a fit learns, in the order of its columns."""


@dataclass(frozen=True)
class HazardPrior:
    """Normal priors, and scales of the half-normal priors of the spreads.

    `between_sd` is of how far a factor's effect between places may lie from the one within, per
    step; how wide the effect itself may be each factor says (`Factor.effect_sd`).  `age_bend_sd`
    scales the change of slope of the log hazard over a stretch of age whose log is 1 longer;
    `factor_bend_sd` that at a factor's knot, per step; `place_sd` the places' effects on the log
    hazard, `own_sd` the own factors.
    """

    log_shape_mean: float
    log_shape_sd: float
    log_scale_mean: float
    log_scale_sd: float
    between_sd: float
    age_bend_sd: float
    factor_bend_sd: float
    place_sd: float
    own_sd: float

    @property
    def spread_scales(self) -> Floats:
        """Scales of the half-normal priors, in the order of `SPREADS`."""
        return np.array([self.age_bend_sd, self.factor_bend_sd, self.place_sd, self.own_sd])


@dataclass(frozen=True)
class ParameterPlan:
    """Where each kind of parameter stands: shape, scale, age hinges, lines, hinges, places.

    `line_sds` are the prior standard deviations of the factors' lines, per step, `line_means`
    their means; empty: none has an effect.
    """

    n_age: int
    line_sds: tuple[float, ...]
    n_hinges: int
    n_between: int
    n_places: int
    line_means: tuple[float, ...] = ()

    @property
    def n_lines(self) -> int:
        """Lines of factors."""
        return len(self.line_sds)

    @property
    def size(self) -> int:
        """Parameters over all kinds."""
        return 2 + self.n_age + self.n_lines + self.n_hinges + self.n_between + self.n_places

    @property
    def n_base(self) -> int:
        """Parameters of the baseline."""
        return 2 + self.n_age

    def kind(self) -> Floats:
        """For each parameter the column of `SPREADS` that scales it; -1: none, it is fixed."""
        return np.repeat(
            [-1, 0, -1, 1, -1, 2],
            [2, self.n_age, self.n_lines, self.n_hinges, self.n_between, self.n_places],
        ).astype(float)

    def mean(self, prior: HazardPrior) -> Floats:
        """Prior means."""
        mean = np.zeros(self.size)
        mean[:2] = prior.log_shape_mean, prior.log_scale_mean
        mean[self.n_base : self.n_base + len(self.line_means)] = self.line_means
        return mean

    def sd(self, prior: HazardPrior, spreads: Floats) -> Floats:
        """Prior standard deviations at spreads of shape (rows, 4): shape (rows, parameters)."""
        rows = len(spreads)
        age = spreads[:, :1] * np.sqrt(np.log(KNOT_RATIO))
        parts = [
            np.tile([prior.log_shape_sd, prior.log_scale_sd], (rows, 1)),
            np.repeat(age, self.n_age, axis=1),
            np.tile(np.asarray(self.line_sds, dtype=float), (rows, 1)),
            np.repeat(spreads[:, 1:2], self.n_hinges, axis=1),
            np.full((rows, self.n_between), prior.between_sd),
            np.repeat(spreads[:, 2:3], self.n_places, axis=1),
        ]
        return np.concatenate(parts, axis=1)

    def log_density(self, prior: HazardPrior, theta: Floats, spreads: Floats) -> Floats:
        """Log prior density of parameters and log spreads, up to a constant, by row."""
        sd = self.sd(prior, spreads)
        away = (theta - self.mean(prior)) / sd
        used = self.spreads_used()
        scale = prior.spread_scales
        of_spreads = np.log(spreads) - 0.5 * (spreads / scale) ** 2  # by log spread
        return np.asarray(
            -0.5 * (away**2).sum(axis=1) - np.log(sd).sum(axis=1) + of_spreads[:, used].sum(axis=1)
        )

    def spreads_used(self) -> list[int]:
        """Columns of `SPREADS` that something scales; own factors always count as one."""
        sizes = (self.n_age, self.n_hinges, self.n_places, 1)
        return [column for column, size in enumerate(sizes) if size]
