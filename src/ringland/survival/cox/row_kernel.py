"""Compiled passes over counting-process rows: moments of columns, slots of times."""

from __future__ import annotations

import numpy as np
from numba import njit

from ringland.survival.spell_checks import Floats, Slots


@njit(cache=True)
def column_moments(x: Floats, weight: Floats) -> tuple[Floats, Floats, Floats]:
    """Weighted mean, standard deviation and range of each column, in one pass."""
    n, p = x.shape
    shift = x[0].copy()
    total = 0.0
    first, second = np.zeros(p), np.zeros(p)
    low, high = x[0].copy(), x[0].copy()
    for i in range(n):
        total += weight[i]
        for a in range(p):
            d = x[i, a] - shift[a]
            first[a] += weight[i] * d
            second[a] += weight[i] * d * d
            low[a] = min(low[a], x[i, a])
            high[a] = max(high[a], x[i, a])
    mean = first / total
    spread = np.sqrt(np.maximum(second / total - mean * mean, 0.0))
    return shift + mean, spread, high - low


@njit(cache=True)
def slots_after(times: Floats, at: Floats) -> Slots:
    """How many of the sorted `at` are at or before each time.

    A binary search within one of many equal buckets: as any binary search, only shorter.
    """
    out = np.zeros(times.shape[0], dtype=np.int32)
    n_at = at.shape[0]
    if n_at == 0:
        return out
    n_buckets = 2 * n_at
    width = max((at[-1] - at[0]) / n_buckets, 1e-300)
    begins = np.zeros(n_buckets + 2, dtype=np.int64)
    for k in range(n_at):
        begins[min(int((at[k] - at[0]) / width), n_buckets) + 1] += 1
    for b in range(n_buckets + 1):
        begins[b + 1] += begins[b]
    for i in range(times.shape[0]):
        t = times[i]
        if t < at[0]:
            continue
        bucket = int(min((t - at[0]) / width, float(n_buckets)))
        low, high = begins[bucket], begins[bucket + 1]
        while low < high:
            middle = (low + high) // 2
            if at[middle] <= t:
                low = middle + 1
            else:
                high = middle
        out[i] = low
    return out
