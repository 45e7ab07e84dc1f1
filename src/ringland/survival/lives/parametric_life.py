"""Weibull and lognormal lives by maximum likelihood.

Lives may be exact, running, bounded by inspections, seen from a delayed entry, and
counted.  The fit is one maximum in (location, log scale) of log life; limits stand in
`life_limits`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from ringland.settings.assumptions import load_assumptions
from ringland.survival.lives.life_data import CensoredLives, Floats
from ringland.survival.lives.life_distributions import WEIBULL, LogLife
from ringland.survival.lives.life_likelihood import LifeLikelihood

FEW_FAILURES = load_assumptions().number("survival.few_events_per_covariate")
SOURCE = "Meeker and Escobar (1998), Statistical Methods for Reliability Data, chapters 8 and 11"
# Log scales outside this band mean a shape above 160,000 or below 0.0025: no engine part,
# but a likelihood that rises without end.
STEEPEST, FLATTEST = -12.0, 6.0


class NoFiniteFitError(ValueError):
    """The record does not bound both parameters; the message says what it can carry."""


@dataclass(frozen=True)
class LifeFit:
    """A fitted life distribution; `covariance` is of (location, log scale) of log life.

    Weibull: shape is the slope, scale the age by which 63.2 % have failed.  Lognormal:
    shape is the standard deviation of log life, scale the median life.
    """

    distribution: LogLife
    location: float
    log_scale: float
    covariance: Floats
    log_likelihood: float
    n_lives: float
    n_failures: float
    likelihood: LifeLikelihood
    method: str
    source: str
    warnings: tuple[str, ...]

    @property
    def shape(self) -> float:
        """Weibull slope, or the standard deviation of log life for lognormal."""
        return float(np.exp(self.shape_sign * self.log_scale))

    @property
    def scale(self) -> float:
        """Characteristic life (Weibull) or median life (lognormal)."""
        return float(np.exp(self.location))

    @property
    def shape_sign(self) -> float:
        """Which way log shape runs with log scale: down for Weibull, up for lognormal."""
        return -1.0 if self.distribution.name == "Weibull" else 1.0

    @property
    def aic(self) -> float:
        """Akaike's criterion, two parameters."""
        return 4.0 - 2.0 * self.log_likelihood

    def log_survival(self, age: ArrayLike) -> Floats:
        """Log of the chance to last beyond each age; 0 at age 0."""
        hours = np.asarray(age, dtype=np.float64)
        with np.errstate(divide="ignore", over="ignore"):  # age 0, and ages no life reaches
            z = (np.log(hours) - self.location) / np.exp(self.log_scale)
            return np.where(hours > 0, self.distribution.log_survival(z), 0.0)

    def survival(self, age: ArrayLike) -> Floats:
        """The chance to last beyond each age."""
        return np.exp(self.log_survival(age))

    def chance_of_failure(self, age: ArrayLike, further: ArrayLike) -> Floats:
        """The chance to fail within `further` hours, given alive at `age`."""
        now = np.asarray(age, dtype=np.float64)
        then = now + np.asarray(further, dtype=np.float64)
        alive = self.log_survival(now)
        # An age no life reaches (survival 0 to the last digit) is past saving.
        drop = np.where(np.isneginf(alive), 0.0, self.log_survival(then)) - np.where(
            np.isneginf(alive), np.inf, alive
        )
        return np.asarray(-np.expm1(drop), dtype=np.float64)


def fit_life(lives: CensoredLives, distribution: LogLife = WEIBULL) -> LifeFit:
    """The maximum likelihood life distribution of some lives.

    Raises:
        NoFiniteFitError: no failures, or failures that leave the likelihood rising without
            end (all at one age that nobody outlived); says what to use instead.
    """
    if lives.n_failures == 0:
        raise NoFiniteFitError(
            f"There are no failures in {lives.n_lives:g} lives: shape and scale cannot both be "
            "estimated. Use fixed_shape_life or zero_failure_bound with a stated shape."
        )
    likelihood = LifeLikelihood.of(lives, distribution)
    location, log_scale = _highest(likelihood, _starts(lives, distribution))
    curve = likelihood.at(location, log_scale)
    unit_free = np.diag([np.exp(log_scale), 1.0])
    bends = np.linalg.eigvalsh(unit_free @ -curve.hessian @ unit_free)
    if bends[0] < 1e-9 * bends[1]:  # a ridge flat to rounding, e.g. all inspected at one age
        raise NoFiniteFitError(_NO_END)
    return LifeFit(
        distribution=distribution,
        location=location,
        log_scale=log_scale,
        covariance=np.asarray(np.linalg.inv(-curve.hessian), dtype=np.float64),
        log_likelihood=curve.value,
        n_lives=lives.n_lives,
        n_failures=lives.n_failures,
        likelihood=likelihood,
        method=f"{distribution.name} by maximum likelihood",
        source=SOURCE,
        warnings=_warnings(lives),
    )


