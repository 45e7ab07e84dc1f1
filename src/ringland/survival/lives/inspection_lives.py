"""Survival when failures are found at inspections: the nonparametric likelihood estimate.

A failure known to lie in (lower, upper] shares its chance among the innermost intervals
that the inspections leave; where inside such an interval the failures fall, the record
does not say.  No limits are given: with inspection data the estimate converges too slowly
for the usual ones to hold (bootstrap included); fit a life distribution for limits.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.optimize import isotonic_regression, nnls

from ringland.survival.lives.life_data import CensoredLives, Flags, Floats, LifeDataError
from ringland.survival.spell_checks import Ints

SOURCE = (
    "Turnbull (1976), J. Roy. Stat. Soc. B 38:290-295; Frydman (1994) for delayed entry; "
    "computed by the constrained Newton method of Wang (2008), Comput. Stat. Data Anal. 52"
)
# Share of the lives by which the likelihood could still rise per unit of moved chance.
GAP = 1e-8
LONGEST_SEARCH = 5_000


@dataclass(frozen=True)
class InspectionLifeTable:
    """Chance of failing in each innermost interval (lower, upper]; equal ends: at that age.

    `survival` is the chance to outlive `upper`.  An infinite `upper` is the chance to
    outlive every inspection.
    """

    lower: Floats
    upper: Floats
    chance: Floats
    survival: Floats
    n_lives: float
    n_failures: float
    log_likelihood: float
    method: str
    source: str
    warnings: tuple[str, ...]

    def survival_bounds(self, ages: ArrayLike) -> Floats:
        """Lowest and highest survival the estimate leaves open at each age, a row each."""
        age = np.atleast_1d(np.asarray(ages, dtype=np.float64))[:, None]
        surely_failed = (self.upper <= age) @ self.chance
        maybe_failed = ((self.lower < age) | (self.upper <= age)) @ self.chance
        return np.clip(np.column_stack([1.0 - maybe_failed, 1.0 - surely_failed]), 0.0, 1.0)


@dataclass(frozen=True)
class InspectedOnce:
    """Share failed by each inspection age, forced to rise with age; counts behind each."""

    age: Floats
    inspected: Floats
    failed: Floats
    share_failed: Floats
    method: str
    source: str


def inspected_once(age: ArrayLike, inspected: ArrayLike, failed: ArrayLike) -> InspectedOnce:
    """The exact estimate when each life was looked at once: isotonic share failed.

    Raises:
        LifeDataError: more failed than inspected, none inspected, or an age not positive.
    """
    ages, n, d = (np.asarray(column, dtype=np.float64) for column in (age, inspected, failed))
    is_bad = (ages <= 0) | (n <= 0) | (d < 0) | (d > n) | np.isnan(ages + n + d)
    if is_bad.any():
        row = int(np.flatnonzero(is_bad)[0])
        raise LifeDataError(
            f"row {row + 1}: age {ages[row]:g}, inspected {n[row]:g}, failed {d[row]:g}; give a "
            "positive age and failed between 0 and inspected."
        )
    distinct, rows = np.unique(ages, return_inverse=True)
    looked, found = np.bincount(rows, n), np.bincount(rows, d)
    share = isotonic_regression(found / looked, weights=looked).x
    return InspectedOnce(
        distinct,
        looked.astype(np.float64),
        found.astype(np.float64),
        np.asarray(share, dtype=np.float64),
        "nonparametric maximum likelihood, pool adjacent violators",
        "Ayer et al. (1955), Ann. Math. Stat. 26:641-647",
    )


def inspection_life_table(lives: CensoredLives) -> InspectionLifeTable:
    """The nonparametric maximum likelihood survival of lives with bounds.

    Exact, running and bounded lives may be mixed; delayed entry conditions each life on
    having lasted to its entry.
    """
    lower, upper = _innermost_intervals(lives)
    inside = (lives.lower[:, None] <= lower) & (upper <= lives.upper[:, None])
    # An exact failure lies at its age, not in the interval that ends there.
    exact = lives.is_exact[:, None]
    inside &= ~exact | (lower == upper)
    starts_at_open_end = (lower == upper) & (lower == lives.lower[:, None]) & ~exact
    inside &= ~starts_at_open_end
    entry = lives.entry[:, None]
    seen = np.where(lower == upper, lower > entry, lower >= entry)
    warnings: tuple[str, ...] = ()
    if lives.entry.any():
        chance, settled = _expectation_maximisation(inside, seen, lives.count)
        if not settled:
            warnings = (
                "the search stopped before its gap closed: delayed entry leaves the estimate "
                "all but open somewhere; compare it with a fitted life distribution before use.",
            )
    else:
        chance = _constrained_newton(inside, lives.count)
    log_likelihood = float(lives.count @ (np.log(inside @ chance) - np.log(seen @ chance)))
    kept = chance > 1e-10  # mass left by rounding, not by the record
    lower, upper, chance = lower[kept], upper[kept], chance[kept] / chance[kept].sum()
    return InspectionLifeTable(
        lower=lower,
        upper=upper,
        chance=chance,
        survival=np.clip(1.0 - np.cumsum(chance), 0.0, 1.0),
        n_lives=lives.n_lives,
        n_failures=lives.n_failures,
        log_likelihood=log_likelihood,
        method="nonparametric maximum likelihood over innermost intervals; no limits (see module)",
        source=SOURCE,
        warnings=warnings,
    )


def _innermost_intervals(lives: CensoredLives) -> tuple[Floats, Floats]:
    """Intervals from a left end to the next right end with no other end between.

    Ends at one age are ordered: an exact failure opens before, closed right ends come
    next, and open left ends last.  Entries also end an interval (Frydman).
    """
    exact = lives.is_exact
    late = lives.entry[lives.entry > 0]
    values = np.concatenate([lives.lower[exact], lives.upper, late, lives.lower[~exact], late])
    order = np.concatenate(
        [
            np.zeros(exact.sum()),
            np.ones(lives.upper.size + late.size),
            np.full((~exact).sum() + late.size, 2.0),
        ]
    )
    ends = np.unique(np.column_stack([values, order]), axis=0)
    is_right = ends[:, 1] == 1.0
    opens = np.flatnonzero(~is_right[:-1] & is_right[1:])
    return ends[opens, 0], ends[opens + 1, 0]


def _constrained_newton(inside: Flags, count: Floats) -> Floats:
    """Chances that maximise the sum of count x log(inside @ chance)."""
    weight = np.sqrt(count)[:, None]
    chance = np.full(inside.shape[1], 1.0 / inside.shape[1])
    for _ in range(LONGEST_SEARCH):
        given = inside @ chance
        ratio = inside / given[:, None]
        if (count @ ratio).max() <= count.sum() * (1.0 + GAP):
            break
        # Quadratic model with the sum held at 1 by one more row (Dax 1990).
        rows = np.vstack([weight * (ratio - 2.0), np.ones(chance.size)])
        goal = np.concatenate([np.zeros(count.size), [1.0]])
        target = nnls(rows, goal)[0]
        target /= target.sum()
        move, length = target - chance, 1.0
        here, slope = float(count @ np.log(given)), float((count @ ratio) @ move)
        while length > 1e-12:
            there = inside @ (chance + length * move)
            if there.min() > 0 and count @ np.log(there) >= here + 0.1 * length * slope:
                break
            length *= 0.5
        else:
            break  # no step improves: rounding is reached
        chance = np.maximum(chance + length * move, 0.0)
        chance /= chance.sum()
    return chance


@dataclass(frozen=True)
class _Tails:
    """Rows that hold every column from their first on, so that sums over them are running sums."""

    first: Ints
    n_columns: int

    @classmethod
    def of(cls, holds: Flags) -> _Tails:
        first = np.where(holds.any(axis=1), holds.argmax(axis=1), holds.shape[1])
        return cls(first.astype(np.int64), holds.shape[1])

    def by_row(self, of_columns: Floats) -> Floats:
        return np.asarray(np.append(np.cumsum(of_columns[::-1])[::-1], 0.0)[self.first])

    def by_column(self, of_rows: Floats) -> tuple[Floats, Floats]:
        """Sums over the rows that hold a column, and over those that do not."""
        begin: Floats = np.bincount(self.first, of_rows, self.n_columns + 1).astype(np.float64)
        return np.cumsum(begin)[:-1], np.cumsum(begin[::-1])[::-1][1:]


def _expectation_maximisation(inside: Flags, seen: Flags, count: Floats) -> tuple[Floats, bool]:
    """Turnbull's self-consistent chances under delayed entry, and whether they settled."""
    lasting = inside[:, -1] & (np.diff(inside.astype(np.int8), axis=1) >= 0).all(axis=1)
    on, entered = _Tails.of(inside[lasting]), _Tails.of(seen)
    ending, many = inside[~lasting].astype(np.float64), count.sum()
    chance = np.full(inside.shape[1], 1.0 / inside.shape[1])
    for _ in range(LONGEST_SEARCH):
        of_end = on.by_column(count[lasting] / on.by_row(chance))[0]
        of_end += (count[~lasting] / (ending @ chance)) @ ending
        # Lives that never were seen, for each life seen from an entry on.
        of_entry, ghosts = entered.by_column(count / entered.by_row(chance))
        updated = chance * (of_end + ghosts)
        updated /= updated.sum()
        gain = np.abs(of_end - of_entry) * (updated > 1e-9)
        chance = updated
        if gain.max() <= GAP * many:
            return chance, True
    return chance, False
