"""The longest chain of an hour meter's readings that can all be true.

Two readings of one meter can both be true if it did not fall and gained no more than 24 h a
day.  A meter may also start again: at 1,000, 10,000 or 100,000 hours it rolls over, and a
new battery or a repair may reset it to nothing.  A start again is believed only where
enough readings follow it: it must win more readings than it costs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

SHOWN_STEP_H = 0.1  # meters show tenths: two true readings may differ by that much more
ROLLS_OVER_AT_H = (1_000.0, 10_000.0, 100_000.0)
# Choices of method: a figure this near the end of the dial may roll over; a start again must
# win that many more readings than the chain without it, a reset more than a rollover.
_NEAR_END = 0.9
_ROLLOVER_COSTS, _RESET_COSTS = 1.5, 2.5

Hours = npt.NDArray[np.float64]


@dataclass(frozen=True)
class MeterChain:
    """Which readings hold, and the hours to add to each so that the line never falls.

    `rolled_over` and `reset` mark the readings before which the meter started again.  At a
    reset the hours run between are unknown; the line then counts from the reading before.
    """

    holds: npt.NDArray[np.bool_]
    add_h: Hours
    rolled_over: npt.NDArray[np.bool_]
    reset: npt.NDArray[np.bool_]


def longest_chain(at_h: Hours, shown: Hours) -> MeterChain:
    """The chain with the most readings; of equally long ones the one begun earlier.

    Fitting is transitive (the reading and 24 h a day less the reading both never fall), so
    between starts the chain is a longest increasing one; quadratic in the readings.

    Args:
        at_h: hours on the clock, not falling.
        shown: hours on the meter.
    """
    n = len(at_h)
    best = _Best(np.ones(n), np.full(n, -1, dtype=np.int64), np.zeros(n))
    for i in range(1, n):
        fits = fit_each_other(at_h[:i], shown[:i], at_h[i], shown[i])
        best.follow(i, fits, cost=0.0, dial_h=0.0)
        passed_h = at_h[i] - at_h[:i] + SHOWN_STEP_H
        is_lower = shown[i] < shown[:i]
        for dial_h in ROLLS_OVER_AT_H:
            is_near_end = (shown[:i] >= _NEAR_END * dial_h) & (shown[:i] < dial_h)
            rolls = is_lower & is_near_end & (shown[i] + dial_h - shown[:i] <= passed_h)
            best.follow(i, rolls, cost=_ROLLOVER_COSTS, dial_h=dial_h)
        best.follow(i, is_lower & (shown[i] <= passed_h), cost=_RESET_COSTS, dial_h=_WAS_RESET)
    return _walked_back(shown, best)


def fit_each_other(
    at_h: Hours, shown: Hours, later_h: Hours | np.float64, later_shown: Hours | np.float64
) -> npt.NDArray[np.bool_]:
    """Whether a reading and a later one can both be true of a meter that did not start again.

    An hour of running takes an hour of the day at least.
    """
    return (shown <= later_shown) & (at_h - shown <= later_h - later_shown + SHOWN_STEP_H)


_WAS_RESET = -1.0


@dataclass(frozen=True)
class _Best:
    """The best chain that ends at each reading: its worth, the reading before, and how."""

    worth: Hours
    before: npt.NDArray[np.int64]
    dial_h: Hours
    """hours of the dial that came round; _WAS_RESET: reset; 0: neither"""

    def follow(self, i: int, may: npt.NDArray[np.bool_], *, cost: float, dial_h: float) -> None:
        """Let reading i follow the best of those it may, if that is better than so far."""
        reach = np.where(may, self.worth[:i], -np.inf)
        j = int(reach.argmax())
        if reach[j] + 1 - cost > self.worth[i]:
            self.worth[i], self.before[i], self.dial_h[i] = reach[j] + 1 - cost, j, dial_h


def _walked_back(shown: Hours, best: _Best) -> MeterChain:
    n = len(shown)
    chain = MeterChain(
        np.zeros(n, dtype=np.bool_),
        np.zeros(n),
        np.zeros(n, dtype=np.bool_),
        np.zeros(n, dtype=np.bool_),
    )
    order = []
    i = int(best.worth.argmax()) if n else -1
    while i >= 0:
        order.append(i)
        i = int(best.before[i])
    add_h, last = 0.0, -1
    for i in reversed(order):
        if best.dial_h[i] > 0:
            chain.rolled_over[i] = True
            add_h += best.dial_h[i]
        elif best.dial_h[i] == _WAS_RESET:
            chain.reset[i] = True
            add_h += shown[last]
        chain.holds[i] = True
        chain.add_h[i:] = add_h  # readings that do not hold are on the dial of the one before
        last = i
    return chain
