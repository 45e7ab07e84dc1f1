"""Draws of the hazard's posterior: proposed about the mode, weighted exactly, resampled.

The spreads are proposed from the grid on which `hazard_mode` tells their posterior, evenly
within each cell; the parameters, given the spreads, from a Student distribution about where
they then lie.  Every proposal is weighted by the exact posterior, which has the open exposure
in it.  While the weights are uneven the proposal is shifted and reshaped to the weighted draws
(Cappe and others 2004, population Monte Carlo).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from scipy import linalg, special

from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.hazard_bucket import NODES, Bucket, Derivatives, OwnSums
from ringland.survival.hazard.hazard_design import Design
from ringland.survival.hazard.hazard_mode import GOOD_ENOUGH, Quadratic, climb
from ringland.survival.hazard.hazard_prior import SPREADS, HazardPrior, ParameterPlan
from ringland.survival.hazard.weighted_draws import effective, resampled, smoothed_weights
from ringland.survival.spell_checks import Floats, Ints

OWN = SPREADS.index("own")
# Cells of the grid of each spread, even in its log, and how far they reach about the scale of
# its prior: below the lowest end a spread is not told from none.
CELLS, OWN_CELLS, LOWEST, HIGHEST = 6, 9, 0.05, 5.0
NODES_A_CLIMB = 3
POOL, PROPOSAL_DF, GOOD_SHARE, REFITS, CHUNK = 2, 30, 0.15, 1, 256


@dataclass(frozen=True)
class HazardProblem:
    """What is fitted: buckets of spells, the columns made of them, priors."""

    buckets: tuple[Bucket, ...]
    steps: AgeSteps
    design: Design
    prior: HazardPrior
    plan: ParameterPlan
    has_own: bool

    def derivatives(self, theta: Floats, own_spread: float) -> Derivatives:
        """The log likelihood, summed over the buckets in order."""
        variance = own_spread**2 if self.has_own else 0.0
        first, *others = (b.derivatives(self.steps, theta, variance) for b in self.buckets)
        for other in others:
            first = first + other
        return first

    def evaluated(self, theta: Floats, spreads: Floats) -> tuple[Floats, list[OwnSums]]:
        """Log posterior of each draw, by its log spreads, and what it expects of own groups."""
        plan = self.plan
        coefficients = theta[:, plan.n_base :]
        slopes = self.open_slopes(theta)
        with np.errstate(over="ignore", invalid="ignore"):  # so far out explains nothing
            heights = self.steps.log_hazard(theta)
            cumulative = self.steps.cumulative(theta)
            value = plan.log_density(self.prior, theta, spreads)
            sums = []
            for bucket in self.buckets:
                found = bucket.own_sums(cumulative, coefficients, slopes)
                own = bucket.own_log_likelihoods(found, self.variance(spreads))
                value = value + bucket.event_terms(heights, coefficients)
                value = value + special.logsumexp(own, axis=0).sum(axis=1)
                sums.append(found)
        return np.where(np.isfinite(value), value, -np.inf), sums

    def open_slopes(self, theta: Floats) -> Floats:
        """Log hazard per unit of each covariate, by draw, along its nearest line."""
        per_step = self.design.line_slopes(theta[:, self.plan.n_base :])
        steps = np.array([factor.step for factor in self.design.factors])
        return np.asarray(per_step / steps)

    def variance(self, spreads: Floats) -> Floats:
        """Variance of the own factors by draw; zero where no own groups are told apart."""
        return spreads[:, OWN] ** 2 if self.has_own else np.zeros(len(spreads))


@dataclass(frozen=True)
class Posterior:
    """Draws of parameters and spreads with each own group's factor and open exposure."""

    theta: Floats
    spreads: Floats
    own_factor: Floats
    own_open: Floats
    worth: float
    tail_shape: float


@dataclass(frozen=True)
class _Cells:
    """The grid of the spreads: for each cell its ends in log, its node, and its chance."""

    low: Floats
    high: Floats
    node: Ints
    quadratic: tuple[Quadratic, ...]
    chance: Floats


