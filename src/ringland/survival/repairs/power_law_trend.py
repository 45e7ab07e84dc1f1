"""Are repairs coming faster or slower?  Power-law trend of one hull or of a fleet.

The rate of repairs at age t is a b t^(b - 1): b below 1 improving, above 1 worsening.  The
fit describes repairs counted on a repairable hull; it is not a life distribution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import ArrayLike
from scipy.optimize import brentq
from scipy.special import gammainc

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.lives.life_data import Floats, LifeDataError, number_column

NIST = "NIST/SEMATECH e-Handbook of Statistical Methods, sections 8.4.5.2 and 8.2.3"
HANDBOOK = "MIL-HDBK-189 (1981), Appendix C; Crow (1974)"


@dataclass(frozen=True)
class PowerLawTrend:
    """Power-law rate of repairs of one hull observed over (0, end].

    With the record ended by its last failure, limits of the mean time between failures are
    exact; ended by time they are Crow's approximation.

    `shape` and `rate` (a) are maximum likelihood, `unbiased_shape` and `unbiased_rate` the
    modified estimates; mean time between failures at the end stands for both.
    `shape_limits` are chi-square; `mtbf_limits` says in `method` what it is about.
    """

    shape: float
    rate: float
    log_likelihood: float
    unbiased_shape: float
    unbiased_rate: float
    shape_limits: Estimate
    mtbf_at_end: float
    unbiased_mtbf_at_end: float
    mtbf_limits: Estimate
    n_failures: int
    end: float
    method: str
    source: str

    @property
    def intensity_at_end(self) -> float:
        """Repairs per hour at the end, from maximum likelihood."""
        return 1.0 / self.mtbf_at_end


@dataclass(frozen=True)
class TrendTest:
    """A test of no trend; `statistic` above its middle speaks for `direction`."""

    name: str
    statistic: float
    p_value: float
    direction: str
    n_failures: int
    source: str


@dataclass(frozen=True)
class FleetTrend:
    """Power-law rate shared by several hulls, each over its own (start, end]."""

    shape: Estimate
    rate: float
    log_likelihood: float
    n_hulls: int
    n_failures: int
    method: str
    source: str


def power_law_trend(
    failure_ages: ArrayLike, end: float | None = None, *, confidence: float = CONFIDENCE
) -> PowerLawTrend:
    """Power-law trend of one hull's failures, its record ended by time at `end`.

    Without `end` the record ended by its last failure, which costs one degree of freedom.

    Raises:
        LifeDataError: fewer than two failures (three without `end`), or an age not in
            (0, end].
    """
    by_failure = end is None
    end = _last(failure_ages) if end is None else end
    ages = _checked(failure_ages, end, fewest=3 if by_failure else 2)
    n = ages.size
    log_ratio = float(np.log(end / ages).sum())
    if log_ratio == 0.0:
        raise LifeDataError("All failures lie at the end of the record; no trend can be told.")
    free = n - 1 if by_failure else n
    shape, unbiased = n / log_ratio, (free - 1.0) / log_ratio
    rate, unbiased_rate = n / end**shape, n / end**unbiased
    mtbf, unbiased_mtbf = end / (n * shape), end / (n * unbiased)
    tail = (1.0 - confidence) / 2.0
    chi = scipy.stats.chi2.ppf([tail, 1.0 - tail], 2 * free) / (2.0 * n)
    if by_failure:
        mtbf_limits = _exact_mtbf_limits(mtbf, n, confidence)
    else:
        mtbf_limits = _crow_mtbf_limits(unbiased_mtbf, n, confidence)
    return PowerLawTrend(
        shape=shape,
        rate=rate,
        log_likelihood=n * np.log(rate * shape)
        + (shape - 1.0) * float(np.log(ages).sum())
        - rate * end**shape,
        unbiased_shape=unbiased,
        unbiased_rate=unbiased_rate,
        shape_limits=Estimate(
            shape,
            shape * float(chi[0]),
            shape * float(chi[1]),
            confidence,
            f"chi-square, {2 * free} degrees of freedom",
        ),
        mtbf_at_end=mtbf,
        unbiased_mtbf_at_end=unbiased_mtbf,
        mtbf_limits=mtbf_limits,
        n_failures=n,
        end=end,
        method=f"power law, record ended by {'its last failure' if by_failure else 'time'}: "
        "maximum likelihood and modified (unbiased)",
        source=NIST,
    )


def laplace_test(failure_ages: ArrayLike, end: float) -> TrendTest:
    """Laplace's test: are the failures centred later or earlier than by chance?"""
    ages = _checked(failure_ages, end, fewest=1)
    n = ages.size
    statistic = float((ages.mean() - end / 2.0) / (end * np.sqrt(1.0 / (12.0 * n))))
    return TrendTest(
        "Laplace",
        statistic,
        float(2.0 * scipy.stats.norm.sf(abs(statistic))),
        "worsening" if statistic > 0 else "improving",
        n,
        NIST,
    )


