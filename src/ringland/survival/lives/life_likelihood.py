"""The log likelihood of censored, truncated lives, with its gradient and Hessian.

Parameters are (location, log scale) of log life.  A failure seen to the hour gives its
density, a running life its survival, a bounded failure the chance of its interval, and
delayed entry divides by survival to entry.  Meeker and Escobar (1998), chapters 2, 8, 11.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringland.survival.lives.life_data import CensoredLives, Floats
from ringland.survival.lives.life_distributions import LogLife


@dataclass(frozen=True)
class Curvature:
    """Log likelihood at one point, with first and second derivatives."""

    value: float
    gradient: Floats
    hessian: Floats


IMPOSSIBLE = Curvature(-np.inf, np.full(2, np.nan), np.full((2, 2), np.nan))
# Log scales beyond this overflow in the squares of the Hessian; no life is near it.
WIDEST = 100.0


@dataclass(frozen=True)
class LifeLikelihood:
    """The log likelihood of some lives under one life distribution, ready to be evaluated."""

    distribution: LogLife
    log_exact: Floats
    n_exact: Floats
    log_running: Floats
    n_running: Floats
    log_entry: Floats
    n_entry: Floats
    log_from: Floats
    log_to: Floats
    n_bounded: Floats

    @classmethod
    def of(cls, lives: CensoredLives, distribution: LogLife) -> LifeLikelihood:
        """Sort the lives by how they ended; times go on the log scale once."""
        exact, running, bounded = lives.is_exact, lives.is_running, lives.is_bounded
        late = lives.entry > 0
        with np.errstate(divide="ignore"):  # a lower bound of 0 is minus infinity on the log scale
            log_from = np.log(lives.lower[bounded])
        return cls(
            distribution,
            np.log(lives.lower[exact]),
            lives.count[exact],
            np.log(lives.lower[running]),
            lives.count[running],
            np.log(lives.entry[late]),
            lives.count[late],
            log_from,
            np.log(lives.upper[bounded]),
            lives.count[bounded],
        )

    def at(self, location: float, log_scale: float) -> Curvature:
        """Value, gradient and Hessian; minus infinity where the record is impossible."""
        if abs(log_scale) > WIDEST:
            return IMPOSSIBLE
        scale = float(np.exp(log_scale))
        total = _Sum(scale)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
            z = (self.log_exact - location) / scale
            d = self.distribution
            slope = d.log_density_slope(z)
            bend = d.log_density_bend(z)
            total.add(d.log_density(z) - self.log_exact - log_scale, slope, bend, z, self.n_exact)
            total.shift_log_scale(-float(self.n_exact.sum()))
            for log_time, count, sign in (
                (self.log_running, self.n_running, 1.0),
                (self.log_entry, self.n_entry, -1.0),
            ):
                z = (log_time - location) / scale
                log_survival = d.log_survival(z)
                hazard = np.exp(d.log_density(z) - log_survival)
                bend = -hazard * (d.log_density_slope(z) + hazard)
                total.add(log_survival, -hazard, bend, z, sign * count)
            self._add_bounded(total, location, scale)
        if not (np.isfinite(total.value) and np.all(np.isfinite(total.hessian))):
            return IMPOSSIBLE
        return Curvature(total.value, total.gradient, total.hessian)

    def _add_bounded(self, total: _Sum, location: float, scale: float) -> None:
        if self.log_to.size == 0:
            return
        d = self.distribution
        z_from, z_to = (self.log_from - location) / scale, (self.log_to - location) / scale
        log_chance = _log_chance_between(d, z_from, z_to)
        is_left = np.isneginf(z_from)
        z_low = np.where(is_left, 0.0, z_from)
        at_from = np.where(is_left, 0.0, np.exp(d.log_density(z_low) - log_chance))
        at_to = np.exp(d.log_density(z_to) - log_chance)
        slope_from = at_from * d.log_density_slope(z_low)
        slope_to = at_to * d.log_density_slope(z_to)
        total.add_between(
            log_chance, (at_from, slope_from, z_low), (at_to, slope_to, z_to), self.n_bounded
        )


class _Sum:
    """Adds terms g(z) with z = (log time - location) / scale to value, gradient, Hessian."""

    def __init__(self, scale: float) -> None:
        self.scale = scale
        self.value = 0.0
        self.gradient = np.zeros(2)
        self.hessian = np.zeros((2, 2))

    def add(self, value: Floats, slope: Floats, bend: Floats, z: Floats, count: Floats) -> None:
        if z.size == 0:
            return
        s = self.scale
        self.value += float(count @ value)
        self.gradient += [-(count @ slope) / s, -(count @ (slope * z))]
        mixed = (count @ (bend * z + slope)) / s
        self.hessian += [
            [(count @ bend) / s**2, mixed],
            [mixed, count @ (bend * z * z + slope * z)],
        ]

    def shift_log_scale(self, slope: float) -> None:
        self.gradient[1] += slope

    def add_between(
        self,
        value: Floats,
        lower: tuple[Floats, Floats, Floats],
        upper: tuple[Floats, Floats, Floats],
        count: Floats,
    ) -> None:
        """Terms log(F(z_to) - F(z_from)); densities are given relative to that chance."""
        s = self.scale
        (p, dp, a), (q, dq, b) = lower, upper
        g0, g1 = (p - q) / s, p * a - q * b
        h00 = (dq - dp) / s**2
        h01 = (dq * b + q - dp * a - p) / s
        h11 = dq * b * b + q * b - dp * a * a - p * a
        self.value += float(count @ value)
        self.gradient += [count @ g0, count @ g1]
        mixed = count @ (h01 - g0 * g1)
        self.hessian += [[count @ (h00 - g0 * g0), mixed], [mixed, count @ (h11 - g1 * g1)]]


def _log_chance_between(distribution: LogLife, z_from: Floats, z_to: Floats) -> Floats:
    """log(F(z_to) - F(z_from)), from whichever tail keeps its digits."""
    from_right = distribution.log_survival(z_from) + np.log(
        -np.expm1(distribution.log_survival(z_to) - distribution.log_survival(z_from))
    )
    from_left = distribution.log_failed(z_to) + np.log(
        -np.expm1(distribution.log_failed(z_from) - distribution.log_failed(z_to))
    )
    return np.where(z_to < 0.0, from_left, from_right)