def draw_posterior(problem: HazardProblem, n_draws: int, rng: np.random.Generator) -> Posterior:
    """Draws of the posterior, resampled from the best pool."""
    cells = _cells(problem)
    shift, shape = np.zeros(problem.plan.size), np.eye(problem.plan.size)
    best = None
    for _ in range(1 + REFITS):
        pool = _proposed(problem, cells, (shift, shape), POOL * n_draws, rng)
        weight, tail_shape = smoothed_weights(pool.log_weight)
        worth = effective(weight)
        if best is None or worth > best[1]:
            best = (pool, worth, weight, tail_shape)
        if worth >= GOOD_SHARE * len(weight):
            break
        shift = weight @ pool.white
        spread = (pool.white - shift).T @ ((pool.white - shift) * weight[:, None])
        # few draws bear the weight: their spread is drawn towards what was proposed
        believed = worth / (worth + 2.0 * problem.plan.size)
        shift = believed * shift
        shape = linalg.cholesky(believed * spread + (1 - believed) * np.eye(len(shift)), lower=True)
    assert best is not None  # the loop runs at least once
    pool, worth, weight, tail_shape = best
    chosen = resampled(weight, n_draws, rng)
    factor, open_part = _own_draws(problem, pool, chosen, rng)
    return Posterior(pool.theta[chosen], pool.spreads[chosen], factor, open_part, worth, tail_shape)


def _cells(problem: HazardProblem) -> _Cells:
    plan, prior = problem.plan, problem.prior
    used = plan.spreads_used() if problem.has_own else [c for c in plan.spreads_used() if c != OWN]
    scale = prior.spread_scales
    edges = []
    for column in range(len(SPREADS)):
        n = (OWN_CELLS if column == OWN else CELLS) if column in used else 1
        ends = np.geomspace(LOWEST, HIGHEST, n + 1) if column in used else np.array([0.5, 0.5])
        edges.append(np.log(scale[column] * ends))
    where = np.array(list(product(*(range(len(e) - 1) for e in edges))))
    low = np.column_stack([edges[c][where[:, c]] for c in range(len(SPREADS))])
    high = np.column_stack([edges[c][where[:, c] + 1] for c in range(len(SPREADS))])
    middle = np.exp((low + high) / 2)
    sd = plan.sd(prior, middle)
    mean = plan.mean(prior)
    log_prior = (np.log(middle) - 0.5 * (middle / scale) ** 2)[:, used].sum(axis=1)
    nodes = np.exp((edges[OWN][1:] + edges[OWN][:-1]) / 2)
    at = mean
    reference = 0.5 * scale
    start = int(np.argmin(np.abs(nodes - reference[OWN])))
    for _ in range(2):  # to the mode of the other spreads, and there
        quadratic = climb(
            lambda theta: problem.derivatives(theta, nodes[start]),
            at, mean, plan.sd(prior, reference[None, :])[0], GOOD_ENOUGH,
        )  # fmt: skip
        here = where[:, OWN] == start
        marginal = quadratic.with_prior(mean, sd[here])[2] + log_prior[here]
        reference = middle[here][int(np.argmax(marginal))]
        at = quadratic.at
    # one climb serves the nodes beside it: from the first upwards, then downwards
    climbed = sorted({*range(0, len(nodes), NODES_A_CLIMB), start})
    order = [n for n in climbed if n >= start] + [n for n in reversed(climbed) if n < start]
    found = {start: quadratic}
    for node in order[1:]:
        near = min(found, key=lambda known, node=node: abs(known - node))  # type: ignore[misc]
        found[node] = climb(
            lambda theta, node=node: problem.derivatives(theta, nodes[node]),  # type: ignore[misc]
            found[near].at, mean, plan.sd(prior, reference[None, :])[0], GOOD_ENOUGH,
        )  # fmt: skip
    serves = [min(found, key=lambda known, node=n: abs(known - node)) for n in range(len(nodes))]  # type: ignore[misc]
    values = np.interp(
        np.log(nodes), np.log(nodes[sorted(found)]), [found[n].value for n in sorted(found)]
    )
    chance = np.full(len(where), -np.inf)
    for node, served_by in enumerate(serves):
        here = where[:, OWN] == node
        served = replace(found[served_by], value=values[node])
        chance[here] = served.with_prior(mean, sd[here])[2] + log_prior[here]
    chance = np.exp(chance - chance.max())
    chance = 0.95 * chance / chance.sum() + 0.05 / len(chance)  # no cell is ruled out unseen
    quadratics = tuple(found[n] for n in serves)
    return _Cells(low, high, where[:, OWN], quadratics, chance)


@dataclass(frozen=True)
class _Pool:
    theta: Floats
    spreads: Floats
    white: Floats
    log_weight: Floats
    sums: list[list[OwnSums]]


def _proposed(
    problem: HazardProblem,
    cells: _Cells,
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
    return _Pool(theta, spreads, white, target - log_proposal, sums)


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


def problem_sizes(buckets: Sequence[Bucket]) -> tuple[int, int]:
    """Spells and failures over all buckets."""
    return sum(len(b.own) for b in buckets), sum(len(b.event) for b in buckets)
