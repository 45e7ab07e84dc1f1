"""When two times count as one: rounding must not part a failure from its own risk set.

Hours are sums, and 0.1 + 0.2 is not 0.3 to a computer.  Times nearer than this are one time for
every estimator; the same rule and size as R survival's `timefix`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SAME_TIME = 1.5e-8
"""Share of the middle time below which two times are one, as R's `all.equal` has it."""


def same_time_within(*columns: Floats) -> float:
    """The distance below which two times of these columns count as one."""
    told = [column[np.isfinite(column)] for column in columns]
    middles = [float(np.abs(column).mean()) for column in told if column.size]
    return SAME_TIME * max(1.0, float(np.mean(middles)) if middles else 1.0)


def as_one_time(*columns: Floats) -> tuple[Floats, ...]:
    """The columns with times that count as one written alike, as the earliest of them."""
    apart = same_time_within(*columns)
    together = np.concatenate([column[np.isfinite(column)] for column in columns])
    times = np.unique(together)
    if times.size < 2 or not (np.diff(times) <= apart).any():
        return columns
    first = np.maximum.accumulate(
        np.where(np.diff(times, prepend=-np.inf) > apart, np.arange(times.size), 0)
    )
    named = times[first]
    return tuple(
        np.where(
            np.isfinite(column),
            named[np.searchsorted(times, column).clip(max=times.size - 1)],
            column,
        )
        for column in columns
    )