def military_handbook_test(failure_ages: ArrayLike, end: float) -> TrendTest:
    """The MIL-HDBK-189 chi-square test: large says improving, small says worsening."""
    ages = _checked(failure_ages, end, fewest=1)
    n = ages.size
    statistic = float(2.0 * np.log(end / ages).sum())
    upper = float(scipy.stats.chi2.sf(statistic, 2 * n))
    return TrendTest(
        "MIL-HDBK-189 chi-square",
        statistic,
        min(1.0, 2.0 * min(upper, 1.0 - upper)),
        "improving" if statistic > 2 * n else "worsening",
        n,
        NIST,
    )


def cramer_von_mises_test(
    failure_ages: ArrayLike, end: float, rng: np.random.Generator, *, n_draws: int = 2000
) -> TrendTest:
    """Does the power law fit?  Cramer-von Mises with the unbiased shape.

    The p-value is by simulation of uniform ages, whose distribution does not depend on the
    power law's parameters.
    """
    ages = _checked(failure_ages, end)
    statistic = float(_cramer_von_mises(np.sort(ages / end)[None, :])[0])
    simulated = _cramer_von_mises(np.sort(rng.random((n_draws, ages.size)), axis=1))
    p_value = (1.0 + float((simulated >= statistic).sum())) / (n_draws + 1.0)
    return TrendTest(
        f"Cramer-von Mises, {n_draws} draws",
        statistic,
        p_value,
        "power law does not fit",
        ages.size,
        HANDBOOK,
    )


def fleet_trend(
    start: ArrayLike,
    end: ArrayLike,
    failure_ages: ArrayLike,
    *,
    confidence: float = CONFIDENCE,
) -> FleetTrend:
    """One power law for all hulls, each observed over its (start, end].

    Failures need no hull: the likelihood holds only their ages.  Limits of the shape are
    Wald on its log, and take hulls as alike.

    Raises:
        LifeDataError: a window is empty, or there are fewer than two failures.
    """
    a = number_column("start", start)
    b = number_column("end", end)
    if not a.size:
        raise LifeDataError("There is no hull; give the window over which each was observed.")
    if a.shape != b.shape:
        raise LifeDataError(f"start has {a.size} rows, end has {b.size}; give one of each a hull.")
    if (bad := np.flatnonzero(~((a >= 0) & (a < b)))).size:
        row = int(bad[0])
        raise LifeDataError(
            f"row {row + 1}: window ({a[row]:g}, {b[row]:g}]; every hull needs 0 <= start < end."
        )
    ages = _checked(failure_ages, float(b.max()))
    seen = ((a[:, None] < ages) & (ages <= b[:, None])).any(axis=0)
    if not seen.all():
        row = int(np.flatnonzero(~seen)[0])
        raise LifeDataError(
            f"failure {row + 1}: age {ages[row]:g} lies in no hull's window; it was not under "
            "observation."
        )
    n, log_sum = ages.size, float(np.log(ages).sum())

    def powered(shape: float, order: int) -> float:
        """Sum over hulls of t^shape (log t)^order between start and end."""
        later = b**shape * np.log(b) ** order
        positive = a > 0
        return float(later.sum() - (a[positive] ** shape * np.log(a[positive]) ** order).sum())

    def slope(log_shape: float) -> float:
        shape = float(np.exp(log_shape))
        return n / shape + log_sum - n * powered(shape, 1) / powered(shape, 0)

    steepest = np.log(50.0)
    if slope(steepest) > 0 or slope(np.log(1e-3)) < 0:
        raise LifeDataError(
            "The failures lie at the very end (or start) of the windows: the trend has no finite "
            "shape. Follow the hulls for longer."
        )
    log_shape = float(brentq(slope, np.log(1e-3), steepest, xtol=1e-13))
    shape = float(np.exp(log_shape))
    rate = n / powered(shape, 0)
    ratio = powered(shape, 1) / powered(shape, 0)
    information = n / shape**2 + n * (powered(shape, 2) / powered(shape, 0) - ratio**2)
    half = normal_deviate(confidence) / (shape * np.sqrt(information))
    limits = Estimate(
        shape, shape * float(np.exp(-half)), shape * float(np.exp(half)), confidence, "Wald on log"
    )
    return FleetTrend(
        shape=limits,
        rate=rate,
        log_likelihood=n * float(np.log(rate * shape)) + (shape - 1.0) * log_sum - n,
        n_hulls=a.size,
        n_failures=n,
        method="power law by maximum likelihood over (start, end] of each hull",
        source=HANDBOOK,
    )