def parameter_draws(fit: LifeFit, rng: np.random.Generator, n_draws: int) -> Floats:
    """Draws of (shape, scale), one a row, from the normal approximation on the log scale."""
    draws = rng.multivariate_normal([fit.location, fit.log_scale], fit.covariance, n_draws)
    return np.column_stack([np.exp(fit.shape_sign * draws[:, 1]), np.exp(draws[:, 0])])


def _starts(lives: CensoredLives, distribution: LogLife) -> list[tuple[float, float]]:
    """Locations and log scales to begin from: the failures' log times, a shape near 1.5.

    With delayed entry the likelihood may have several tops, so a steep and a flat start
    are added; else it has one.
    """
    failed = ~lives.is_running
    middle = np.where(
        lives.is_bounded, 0.5 * (lives.lower + np.where(failed, lives.upper, 0.0)), lives.lower
    )
    mean = float(np.average(np.log(middle[failed]), weights=lives.count[failed]))
    z = distribution.quantile(0.5 * lives.n_failures / (lives.n_lives + 1.0))
    scales = [0.65, 0.25, 1.5] if lives.entry.any() else [0.65]
    return [(mean - scale * z, float(np.log(scale))) for scale in scales]


def _highest(likelihood: LifeLikelihood, starts: list[tuple[float, float]]) -> tuple[float, float]:
    """The highest of the tops reached; a start that climbs without end does not count alone."""
    tops, endless = [], None
    for start in starts:
        try:
            tops.append(_maximise(likelihood, start))
        except NoFiniteFitError as error:
            endless = error
    if not tops:
        raise endless or NoFiniteFitError(_NO_END)
    return max(tops, key=lambda top: likelihood.at(*top).value)


def _maximise(likelihood: LifeLikelihood, start: tuple[float, float]) -> tuple[float, float]:
    """Damped Newton on (location, log scale); stops when a step no longer pays."""
    point = np.array(start)
    here = likelihood.at(point[0], point[1])
    while not np.isfinite(here.value):  # a start too steep for lives far beyond it
        point[1] += 0.5
        here = likelihood.at(point[0], point[1])
        if point[1] > FLATTEST:
            raise NoFiniteFitError(_NO_END)
    for _ in range(200):
        values, vectors = np.linalg.eigh(-here.hessian)
        rotated = vectors.T @ here.gradient
        # Where the surface bends upwards, climb along the gradient instead.
        step = vectors @ (rotated / np.maximum(np.abs(values), 1e-8))
        gain = float(here.gradient @ step)
        if gain < 1e-18 * max(1.0, abs(here.value)) and values.min() > 0:
            return float(point[0]), float(point[1])
        longest = float(np.abs(step).max())
        if longest < 1e-13:  # level ground that is not a top
            raise NoFiniteFitError(_NO_END)
        step *= min(1.0, 2.0 / longest)
        there = likelihood.at(*(point + step))
        while there.value < here.value + 1e-4 * float(here.gradient @ step):
            step *= 0.5
            if np.abs(step).max() < 1e-13:
                if values.min() > 0:
                    return float(point[0]), float(point[1])
                raise NoFiniteFitError(_NO_END)
            there = likelihood.at(*(point + step))
        point, here = point + step, there
        if not STEEPEST < point[1] < FLATTEST:
            raise NoFiniteFitError(_NO_END)
    raise NoFiniteFitError(_NO_END)


_NO_END = (
    "The likelihood rises without end or is flat, so no shape is best: the failures do not "
    "bound it (e.g. all at one age that no life outlived, or inspections that never tell two ages "
    "apart). Use fixed_shape_life with a stated shape."
)


def _warnings(lives: CensoredLives) -> tuple[str, ...]:
    n = lives.n_failures
    if n >= FEW_FAILURES:
        return ()
    noun = "failure" if n == 1 else "failures"
    return (
        f"shape and scale rest on {n:g} {noun}: print profile limits, not Wald, and compare "
        "with fixed_shape_life over a range of shapes.",
    )
