"""A baseline hazard that may fall and rise: steps whose heights bend little in log age.

The log hazard is a straight line in log age, which is a Weibull hazard, plus hinges at ages
in even ratio (a linear spline with truncated lines; Ruppert, Wand & Carroll 2003, chapter 3).
Hinges look away from a middle age, so that the line is the hazard's course there and what the
ends do is told by their own hinges.  The hazard is held over steps of age in a ratio of
`STEP`; the hazard summed over a step is then within 0.1 % of that of the smooth curve.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ringland.survival.spell_checks import Floats, Ints

STEP = 1.04
KNOT_RATIO, MOST_KNOTS = 1.6, 10
REACH = 8.0
"""Ages up to this many times the oldest seen have steps of their own."""


@dataclass(frozen=True)
class AgeSteps:
    """Steps of age and the columns their log heights are made of.

    `edge` has one entry more than there are steps, the first 0.  `log_age` is the log of each
    step's middle; `hinge`, shape (steps, knots), what a hinge's coefficient is multiplied by.
    `middle` is the edge hazards are summed from.
    """

    edge: Floats
    log_age: Floats
    hinge: Floats
    knots: Floats
    middle: int

    @classmethod
    def over(cls, start: Floats, stop: Floats, floor: float) -> AgeSteps:
        """Steps and knots for spells (start, stop] of life; below `floor` the hazard is flat."""
        top = max(float(stop.max()), 8.0 * floor)
        n = int(np.ceil(np.log(REACH * top / floor) / np.log(STEP)))
        edge = np.concatenate(([0.0], floor * STEP ** np.arange(n + 1)))
        log_age = np.log((edge[1:] + edge[:-1]) / 2)
        knots = np.log(top) - np.log(KNOT_RATIO) * np.arange(MOST_KNOTS, 0, -1)
        knots = knots[knots >= np.log(2.0 * floor)]
        hours = stop - start
        middle = float(np.log(np.maximum((start + stop) / 2, floor)) @ hours / hours.sum())
        away = log_age[:, None] - knots[None, :]
        hinge = np.where(knots >= middle, np.maximum(away, 0.0), np.maximum(-away, 0.0))
        at = int(np.argmin(np.abs(log_age - middle)))
        return cls(edge, log_age, np.ascontiguousarray(hinge), np.exp(knots), at)

    @property
    def width(self) -> Floats:
        """Hours of each step."""
        return np.diff(self.edge)

    def place(self, age: Floats) -> tuple[Ints, Floats]:
        """The step each age lies in, and the share of it that is over; the last goes on."""
        at = np.clip(np.searchsorted(self.edge, age, "right") - 1, 0, len(self.log_age) - 1)
        return at.astype(np.int64), (age - self.edge[at]) / self.width[at]

    def log_hazard(self, theta: Floats) -> Floats:
        """Log height of each step, shape (rows of theta, steps).

        Columns of `theta`: log shape and log scale of the Weibull line, then the hinges.
        """
        shape = np.exp(theta[:, :1])
        line = theta[:, :1] - theta[:, 1:2] + (shape - 1) * (self.log_age - theta[:, 1:2])
        return np.asarray(line + theta[:, 2 : 2 + self.hinge.shape[1]] @ self.hinge.T)

    def cumulative(self, theta: Floats) -> Floats:
        """Hazard summed from a middle age to each edge, shape (rows of theta, edges).

        Below the middle it is negative.  Summed from 0 the first hours of a draw that has them
        deadly would swallow the digits of all later ones.
        """
        return self.summed(np.exp(self.log_hazard(theta)) * self.width)

    def summed(self, steps: Floats) -> Floats:
        """What stands by step (last axis) summed from the middle edge to each edge."""
        before, after = steps[..., : self.middle], steps[..., self.middle :]
        down = -np.cumsum(before[..., ::-1], axis=-1)[..., ::-1]
        zero = np.zeros((*steps.shape[:-1], 1))
        return np.concatenate([down, zero, np.cumsum(after, axis=-1)], axis=-1)

    def slopes(self, theta: Floats) -> tuple[Floats, Floats]:
        """Derivatives of the log heights at one theta.

        Returns:
            First derivatives, shape (steps, 2 + knots), and the second ones by log shape
            twice and by log shape and log scale, shape (steps, 2); the others are zero.
        """
        shape = np.exp(theta[0])
        away = shape * (self.log_age - theta[1])
        first = np.column_stack([1.0 + away, np.full_like(away, -shape), self.hinge])
        return first, np.column_stack([away, np.full_like(away, -shape)])


def between(cumulative: Floats, start: tuple[Ints, Floats], stop: tuple[Ints, Floats]) -> Floats:
    """What `cumulative` (last axis: edges) gains between two placed ages."""
    (a, part_a), (b, part_b) = start, stop
    low = cumulative[..., a] * (1 - part_a) + cumulative[..., a + 1] * part_a
    high = cumulative[..., b] * (1 - part_b) + cumulative[..., b + 1] * part_b
    return np.asarray(high - low)
