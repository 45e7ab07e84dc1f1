"""What sets look back on over their last engine hours, for many sets at once.

Cumulative sums by ride are kept in a ring; the oldest ride counts in part.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from synthetic_data.worlds.failure_law import Floats

Whole = NDArray[np.int64]

KEPT = 96
"""Rides kept; more than ever fall into the hours looked back over."""


class LookingBack:
    """Sums of hours, hard hours, hard hours times shortfall, litres, litres times age."""

    def __init__(self, sets: int, length_h: float) -> None:
        self.length_h = length_h
        self.total = np.zeros((sets, 5))
        self.kept = np.zeros((KEPT, sets, 5))
        self.newest = np.zeros(sets, dtype=np.int64)
        self.oldest = np.zeros(sets, dtype=np.int64)

    def tiled(self, times: int) -> LookingBack:
        """The same sets, so many times over."""
        copy = LookingBack(0, self.length_h)
        copy.total = np.tile(self.total, (times, 1))
        copy.kept = np.tile(self.kept, (1, times, 1))
        copy.newest = np.tile(self.newest, times)
        copy.oldest = np.tile(self.oldest, times)
        return copy

    def forget(self, at: Whole) -> None:
        """New sets in these places."""
        self.total[at] = 0.0
        self.kept[0, at] = 0.0
        self.newest[at] = self.oldest[at] = 0

    def add(self, at: Whole, rides: Floats) -> None:
        """Take in one ride of each place: (places, hours, hard_h, hard_h*on, l, l*d)."""
        self.total[at] += rides
        self.newest[at] = (self.newest[at] + 1) % KEPT
        self.kept[self.newest[at], at] = self.total[at]
        late = at
        while late.size:
            nxt = (self.oldest[late] + 1) % KEPT
            goes = (nxt != self.newest[late]) & (
                self.kept[nxt, late, 0] <= self.total[late, 0] - self.length_h
            )
            late, nxt = late[goes], nxt[goes]
            self.oldest[late] = nxt

    def means(self, at: Whole) -> tuple[Floats, Floats, Floats, NDArray[np.bool_]]:
        """Shortfall in hard running, fuel age by litres, full-throttle share; whether any ride."""
        total, first = self.total[at], self.kept[self.oldest[at], at]
        second = self.kept[(self.oldest[at] + 1) % KEPT, at]
        over = np.maximum(0.0, total[:, 0] - first[:, 0] - self.length_h)
        one = second[:, 0] - first[:, 0]
        part = np.where(one > 0, over / np.where(one > 0, one, 1.0), 0.0)
        here = total - first - part[:, None] * (second - first)
        has = here[:, 0] > 1e-9
        hours = np.where(has, here[:, 0], 1.0)
        hard = np.where(here[:, 1] > 1e-9, here[:, 1], 1.0)
        litres = np.where(here[:, 3] > 1e-9, here[:, 3], 1.0)
        return (
            np.maximum(0.0, here[:, 2] / hard),
            here[:, 4] / litres,
            here[:, 1] / hours,
            has,
        )
