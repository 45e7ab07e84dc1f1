"""Lives as the estimators take them: checked arrays, each row one life (or several alike).

A life was under observation from `entry` (0: from when the set was fitted) and its end
lies in (lower, upper]: lower = upper is a failure seen to the hour, upper = infinity a life
still running, lower = 0 a failure that no earlier check bounds.  `count` lives share a row.
Which failures are of interest is settled here; how to estimate from them is not.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import ArrayLike, NDArray

from ringland.survival.same_time import as_one_time

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class LifeDataError(ValueError):
    """A row of the lives cannot be used; the message names row, field and remedy."""


@dataclass(frozen=True)
class CensoredLives:
    """Checked lives: the end lies in (lower, upper], seen only if beyond `entry`."""

    lower: Floats
    upper: Floats
    entry: Floats
    count: Floats

    @property
    def is_exact(self) -> Flags:
        """Failures seen to the hour."""
        return np.asarray(self.lower == self.upper, dtype=np.bool_)

    @property
    def is_running(self) -> Flags:
        """Lives without a failure (right-censored)."""
        return np.asarray(np.isinf(self.upper), dtype=np.bool_)

    @property
    def is_bounded(self) -> Flags:
        """Failures known only to lie between two times (interval- or left-censored)."""
        return ~self.is_exact & ~self.is_running

    @property
    def n_lives(self) -> float:
        """Lives in all, counts included."""
        return float(self.count.sum())

    @property
    def n_failures(self) -> float:
        """Failures in all, counts included, seen or bounded."""
        return float(self.count[~self.is_running].sum())


def ended_lives(
    exit_: ArrayLike,
    is_failure: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    count: ArrayLike | None = None,
) -> CensoredLives:
    """Lives whose failures were seen to the hour; the rest are right-censored at exit.

    Raises:
        LifeDataError: lengths differ, a time is missing or not positive, an entry is not
            before its exit, or a count is not positive.
    """
    end = number_column("exit", exit_)
    failed = failure_flags(is_failure, end.size)
    return bounded_lives(end, np.where(failed, end, np.inf), entry=entry, count=count)


def bounded_lives(
    lower: ArrayLike,
    upper: ArrayLike,
    *,
    entry: ArrayLike | None = None,
    count: ArrayLike | None = None,
) -> CensoredLives:
    """Lives whose end lies in (lower, upper]; equal bounds are a failure seen to the hour.

    A lower bound before entry is raised to entry: the set was running then.

    Raises:
        LifeDataError: as for `ended_lives`, or a lower bound beyond its upper bound.
    """
    low, high = number_column("lower", lower), number_column("upper", upper, may_be_infinite=True)
    start = np.zeros_like(low) if entry is None else number_column("entry", entry)
    times = np.ones_like(low) if count is None else number_column("count", count)
    for name, column in (("upper", high), ("entry", start), ("count", times)):
        if column.shape != low.shape:
            raise LifeDataError(f"{name} has {column.size} rows, the first column {low.size}.")
    if low.size == 0:
        raise LifeDataError("There are no lives; give at least one row.")
    low, high, start = as_one_time(low, high, start)
    _refuse(low < 0, lambda row: f"time {low[row]:g} is negative; hours run from the fitting")
    _refuse(
        high <= 0, lambda row: f"time {high[row]:g} is not positive; hours run from the fitting"
    )
    _refuse(low > high, lambda row: f"lower {low[row]:g} is beyond upper {high[row]:g}; swap them")
    _refuse(start < 0, lambda row: f"entry {start[row]:g} is negative; give 0 for seen from new")
    _refuse(
        np.isinf(high) & (low == 0),
        lambda row: "running with 0 hours carries no record; leave the row out",
    )
    last_seen = np.where(np.isinf(high), low, high)
    _refuse(
        start >= last_seen,
        lambda row: (
            f"entry {start[row]:g} is not before exit {last_seen[row]:g}; "
            "a life counts only over (entry, exit]"
        ),
    )
    _refuse(times <= 0, lambda row: f"count {times[row]:g} is not positive; leave the row out")
    return CensoredLives(np.maximum(low, start), high, start, times)


@dataclass(frozen=True)
class PistonLifeColumns:
    """The lives of a `PistonLives` frame as columns, each row in (entry, exit].

    `cause` is the failure mode, 'removed' for a set pulled for another reason, or null for
    a set still running or withdrawn.  `n_without_hours` rows had no running time and are
    left out.
    """

    piston_set_id: list[str]
    hull_id: list[str | None]
    entry: Floats
    exit: Floats
    last_good: Floats
    cause: list[str | None]
    n_without_hours: int

    def of_mode(self, mode: str, *, use_bounds: bool = True) -> CensoredLives:
        """Lives towards one mode; every other ending censors.

        A failure found at an inspection lies between its last good check and the finding;
        with `use_bounds` false it is taken at the finding.
        """
        is_mode = np.array([cause == mode for cause in self.cause], dtype=bool)
        lower = self.exit.copy()
        if use_bounds:
            lower = np.where(is_mode & ~np.isnan(self.last_good), self.last_good, lower)
        return bounded_lives(lower, np.where(is_mode, self.exit, np.inf), entry=self.entry)


def piston_life_columns(lives: pl.DataFrame) -> PistonLifeColumns:
    """The columns of a `PistonLives` frame; sets that never ran are counted and left out."""
    ran = lives.filter(pl.col("exit_h") > pl.col("entry_h"))
    cause = (
        pl.when(pl.col("state") == "failed")
        .then(pl.col("mode"))
        .when(pl.col("state") == "removed")
        .then(pl.lit("removed"))
    )
    return PistonLifeColumns(
        piston_set_id=ran["piston_set_id"].to_list(),
        hull_id=ran["hull_id"].to_list(),
        entry=ran["entry_h"].to_numpy().astype(np.float64),
        exit=ran["exit_h"].to_numpy().astype(np.float64),
        last_good=ran["last_good_h"].cast(pl.Float64).fill_null(np.nan).to_numpy(),
        cause=ran.select(cause.alias("cause"))["cause"].to_list(),
        n_without_hours=lives.height - ran.height,
    )


def failure_flags(is_failure: ArrayLike, n_rows: int) -> Flags:
    """One flag a row; raises LifeDataError for another number of rows or aught but 0 and 1."""
    failed = np.atleast_1d(np.asarray(is_failure))
    if failed.shape != (n_rows,):
        raise LifeDataError(f"is_failure has {failed.size} rows, not {n_rows} as the times have.")
    if failed.dtype != np.bool_:
        _refuse(
            ~np.isin(failed, [0, 1]),
            lambda row: f"is_failure is {failed[row]}; give 0 for running or 1 for failed",
        )
    return failed.astype(bool)


def number_column(name: str, values: ArrayLike, *, may_be_infinite: bool = False) -> Floats:
    """The values as one column; raises LifeDataError naming the first row that is no number."""
    try:
        column = np.atleast_1d(np.asarray(values, dtype=np.float64))
    except (TypeError, ValueError) as error:
        raise LifeDataError(f"{name} is not a column of numbers: {error}.") from error
    if column.ndim != 1:
        raise LifeDataError(f"{name} has {column.ndim} dimensions; give one column.")
    _refuse(np.isnan(column), lambda row: f"{name} is missing; set the row aside")
    if not may_be_infinite:
        _refuse(np.isinf(column), lambda row: f"{name} is infinite; give a finite number")
    return column


def _refuse(is_bad: Flags, say: Callable[[int], str]) -> None:
    """Raise for the first bad row, counted from 1 as a reader counts them."""
    if is_bad.any():
        row = int(np.flatnonzero(is_bad)[0])
        more = int(is_bad.sum()) - 1
        tail = f" ({more} more rows likewise)" if more else ""
        raise LifeDataError(f"row {row + 1}: {say(row)}.{tail}")
