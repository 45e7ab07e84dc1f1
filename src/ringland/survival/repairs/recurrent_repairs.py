"""Repairs that recur on the same hull: the mean cumulative number by age.

The hull slot is repairable, so its repairs are counted, not its life: the estimate is the
mean number of repairs a hull has had by an age, with hulls coming and going.  Its limits
treat the hull, not the repair, as the independent unit.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from ringland.survival.estimates import CONFIDENCE, normal_deviate
from ringland.survival.lives.life_data import Floats, LifeDataError

SOURCE = (
    "Nelson (1995), Technometrics 37:147-157; Lawless and Nadeau (1995), Technometrics "
    "37:158-168; Meeker and Escobar (1998), chapter 16"
)


@dataclass(frozen=True)
class MeanCumulativeFunction:
    """Mean number of repairs per hull by age, a step per repair age.

    `robust_error` is the square root of the sum over hulls of squared deviations of each
    hull's course from the mean, divisor number at risk (Lawless and Nadeau); limits use it.
    `poisson_error` would hold if repairs came at random; compare the two.
    """

    age: Floats
    at_risk: Floats
    repairs: Floats
    mean: Floats
    robust_error: Floats
    poisson_error: Floats
    low: Floats
    high: Floats
    n_hulls: int
    n_repairs: int
    confidence: float
    limits: Literal["log", "plain"]
    method: str
    source: str

    def at(self, ages: ArrayLike) -> Floats:
        """Mean, robust error, Poisson error, low and high (columns) at given ages (rows)."""
        wanted = np.atleast_1d(np.asarray(ages, dtype=np.float64))
        step = np.searchsorted(self.age, wanted, side="right") - 1
        columns = (self.mean, self.robust_error, self.poisson_error, self.low, self.high)
        return np.column_stack(
            [np.where(step >= 0, column[np.maximum(step, 0)], 0.0) for column in columns]
        )


def mean_cumulative_function(
    hull: Sequence[Hashable],
    start: ArrayLike,
    end: ArrayLike,
    repair_hull: Sequence[Hashable],
    repair_age: ArrayLike,
    *,
    confidence: float = CONFIDENCE,
    limits: Literal["log", "plain"] = "log",
) -> MeanCumulativeFunction:
    """Mean cumulative number of repairs per hull, from observation windows (start, end].

    A hull may have several windows that do not overlap; a repair at a window's end counts.

    Raises:
        LifeDataError: a window is empty, windows of a hull overlap, a repair lies outside
            its hull's windows, or there are no repairs.
    """
    from_, to = np.asarray(start, dtype=np.float64), np.asarray(end, dtype=np.float64)
    ages = np.atleast_1d(np.asarray(repair_age, dtype=np.float64))
    number = {name: k for k, name in enumerate(dict.fromkeys(hull))}
    _check_windows(hull, from_, to, repair_hull, ages)
    at = np.unique(ages)
    n_hulls = len(number)
    # Presence of each hull at each repair age, and its repairs there.
    present = np.zeros((n_hulls, at.size))
    for name, a, b in zip(hull, from_, to, strict=True):
        present[number[name]] += (a < at) & (at <= b)
    own = np.zeros((n_hulls, at.size))
    rows = np.array([number[name] for name in repair_hull])
    np.add.at(own, (rows, np.searchsorted(at, ages)), 1.0)
    at_risk, repairs = present.sum(axis=0), own.sum(axis=0)
    mean = np.cumsum(repairs / at_risk)
    course = np.cumsum(present * (own - repairs / at_risk) / at_risk, axis=1)
    robust = np.sqrt((course**2).sum(axis=0))
    poisson = np.sqrt(np.cumsum(repairs / at_risk**2))
    half = normal_deviate(confidence) * robust
    if limits == "log":
        low, high = mean * np.exp(-half / mean), mean * np.exp(half / mean)
    else:
        low, high = np.maximum(mean - half, 0.0), mean + half
    return MeanCumulativeFunction(
        age=at,
        at_risk=at_risk,
        repairs=repairs,
        mean=mean,
        robust_error=robust,
        poisson_error=poisson,
        low=low,
        high=high,
        n_hulls=n_hulls,
        n_repairs=ages.size,
        confidence=confidence,
        limits=limits,
        method=f"mean cumulative function over (start, end], Lawless-Nadeau variance by hull "
        f"(divisor number at risk), {limits} limits",
        source=SOURCE,
    )


def _check_windows(
    hull: Sequence[Hashable],
    start: Floats,
    end: Floats,
    repair_hull: Sequence[Hashable],
    ages: Floats,
) -> None:
    if ages.size == 0:
        raise LifeDataError("There are no repairs; the mean cumulative number is 0 throughout.")
    windows: dict[Hashable, list[tuple[float, float]]] = {}
    for row, (name, a, b) in enumerate(zip(hull, start, end, strict=True), start=1):
        if not 0.0 <= a < b < np.inf:
            raise LifeDataError(
                f"window row {row} (hull {name}): start {a:g}, end {b:g}; give 0 <= start < end."
            )
        if any(a < other_b and other_a < b for other_a, other_b in windows.get(name, [])):
            raise LifeDataError(
                f"window row {row} (hull {name}): ({a:g}, {b:g}] overlaps another of its windows."
            )
        windows.setdefault(name, []).append((a, b))
    for row, (name, age) in enumerate(zip(repair_hull, ages, strict=True), start=1):
        if not any(a < age <= b for a, b in windows.get(name, [])):
            raise LifeDataError(
                f"repair row {row} (hull {name}): age {age:g} lies in none of the hull's windows; "
                "correct the age or add the window."
            )
