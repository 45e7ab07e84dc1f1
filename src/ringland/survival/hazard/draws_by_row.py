"""The log hazard of rows of covariates under each draw, laid out by row.

What a row looks up of the draws (its dock's effect, its engine's factor) lies side by side
here, a column per draw, which is several times as fast as by draw.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit

from ringland.survival.spell_checks import Floats, Ints


@dataclass(frozen=True)
class DrawsByRow:
    """What there is to look up, each with a column per draw.

    `lines` has a row per column of the design, `places` and `own` (log factors) one per dock and
    engine and a last one for what is not on record; `open_slopes` are squared, a row per factor.
    """

    lines: Floats
    places: Floats
    log_own: Floats
    own_open: Floats
    open_slopes: Floats

    @classmethod
    def of(
        cls, lines: Floats, places: Floats, own_factor: Floats, own_open: Floats, slopes: Floats
    ) -> DrawsByRow:
        """From the same with a row per draw, factors and slopes as they are."""
        parts = (lines, places, np.log(own_factor), own_open, slopes**2)
        return cls(*(np.ascontiguousarray(part.T) for part in parts))

    def log_effects(
        self, columns: Floats, own: Ints | None, place: Ints | None, blur: Floats | None
    ) -> Floats:
        """Shape (rows, draws).

        Args:
            columns: the design's, shape (rows, columns).
            own: each row's engine; None: a middle one.
            place: each row's dock, -1 where it is not on record; None: a middle one.
            blur: standard deviation of what is open about each factor; None: nothing.
        """
        total = np.asarray(columns @ self.lines)
        if place is not None and len(self.places) > 1:
            total += self.places[place]
        if own is None:
            return total
        total += self.log_own[own]
        if blur is not None and np.any(blur):
            open_part = np.sqrt((blur**2) @ self.open_slopes)
            open_part *= self.own_open[own]
            total += open_part
        return total


@njit("f8[:,::1](f8[:,::1],i8[::1],f8[::1],i8[::1],f8[::1],f8[:,::1])", cache=True, nogil=True)
def gained(cumulative, a, part_a, b, part_b, factor):  # type: ignore[no-untyped-def]
    """`age_steps.between` times a factor by row and draw, which it overwrites.

    Edges are rows of `cumulative`, stretches rows of what comes out.
    """
    for i in range(len(a)):
        from_edge, from_next = cumulative[a[i]], cumulative[a[i] + 1]
        to_edge, to_next = cumulative[b[i]], cumulative[b[i] + 1]
        before_a, after_a = 1.0 - part_a[i], part_a[i]
        before_b, after_b = 1.0 - part_b[i], part_b[i]
        for d in range(factor.shape[1]):
            low = from_edge[d] * before_a + from_next[d] * after_a
            high = to_edge[d] * before_b + to_next[d] * after_b
            factor[i, d] = (high - low) * factor[i, d]
    return factor
