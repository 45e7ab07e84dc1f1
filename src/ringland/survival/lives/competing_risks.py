"""Chance of each way to end, with the other ways competing: Aalen-Johansen.

Cumulative incidence is the chance to have failed by one mode, given that any mode ends the
life; one minus Kaplan-Meier of the mode alone overstates it.  Ties are exact and lives are
at risk over (entry, exit].
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ringland.survival.estimates import CONFIDENCE
from ringland.survival.lives.life_data import (
    CensoredLives,
    Flags,
    Floats,
    LifeDataError,
    ended_lives,
)
from ringland.survival.lives.life_tables import RiskCounts, Scale, risk_counts, survival_limits

Variance = Literal["infinitesimal jackknife", "Aalen"]
SOURCES = {
    "infinitesimal jackknife": "Aalen and Johansen (1978), Scand. J. Stat. 5:141-150; variance "
    "as the sum of squared influences of lives (or of clusters of lives)",
    "Aalen": "Aalen and Johansen (1978), Scand. J. Stat. 5:141-150; Aalen-type variance with "
    "hypergeometric increments, as in Gray's cuminc",
}


@dataclass(frozen=True)
class CumulativeIncidence:
    """Chance to have ended by each cause, a step per exit time; one row per cause.

    `survival` is the chance to have ended by none; with the incidences it adds to 1.
    `low` and `high` are pointwise limits of each incidence on the stated scale.
    """

    causes: tuple[str, ...]
    time: Floats
    at_risk: Floats
    failures: Floats
    incidence: Floats
    standard_error: Floats
    low: Floats
    high: Floats
    survival: Floats
    from_age: float
    n_before: float
    confidence: float
    limits: Scale
    method: str
    source: str
    warnings: tuple[str, ...]

    def of(self, cause: str) -> int:
        """The row of a cause in `incidence` and the other tables.

        Raises:
            KeyError: no life ended by that cause; names those that did.
        """
        if cause not in self.causes:
            raise KeyError(f"no life ended by {cause!r}; causes: {', '.join(self.causes)}")
        return self.causes.index(cause)

    def at(self, cause: str, times: ArrayLike) -> Floats:
        """Incidence, standard error, low and high (columns) at given ages (rows).

        Not known (nan) beyond the last exit, unless no life is left.
        """
        wanted = np.atleast_1d(np.asarray(times, dtype=np.float64))
        row, step = self.of(cause), np.searchsorted(self.time, wanted, side="right") - 1
        known = (wanted >= self.from_age) & ((wanted <= self.time[-1]) | (self.survival[-1] == 0.0))
        columns = []
        for table in (self.incidence, self.standard_error, self.low, self.high):
            value = np.where(step >= 0, table[row][np.maximum(step, 0)], 0.0)
            columns.append(np.where(known, value, np.nan))
        return np.column_stack(columns)


def aalen_johansen(
    exit_: ArrayLike,
    cause: Sequence[str | None],
    *,
    entry: ArrayLike | None = None,
    count: ArrayLike | None = None,
    cluster: Sequence[str | None] | None = None,
    from_age: float = 0.0,
    variance: Variance = "infinitesimal jackknife",
    confidence: float = CONFIDENCE,
    limits: Scale = "log-log",
) -> CumulativeIncidence:
    """Cumulative incidence of every cause; a null cause is a life still running.

    With `cluster` (e.g. the hull) influences are summed within clusters before squaring;
    a null cluster is a cluster of its own.  Log-log limits stand on 1 - incidence.

    Raises:
        LifeDataError: as for `ended_lives`, or no life has ended.
        ValueError: clusters are asked for with Aalen's variance, which has none.
    """
    if variance not in SOURCES:
        raise ValueError(f"variance is {variance!r}; choose one of {', '.join(SOURCES)}.")
    if cluster is not None and variance == "Aalen":
        raise ValueError("Aalen's variance takes lives as independent; use the jackknife.")
    for row, c in enumerate(cause):
        if c is not None and not (isinstance(c, str) and c):
            what = "an empty text" if c == "" else f"{c!r}"
            raise LifeDataError(
                f"row {row + 1}: the cause is {what}; give its name, or null for a life still "
                "running."
            )
    if cluster is not None and len(cluster) != len(cause):
        raise LifeDataError(f"cluster has {len(cluster)} rows, cause has {len(cause)}.")
    has_ended = np.array([c is not None for c in cause], dtype=bool)
    lives = ended_lives(exit_, has_ended, entry=entry, count=count)
    counts = risk_counts(lives, from_age=from_age)
    stays = lives.lower > from_age
    causes = tuple(sorted({c for c, kept in zip(cause, stays, strict=True) if c and kept}))
    if not causes:
        raise LifeDataError("No life has ended by any cause; there is no incidence to show.")
    number = {c: k for k, c in enumerate(causes)}
    cause_row = np.array(
        [number[c] if c and kept else -1 for c, kept in zip(cause, stays, strict=True)]
    )
    step = np.searchsorted(counts.time, lives.lower)
    failures = np.zeros((len(causes), counts.time.size))
    ended = cause_row >= 0
    np.add.at(failures, (cause_row[ended], step[ended]), lives.count[ended])

    survival = np.asarray(np.cumprod(1.0 - counts.failures / counts.at_risk), dtype=np.float64)
    before = np.concatenate(([1.0], survival[:-1]))
    incidence = np.cumsum(before * failures / counts.at_risk, axis=1)
    if variance == "Aalen":
        squared = _aalen_variance(counts, failures, before, survival, incidence)
    else:
        groups = None if cluster is None else _cluster_numbers(cluster)[stays]
        squared = _jackknife_variance(
            counts, failures, before, lives, stays=stays, cause_row=cause_row, groups=groups
        )
    error = np.sqrt(squared)
    low, high = _incidence_limits(incidence, error, confidence, limits)
    return CumulativeIncidence(
        causes=causes,
        time=counts.time,
        at_risk=counts.at_risk,
        failures=failures,
        incidence=incidence,
        standard_error=error,
        low=low,
        high=high,
        survival=survival,
        from_age=from_age,
        n_before=counts.n_before,
        confidence=confidence,
        limits=limits,
        method=f"Aalen-Johansen over (entry, exit], {variance} variance"
        f"{' by cluster' if cluster is not None else ''}, {limits} limits",
        source=SOURCES[variance],
        warnings=counts.warnings,
    )


def _incidence_limits(
    incidence: Floats, error: Floats, confidence: float, limits: Scale
) -> tuple[Floats, Floats]:
    if limits == "log-log":
        low, high = survival_limits(1.0 - incidence, error, confidence, limits)
        return 1.0 - high, 1.0 - low
    low, high = survival_limits(incidence, error, confidence, limits)
    is_none = incidence == 0.0
    return np.where(is_none, 0.0, low), np.where(is_none, 0.0, high)


def _aalen_variance(
    counts: RiskCounts, failures: Floats, before: Floats, survival: Floats, incidence: Floats
) -> Floats:
    """Variance with hypergeometric increments, the cause and all others independent.

    The sum over exit times u of S(u-)^2 [(1 - a)^2 v(d, Y) + a^2 v(e, Y)], where
    a = (F(t) - F(u)) / S(u), d failures by the cause, e by the others, and
    v(d, Y) = d (Y - d) / (Y^2 (Y - 1)).  This is the form Gray's cuminc states.
    """
    Y = counts.at_risk
    left = np.divide(1.0, survival, out=np.zeros_like(survival), where=survival > 0)

    def increments(d: Floats) -> Floats:
        # A single failure keeps its Poisson-like size even where it is the last at risk.
        finite = np.where(d > 1, (Y - d) / np.maximum(Y - 1.0, 1.0), 1.0)
        return before**2 * finite * d / Y**2

    others = np.where(survival > 0, increments(counts.failures - failures), 0.0)
    own = increments(failures)
    reach = incidence * left
    v1 = np.cumsum((1.0 + reach) ** 2 * own + reach**2 * others, axis=1)
    v2 = np.cumsum(left * ((1.0 + reach) * own + reach * others), axis=1)
    v3 = np.cumsum(left**2 * (own + others), axis=1)
    return np.maximum(v1 - 2.0 * incidence * v2 + incidence**2 * v3, 0.0)


def _jackknife_variance(
    counts: RiskCounts,
    failures: Floats,
    before: Floats,
    lives: CensoredLives,
    *,
    stays: Flags,
    cause_row: NDArray[np.int64],
    groups: NDArray[np.int64] | None,
) -> Floats:
    """Sum of squared influences: the derivative of each incidence by each life's weight."""
    exit_, count, cause = lives.lower[stays], lives.count[stays], cause_row[stays]
    entry = np.maximum(lives.entry[stays], counts.from_age)
    n_causes, n_times = failures.shape
    of_survival = np.zeros(exit_.size)
    of_incidence = np.zeros((n_causes, exit_.size))
    squared = np.zeros((n_causes, n_times))
    causes = np.arange(n_causes)[:, None]
    for j, (t, Y, all_failures) in enumerate(
        zip(counts.time, counts.at_risk, counts.failures, strict=True)
    ):
        if all_failures > 0:
            present = ((entry < t) & (exit_ >= t)) / Y
            failed = ((exit_ == t) & (cause == causes)) / Y
            share = failures[:, j] / Y
            surprise = before[j] * (failed - np.outer(share, present))
            of_incidence += np.outer(share, of_survival) + surprise
            of_survival = of_survival * (1.0 - all_failures / Y) - surprise.sum(axis=0)
        if groups is not None:
            for k in range(n_causes):
                sums = np.bincount(groups, count * of_incidence[k])
                squared[k, j] = sums @ sums
        else:
            squared[:, j] = of_incidence**2 @ count
    return squared


def _cluster_numbers(cluster: Sequence[str | None]) -> NDArray[np.int64]:
    """A number per life, the same within a cluster; a null cluster gets its own."""
    numbers: dict[object, int] = {}
    return np.array(
        [
            numbers.setdefault((row,) if c is None else c, len(numbers))
            for row, c in enumerate(cluster)
        ]
    )
