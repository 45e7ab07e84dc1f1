"""How many last how long: Kaplan-Meier and Nelson-Aalen with delayed entry.

A life is at risk over (entry, exit], so a life that enters at the hour of a failure was
not at risk of it, and one that leaves at that hour was.  With delayed entry the risk set
can empty while most lives are still to come; the estimates then say so and can be asked
for from a later age instead.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.estimates import CONFIDENCE, Estimate, normal_deviate
from ringland.survival.lives.life_data import CensoredLives, Floats, LifeDataError, ended_lives

Scale = Literal["plain", "log", "log-log"]
SOURCE = "Klein and Moeschberger (1997), Survival Analysis, chapter 4; Greenwood's variance"


@dataclass(frozen=True)
class RiskCounts:
    """At each distinct exit time: lives at risk, failures and lives that left unfailed."""

    time: Floats
    at_risk: Floats
    failures: Floats
    censored: Floats
    from_age: float
    n_before: float
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class LifeTable:
    """A step estimate with pointwise limits, right-continuous, one row per exit time.

    `estimate` is survival (starting at 1) or cumulative hazard (starting at 0), `limits`
    the scale they stand on, `n_before` the lives that had ended by `from_age`.
    """

    quantity: Literal["survival", "cumulative hazard"]
    time: Floats
    at_risk: Floats
    failures: Floats
    censored: Floats
    estimate: Floats
    standard_error: Floats
    low: Floats
    high: Floats
    from_age: float
    n_before: float
    confidence: float
    limits: Scale
    method: str
    source: str
    warnings: tuple[str, ...]

    def at(self, times: ArrayLike) -> LifeTable:
        """The estimate at given ages; beyond the last exit it is not known (nan)."""
        wanted = np.atleast_1d(np.asarray(times, dtype=np.float64))
        row = np.searchsorted(self.time, wanted, side="right") - 1
        start = 1.0 if self.quantity == "survival" else 0.0
        known = (wanted >= self.from_age) & (wanted <= self.time[-1])
        is_over = self.quantity == "survival" and self.estimate[-1] == 0.0
        known |= is_over & (wanted > self.time[-1])

        def pick(column: Floats, before: float) -> Floats:
            value = np.where(row >= 0, column[np.maximum(row, 0)], before)
            return np.where(known, value, np.nan)

        return LifeTable(
            quantity=self.quantity,
            time=wanted,
            at_risk=_at_risk_at(self, wanted),
            failures=pick(np.cumsum(self.failures), 0.0),
            censored=pick(np.cumsum(self.censored), 0.0),
            estimate=pick(self.estimate, start),
            standard_error=pick(self.standard_error, 0.0),
            low=pick(self.low, start),
            high=pick(self.high, start),
            from_age=self.from_age,
            n_before=self.n_before,
            confidence=self.confidence,
            limits=self.limits,
            method=self.method + "; failures and censored counted from the start",
            source=self.source,
            warnings=self.warnings,
        )


def risk_counts(lives: CensoredLives, *, from_age: float = 0.0) -> RiskCounts:
    """Lives at risk over (entry, exit], failures and censorings at each exit time.

    Lives that ended by `from_age` are counted in `n_before` and take no part; the rest are
    at risk from `from_age` at the earliest.

    Raises:
        LifeDataError: a failure is known only within bounds, or nobody outlived `from_age`.
    """
    if lives.is_bounded.any():
        row = int(np.flatnonzero(lives.is_bounded)[0]) + 1
        raise LifeDataError(
            f"row {row}: the failure lies between {lives.lower[row - 1]:g} and "
            f"{lives.upper[row - 1]:g}; use inspection_life_table for lives with bounds."
        )
    stays = lives.lower > from_age
    n_before = float(lives.count[~stays].sum())
    if not stays.any():
        raise LifeDataError(f"No life was seen beyond {from_age:g}; choose a lower from_age.")
    entry = np.maximum(lives.entry[stays], from_age)
    end, count, failed = lives.lower[stays], lives.count[stays], lives.is_exact[stays]
    time = np.unique(end)
    rows = np.searchsorted(time, end)
    failures = np.bincount(rows, count * failed, time.size).astype(np.float64)
    censored = np.bincount(rows, count * ~failed, time.size).astype(np.float64)
    left_before = np.concatenate(([0.0], np.cumsum(failures + censored)[:-1]))
    order = np.argsort(entry, kind="stable")
    entered = np.concatenate(([0.0], np.cumsum(count[order])))
    at_risk = entered[np.searchsorted(entry[order], time, side="left")] - left_before
    warnings = _warnings((time, at_risk, failures), entry, end, count, from_age)
    return RiskCounts(time, at_risk, failures, censored, from_age, n_before, warnings)


def kaplan_meier(
    exit_: ArrayLike,
    is_failure: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    count: ArrayLike | None = None,
    from_age: float = 0.0,
    confidence: float = CONFIDENCE,
    limits: Scale = "log-log",
) -> LifeTable:
    """Kaplan-Meier survival, given alive at `from_age`, with Greenwood limits.

    Before the first failure the limits equal the estimate, 1: Greenwood's variance is 0
    there.  Once survival is 0, limits on the log and log-log scales do not exist (nan).
    """
    lives = ended_lives(exit_, is_failure, entry=entry, count=count)
    return survival_of_counts(
        risk_counts(lives, from_age=from_age), confidence=confidence, limits=limits
    )


def survival_of_counts(
    counts: RiskCounts, *, confidence: float = CONFIDENCE, limits: Scale = "log-log"
) -> LifeTable:
    """Kaplan-Meier survival from counts already made."""
    survival = np.asarray(np.cumprod(1.0 - counts.failures / counts.at_risk), dtype=np.float64)
    left = counts.at_risk - counts.failures
    with np.errstate(divide="ignore", invalid="ignore"):
        step = np.where(counts.failures > 0, counts.failures / (counts.at_risk * left), 0.0)
        spread = np.sqrt(np.cumsum(step))  # standard error of log survival
        error = np.where(survival > 0, survival * spread, np.nan)
    low, high = survival_limits(survival, error, confidence, limits)
    return LifeTable(
        quantity="survival",
        time=counts.time,
        at_risk=counts.at_risk,
        failures=counts.failures,
        censored=counts.censored,
        estimate=survival,
        standard_error=error,
        low=low,
        high=high,
        from_age=counts.from_age,
        n_before=counts.n_before,
        confidence=confidence,
        limits=limits,
        method=f"Kaplan-Meier over (entry, exit], Greenwood variance, {limits} limits",
        source=SOURCE,
        warnings=counts.warnings,
    )


def nelson_aalen(
    exit_: ArrayLike,
    is_failure: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    count: ArrayLike | None = None,
    from_age: float = 0.0,
    confidence: float = CONFIDENCE,
    limits: Literal["plain", "log"] = "log",
) -> LifeTable:
    """Nelson-Aalen cumulative hazard from `from_age`, with limits from Aalen's variance.

    The variance is the sum of failures over squared numbers at risk.  Limits on the log
    scale do not exist before the first failure; they equal the estimate, 0, there.
    """
    lives = ended_lives(exit_, is_failure, entry=entry, count=count)
    counts = risk_counts(lives, from_age=from_age)
    hazard = np.cumsum(counts.failures / counts.at_risk)
    error = np.sqrt(np.cumsum(counts.failures / counts.at_risk**2))
    half = normal_deviate(confidence) * error
    if limits == "plain":
        low, high = np.maximum(hazard - half, 0.0), hazard + half
    else:
        ratio = np.exp(np.divide(half, hazard, out=np.zeros_like(half), where=hazard > 0))
        low, high = hazard / ratio, hazard * ratio
    return LifeTable(
        quantity="cumulative hazard",
        time=counts.time,
        at_risk=counts.at_risk,
        failures=counts.failures,
        censored=counts.censored,
        estimate=hazard,
        standard_error=error,
        low=low,
        high=high,
        from_age=counts.from_age,
        n_before=counts.n_before,
        confidence=confidence,
        limits=limits,
        method=f"Nelson-Aalen over (entry, exit], Aalen's variance, {limits} limits",
        source=SOURCE,
        warnings=counts.warnings,
    )


def survival_limits(
    survival: Floats, error: Floats, confidence: float, scale: Scale
) -> tuple[Floats, Floats]:
    """Pointwise limits of a survival (or any chance) on the stated scale, within [0, 1]."""
    deviate = normal_deviate(confidence)
    # Where survival is all but 1 or 0 a limit runs to its end: exp overflows to infinity.
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):
        if scale == "plain":
            low, high = survival - deviate * error, survival + deviate * error
        elif scale == "log":
            ratio = np.exp(deviate * error / survival)
            low, high = survival / ratio, survival * ratio
        elif scale == "log-log":
            log_survival = np.log(survival)
            ratio = np.exp(deviate * error / (survival * np.abs(log_survival)))
            low, high = np.exp(log_survival * ratio), np.exp(log_survival / ratio)
        else:
            raise ValueError(f"limits are {scale!r}; choose plain, log or log-log.")
    is_certain = survival == 1.0
    low, high = np.where(is_certain, 1.0, low), np.where(is_certain, 1.0, high)
    return np.clip(low, 0.0, 1.0), np.clip(high, 0.0, 1.0)


def quantile_life(table: LifeTable, share_failed: float = 0.5) -> Estimate:
    """The first age by which `share_failed` have failed; 0.5 gives the median life.

    Limits are the ages at which the survival limits pass the same level (Brookmeyer and
    Crowley).  Infinity: the level is not reached within the record.
    """
    if table.quantity != "survival":
        raise ValueError("quantile_life needs a survival table; call kaplan_meier first.")
    level = 1.0 - share_failed

    def first(curve: Floats) -> float:
        # A survival made of products can miss an exact level by a rounding.
        reached = np.flatnonzero(curve <= level + 1e-12)
        return float(table.time[reached[0]]) if reached.size else float("inf")

    # Where survival is 0 its limits do not exist; the level is certainly passed below.
    low_curve = np.where(table.estimate == 0.0, 0.0, table.low)
    return Estimate(
        first(table.estimate),
        first(low_curve),
        first(table.high),
        table.confidence,
        f"first age with survival at or below {level:g}; {table.method}",
    )


def _at_risk_at(table: LifeTable, wanted: Floats) -> Floats:
    """Numbers at risk at the next exit time: no life leaves between the two."""
    row = np.searchsorted(table.time, wanted, side="left")
    inside = row < table.time.size
    return np.where(inside, table.at_risk[np.minimum(row, table.time.size - 1)], 0.0)


def _warnings(
    counts: tuple[Floats, Floats, Floats],
    entry: Floats,
    end: Floats,
    count: Floats,
    from_age: float,
) -> tuple[str, ...]:
    """What the risk set's gaps do to the estimate, in words; empty when it never empties."""
    time, at_risk, failures = counts
    found = []
    if not failures.any():
        found.append(
            "no failures: the limits have no width, which is no certainty. Use "
            "zero_failure_bound for what the hours run do prove."
        )
    if (first_entry := float(entry.min())) > from_age:
        found.append(
            f"no life was under observation before {first_entry:g}: survival from {from_age:g} "
            f"to there is taken as certain. Ask from from_age={first_entry:g} instead."
        )
    emptied = np.flatnonzero((failures > 0) & (failures >= at_risk) & (time < time[-1]))
    if emptied.size:
        first, last = float(time[emptied[0]]), float(time[emptied[-1]])
        to_come = float(count[end > first].sum())
        found.append(
            f"all lives at risk at {first:g} failed there while {to_come:g} lives were seen only "
            f"later: survival is 0 from {first:g} because of how few had entered, not because "
            f"none last longer. Ask from a later age (from_age at or above {last:g}), or use a "
            f"fitted life distribution."
        )
    entered = np.searchsorted(np.sort(entry), time, side="right")
    left = np.searchsorted(np.sort(end), time, side="right")
    for t in time[(entered == left) & (failures < at_risk) & (time < time[-1])]:
        again = float(entry[entry > t].min())
        found.append(
            f"no life was under observation from {t:g} to {again:g}: the estimate stands still "
            f"there for want of record, not for want of failures."
        )
    return tuple(found)
