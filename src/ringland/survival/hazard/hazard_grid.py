"""What the record says of the spreads: a grid of cells, each with its chance and proposal.

Given the own factors' spread the likelihood is taken as quadratic about its mode, and then the
posterior of the other spreads is known in closed form (`Quadratic.with_prior`).  The mode is
climbed to at a few own spreads and taken as straight between them.  A first, coarse grid over
all that the priors allow says where the spreads lie; a second one is laid over that.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from ringland.survival.hazard.hazard_mode import GOOD_ENOUGH, Quadratic, climb
from ringland.survival.hazard.hazard_prior import SPREADS
from ringland.survival.hazard.hazard_problem import OWN, HazardProblem
from ringland.survival.spell_checks import Floats, Ints

# Cells of the grid of each spread, even in its log, and how far they reach about the scale of
# its prior: below the lowest end a spread is not told from none.
CELLS, OWN_CELLS, LOWEST, HIGHEST = 6, 8, 0.05, 5.0
CLIMBS, LATER_CLIMBS = 4, 5  # own spreads climbed at over the whole reach, then where they lie
FAR_BELOW = 8.0  # log chance below the highest at which a spread is left out of the second grid


@dataclass(frozen=True)
class SpreadCells:
    """The grid of the spreads: each cell's ends in log, its own spread's node, its chance."""

    low: Floats
    high: Floats
    node: Ints
    quadratic: tuple[Quadratic, ...]
    chance: Floats


def spread_cells(problem: HazardProblem) -> SpreadCells:
    """The second grid, laid where the spreads lie."""
    used = [c for c in problem.plan.spreads_used() if c != OWN or problem.has_own]
    scale = problem.prior.spread_scales
    climbs = _Climbs(problem, 0.5 * scale)
    edges = [
        np.log(scale[c] * np.geomspace(LOWEST, HIGHEST, _cells_of(c) + 1))
        if c in used
        else np.log(scale[c] * np.array([0.5, 0.5]))
        for c in range(len(SPREADS))
    ]
    if OWN in used:  # up to the top end: past the last climb a parabola promises too much
        for at in np.linspace(edges[OWN][0], edges[OWN][-1], CLIMBS + 1)[1:]:
            climbs.at(at)
    first = _grid(problem, climbs, edges, used)
    best = int(np.argmax(first.chance))
    climbs.reference = np.exp((first.low[best] + first.high[best]) / 2)
    edges = [_zoomed(first, c, edges[c]) if c in used else edges[c] for c in range(len(SPREADS))]
    climbs.forget()
    for at in np.linspace(edges[OWN][0], edges[OWN][-1], LATER_CLIMBS if OWN in used else 1):
        climbs.at(at)
    found = _grid(problem, climbs, edges, used)
    chance = np.exp(found.chance - found.chance.max())
    chance = 0.95 * chance / chance.sum() + 0.05 / len(chance)  # no cell is ruled out unseen
    return SpreadCells(found.low, found.high, found.node, found.quadratic, chance)


class _Climbs:
    """Modes of the posterior at own spreads, each climbed to from the nearest one."""

    def __init__(self, problem: HazardProblem, reference: Floats) -> None:
        self.reference = reference
        self._problem = problem
        self._found: dict[float, Quadratic] = {}
        self._begin = problem.plan.mean(problem.prior)

    def forget(self) -> None:
        """Climb anew, from the last mode."""
        self._begin = next(reversed(self._found.values())).at if self._found else self._begin
        self._found = {}

    def at(self, log_own: float) -> Quadratic:
        """The likelihood about the mode at one own spread."""
        problem, plan = self._problem, self._problem.plan
        near = min(self._found, key=lambda known: abs(known - log_own), default=None)
        self._found[log_own] = climb(
            lambda theta: problem.derivatives(theta, float(np.exp(log_own))),
            self._begin if near is None else self._found[near].at,
            plan.mean(problem.prior),
            plan.sd(problem.prior, self.reference[None, :])[0],
            GOOD_ENOUGH,
        )
        return self._found[log_own]

    def between(self, log_own: float) -> Quadratic:
        """The same at any own spread, straight between the two climbed to beside it."""
        if not self._found:
            return self.at(log_own)
        known = sorted(self._found)
        right = min(max(int(np.searchsorted(known, log_own)), 1), len(known) - 1)
        if len(known) == 1:
            return self._found[known[0]]
        low, high = known[right - 1], known[right]
        share = float(np.clip((log_own - low) / (high - low), 0.0, 1.0))
        a, b = self._found[low], self._found[high]

        def mixed(first: Floats, second: Floats) -> Floats:
            return (1 - share) * first + share * second

        # a parabola through the nearest three values: they bend over the reach of a spread
        places = sorted(known, key=lambda place: abs(place - log_own))[:3]
        values = [self._found[place].value for place in places]
        value = float(np.polyval(np.polyfit(places, values, len(places) - 1), log_own))
        return Quadratic(
            mixed(a.at, b.at), value, mixed(a.gradient, b.gradient), mixed(a.bend, b.bend)
        )


def _cells_of(column: int) -> int:
    return OWN_CELLS if column == OWN else CELLS


def _grid(
    problem: HazardProblem, climbs: _Climbs, edges: list[Floats], used: list[int]
) -> SpreadCells:
    """The cells between the edges; `chance` is in log."""
    plan, scale = problem.plan, problem.prior.spread_scales
    where = np.array(list(product(*(range(len(e) - 1) for e in edges))))
    low = np.column_stack([edges[c][where[:, c]] for c in range(len(SPREADS))])
    high = np.column_stack([edges[c][where[:, c] + 1] for c in range(len(SPREADS))])
    middle = np.exp((low + high) / 2)
    sd, mean = plan.sd(problem.prior, middle), plan.mean(problem.prior)
    log_prior = (np.log(middle) - 0.5 * (middle / scale) ** 2)[:, used].sum(axis=1)
    size = np.where(high > low, high - low, 1.0).prod(axis=1)
    chance = log_prior + np.log(size)
    nodes = (edges[OWN][1:] + edges[OWN][:-1]) / 2
    quadratics = tuple(climbs.between(float(node)) for node in nodes)
    for node, quadratic in enumerate(quadratics):
        here = where[:, OWN] == node
        chance[here] += quadratic.with_prior(mean, sd[here])[2]
    return SpreadCells(low, high, where[:, OWN], quadratics, chance)


def _zoomed(cells: SpreadCells, column: int, edges: Floats) -> Floats:
    """Edges of the same number of cells over those in which the spread may well lie."""
    low = cells.low[:, column]
    best = np.array([cells.chance[low == edge].max() for edge in edges[:-1]])
    kept = np.flatnonzero(best > best.max() - FAR_BELOW)
    # one cell more either way: the first grid's climbs lie far apart
    first, last = max(kept[0] - 1, 0), min(kept[-1] + 2, len(edges) - 1)
    return np.linspace(edges[first], edges[last], len(edges))