def _crow_mtbf_limits(unbiased_mtbf: float, n: int, confidence: float) -> Estimate:
    z = normal_deviate(confidence)
    room = n - z * np.sqrt(n / 2.0)
    low = n * (n - 1.0) / (n + z**2 / 4.0 + np.sqrt(n * z**2 / 2.0 + z**4 / 16.0)) ** 2
    high = n * (n - 1.0) / room**2 if room > 0 else np.inf
    return Estimate(
        unbiased_mtbf,
        unbiased_mtbf * float(low),
        unbiased_mtbf * float(high),
        confidence,
        "Crow's approximation about the modified estimate, record ended by time",
    )


def _exact_mtbf_limits(mtbf: float, n: int, confidence: float) -> Estimate:
    """Exact: estimate over truth is a product of chi-squares on 2n and 2n - 2, over 4 n^2."""
    # The mean over one factor, by its own chances, of the other's chance to stay below;
    # 400 nodes leave limits right to about 1e-6.
    nodes, weights = np.polynomial.legendre.leggauss(400)
    one = scipy.stats.chi2.ppf(0.5 * (nodes + 1.0), 2 * n - 2)

    def chance_below(product: float) -> float:
        return float(0.5 * weights @ gammainc(n, 0.5 * product / one))

    def quantile(chance: float) -> float:
        ends = (
            scipy.stats.chi2.ppf([1e-9, 1.0 - 1e-9], 2 * n),
            scipy.stats.chi2.ppf([1e-9, 1.0 - 1e-9], 2 * n - 2),
        )
        low, high = (float(ends[0][k] * ends[1][k]) for k in (0, 1))
        return float(brentq(lambda p: chance_below(p) - chance, low, high, rtol=1e-10))

    tail = (1.0 - confidence) / 2.0
    scale = 4.0 * n * n * mtbf
    return Estimate(
        mtbf,
        scale / quantile(1.0 - tail),
        scale / quantile(tail),
        confidence,
        "exact about the maximum likelihood estimate, record ended by its last failure",
    )


def _last(failure_ages: ArrayLike) -> float:
    ages = number_column("failure age", failure_ages)
    if ages.size == 0:
        raise LifeDataError("There are no failures; a trend needs at least three.")
    return float(ages.max())


def _cramer_von_mises(shares: Floats) -> Floats:
    """The statistic of each row of sorted shares of the record, unbiased shape put in."""
    n = shares.shape[1]
    unbiased = (n - 1.0) / -np.log(shares).sum(axis=1, keepdims=True)
    middle = (2.0 * np.arange(1, n + 1) - 1.0) / (2.0 * n)
    return np.asarray(1.0 / (12.0 * n) + ((shares**unbiased - middle) ** 2).sum(axis=1))


def _checked(failure_ages: ArrayLike, end: float, fewest: int = 2) -> Floats:
    ages = number_column("failure age", failure_ages)
    if ages.size < fewest:
        raise LifeDataError(f"{ages.size} failures do not show a trend; give at least {fewest}.")
    is_bad = ~((ages > 0) & (ages <= end))
    if is_bad.any():
        row = int(np.flatnonzero(is_bad)[0])
        raise LifeDataError(f"failure {row + 1}: age {ages[row]:g} is not in (0, {end:g}].")
    return ages
