"""Draws of the hazard's posterior: proposed about the mode, weighted exactly, resampled.

The spreads are proposed from the grid on which `hazard_mode` tells their posterior, evenly
within each cell; the parameters, given the spreads, from a Student distribution about where
they then lie.  Every proposal is weighted by the exact posterior, which has the open exposure
in it.  While they are worth too few independent ones the proposal is shifted and reshaped to the
weighted draws and more are proposed (Cappe and others 2004, population Monte Carlo).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import linalg, special

from ringland.survival.hazard.hazard_bucket import NODES, OwnSums
from ringland.survival.hazard.hazard_grid import SpreadCells, spread_cells
from ringland.survival.hazard.hazard_problem import HazardProblem
from ringland.survival.hazard.weighted_draws import (
    TRUSTED_SHAPE,
    effective,
    resampled,
    smoothed_weights,
)
from ringland.survival.spell_checks import Floats, Ints

POOL, PROPOSAL_DF, GOOD_SHARE, REFITS, CHUNK = 1.5, 30, 0.1, 2, 256


@dataclass(frozen=True)
class Posterior:
    """Draws of parameters and spreads with each own group's factor and open exposure."""

    theta: Floats
    spreads: Floats
    own_factor: Floats
    own_open: Floats
    worth: float
    tail_shape: float


def draw_posterior(problem: HazardProblem, n_draws: int, rng: np.random.Generator) -> Posterior:
    """Draws of the posterior, resampled from all pools proposed."""
    cells = spread_cells(problem)
    shift, shape = np.zeros(problem.plan.size), np.eye(problem.plan.size)
    pools: list[_Pool] = []
    for _ in range(1 + REFITS):
        pools.append(_proposed(problem, cells, (shift, shape), round(POOL * n_draws), rng))
        pool = _Pool.joined(pools)
        if pool.worth >= GOOD_SHARE * POOL * n_draws and pool.tail_shape <= TRUSTED_SHAPE:
            break
        last = pools[-1]
        shift = last.weight @ last.white
        away = last.white - shift
        spread = away.T @ (away * last.weight[:, None])
        # few draws bear the weight: their spread is drawn towards what was proposed
        believed = last.worth / (last.worth + 2.0 * problem.plan.size)
        shift = believed * shift
        shape = linalg.cholesky(believed * spread + (1 - believed) * np.eye(len(shift)), lower=True)
    chosen = resampled(pool.weight, n_draws, rng)
    factor, open_part = _own_draws(problem, pool, chosen, rng)
    return Posterior(
        pool.theta[chosen], pool.spreads[chosen], factor, open_part, pool.worth, pool.tail_shape
    )


@dataclass(frozen=True)
class _Pool:
    """Proposals with their weights, which sum to one; `sums` by chunk and bucket."""

    theta: Floats
    spreads: Floats
    white: Floats
    weight: Floats
    tail_shape: float
    sums: list[list[OwnSums]]

    @property
    def worth(self) -> float:
        """Independent draws that the weighted ones are worth."""
        return effective(self.weight)

    @classmethod
    def joined(cls, pools: Sequence[_Pool]) -> _Pool:
        """Several as one, each counting as much as it is worth; so their worths add up.

        Those whose tail cannot be trusted are left out while another one's can.
        """
        kept = [pool for pool in pools if pool.tail_shape <= TRUSTED_SHAPE] or pools
        worths = np.array([pool.worth for pool in kept])
        share = worths / worths.sum()
        return cls(
            theta=np.concatenate([pool.theta for pool in kept]),
            spreads=np.concatenate([pool.spreads for pool in kept]),
            white=np.concatenate([pool.white for pool in kept]),
            weight=np.concatenate([s * pool.weight for s, pool in zip(share, kept, strict=True)]),
            tail_shape=max(pool.tail_shape for pool in kept),
            sums=[chunk for pool in kept for chunk in pool.sums],
        )


def _proposed(
    problem: HazardProblem,
    cells: SpreadCells,
    proposal: tuple[Floats, Floats],
    n: int,
    rng: np.random.Generator,
) -> _Pool:
    plan, prior = problem.plan, problem.prior
    (shift, shape), p = proposal, plan.size
    mean = plan.mean(prior)
    ticks = (rng.random() + np.arange(n)) / n
    cell = np.searchsorted(np.cumsum(cells.chance), ticks).clip(max=len(cells.chance) - 1)
    spreads = np.exp(rng.uniform(cells.low[cell], cells.high[cell]))
    normal = rng.standard_normal((n, p))
    stretch = PROPOSAL_DF / rng.chisquare(PROPOSAL_DF, n)
    white = shift + (normal * np.sqrt(stretch)[:, None]) @ shape.T
    squared = (normal**2).sum(axis=1) * stretch
    width = np.where(cells.high > cells.low, cells.high - cells.low, 1.0).prod(axis=1)
    log_proposal = np.log(cells.chance / width)[cell] - 0.5 * (PROPOSAL_DF + p) * np.log1p(
        squared / PROPOSAL_DF
    )
    theta, target = np.empty((n, p)), np.empty(n)
    sums: list[list[OwnSums]] = []
    for begin in range(0, n, CHUNK):
        rows = slice(begin, min(begin + CHUNK, n))
        sd = plan.sd(prior, spreads[rows])
        node = cells.node[cell[rows]]
        for which in np.unique(node):
            here = np.flatnonzero(node == which)
            centre, precision, _ = cells.quadratic[which].with_prior(mean, sd[here])
            root = np.linalg.cholesky(precision)
            drawn = np.linalg.solve(root.transpose(0, 2, 1), white[rows][here][..., None])[..., 0]
            theta[begin + here] = centre + drawn
            log_proposal[begin + here] += np.log(np.einsum("npp->np", root)).sum(axis=1)
        target[rows], found = problem.evaluated(theta[rows], spreads[rows])
        sums.append(found)
    weight, tail_shape = smoothed_weights(target - log_proposal)
    return _Pool(theta, spreads, white, weight, tail_shape, sums)


def _own_draws(
    problem: HazardProblem, pool: _Pool, chosen: Ints, rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Each own group's factor and open part given each chosen draw; last, one not on record.

    Shape (draws, groups of all buckets + 1).
    """
    n = len(chosen)
    spreads = pool.spreads[chosen]
    variance = np.maximum(problem.variance(spreads), 1e-8)
    factors: list[Floats] = []
    opens: list[Floats] = []
    for at, bucket in enumerate(problem.buckets):
        if not problem.has_own:
            continue
        whole = OwnSums(
            *(
                np.concatenate([getattr(part[at], name) for part in pool.sums])[chosen]
                for name in ("hazard", "open_mean", "open_spread", "open_events")
            )
        )
        hazard, node = whole.hazard, np.zeros_like(whole.hazard)
        if bucket.is_open:
            by_node = bucket.own_log_likelihoods(whole, variance)
            share = np.cumsum(special.softmax(by_node, axis=0), axis=0)
            picked = (share < rng.random(hazard.shape)).sum(axis=0).clip(max=len(NODES) - 1)
            hazard = np.take_along_axis(whole.at_nodes(), picked[None], axis=0)[0]
            node = NODES[picked]
        shape = 1.0 / variance[:, None] + bucket.failures
        factors.append(rng.gamma(shape) / (1.0 / variance[:, None] + hazard))
        opens.append(node)
    new = rng.gamma(1.0 / variance) * variance
    opens.append(rng.standard_normal((n, 1)))
    return np.concatenate([*factors, new[:, None]], axis=1), np.concatenate(opens, axis=1)
