"""Do the weighted draws of the hazard equal a long Markov chain's on the same posterior?

    pytest -m study tests/studies/test_hazard_sampler.py
    python tests/studies/test_hazard_sampler.py       prints the table

Differential evolution chains (ter Braak 2006, Statistics and Computing 16:239-249), 200 side by
side, which need neither mode nor gradient and share with the fit only the exact log posterior.
"""

from __future__ import annotations

import numpy as np
import pytest

from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.hazard_bucket import Bucket
from ringland.survival.hazard.hazard_design import Design, Factor, SpellRows
from ringland.survival.hazard.hazard_draws import draw_posterior
from ringland.survival.hazard.hazard_prior import HazardPrior, ParameterPlan
from ringland.survival.hazard.hazard_problem import HazardProblem

PRIOR = HazardPrior(0.6, 0.6, 6.9, 1.0, 0.7, 0.7, 0.5, 0.3, 0.5)
EFFECT_SD = 0.7
CHAINS, ROUNDS, DISCARDED = 200, 6000, 2000


def problem_of(n_engines: int, seed: int) -> HazardProblem:
    """Engines at three docks on spells of 10 h, one factor with a knot, a few early faults."""
    rng = np.random.default_rng(seed)
    rows = []
    for engine in range(n_engines):
        factor, dock = rng.gamma(4, 0.25), engine % 3
        for start in np.arange(0.0, 300.0, 10.0):
            x = max(0.0, rng.normal(dock, 1.0))
            spent = ((start + 10) ** 2.5 - start**2.5) / 700**2.5 + 0.02 * (start < 20)
            failed = rng.random() < -np.expm1(-factor * spent * np.exp(0.5 * x))
            rows.append((start, start + 10, failed, x, engine, dock))
            if failed:
                break
    start, stop, failed, x, engine, dock = (np.array(c) for c in zip(*rows, strict=True))
    spells = SpellRows(
        start, stop, failed.astype(bool), x[:, None],
        own=[f"E{int(e)}" for e in engine], place=[f"D{int(d)}" for d in dock],
        blur=np.full((len(x), 1), 0.5),
    )  # fmt: skip
    steps = AgeSteps.over(start, stop, 5.0)
    design = Design.of([Factor("x", 1.0, 0.0, EFFECT_SD, (1.5,), differs_by_place=True)], [spells])
    plan = ParameterPlan(len(steps.knots), (EFFECT_SD,), 1, 1, 3)
    bucket = Bucket.of(spells, steps, design)
    return HazardProblem((bucket,), steps, design, PRIOR, plan, has_own=True)


def chain(problem: HazardProblem, seed: int) -> np.ndarray:
    """Draws of (parameters, log spreads) by differential evolution chains from the prior."""
    rng = np.random.default_rng(seed)
    plan, size = problem.plan, problem.plan.size
    spreads = np.abs(rng.normal(0, PRIOR.spread_scales, (CHAINS, 4))) + 0.02
    theta = plan.mean(PRIOR) + 0.3 * plan.sd(PRIOR, spreads) * rng.standard_normal((CHAINS, size))
    at = np.column_stack([theta, np.log(spreads)])

    def log_density(place: np.ndarray) -> np.ndarray:
        log_spreads = place[:, size:].clip(-12, 4)  # far out the prior has long ruled it out
        return problem.evaluated(place[:, :size], np.exp(log_spreads))[0]

    value, kept = log_density(at), []
    width = at.shape[1]
    for step in range(ROUNDS):
        first = (np.arange(CHAINS) + rng.integers(1, CHAINS, CHAINS)) % CHAINS
        second = (np.arange(CHAINS) + rng.integers(1, CHAINS, CHAINS)) % CHAINS
        some = rng.random((CHAINS, width)) < rng.choice([0.2, 0.5, 1.0], (CHAINS, 1))
        some[np.arange(CHAINS), rng.integers(0, width, CHAINS)] = True
        length = 2.38 / np.sqrt(2 * some.sum(axis=1, keepdims=True))
        if step % 10 == 0:
            length = np.ones_like(length)
        noise = 1e-4 * rng.standard_normal((CHAINS, width))
        there = at + some * (length * (at[first] - at[second]) + noise)
        new = log_density(there)
        taken = np.log(rng.random(CHAINS)) < new - value
        at[taken], value[taken] = there[taken], new[taken]
        if step >= DISCARDED and step % 10 == 0:
            kept.append(at.copy())
    return np.concatenate(kept)


def told(problem: HazardProblem, draws: np.ndarray) -> dict[str, np.ndarray]:
    """What a chance stands on: log hazards at three ages, effects, docks, spreads."""
    plan = problem.plan
    theta, log_spreads = draws[:, : plan.size], draws[:, plan.size :]
    heights = problem.steps.log_hazard(theta)
    at = problem.steps.place(np.array([15.0, 150.0, 290.0]))[0]
    found = {
        f"log hazard at {age} h": heights[:, i] for age, i in zip((15, 150, 290), at, strict=True)
    }
    found |= {
        "line of x": theta[:, plan.n_base],
        "hinge of x": theta[:, plan.n_base + 1],
        "between docks": theta[:, plan.n_base + 2],
        "one dock": theta[:, -1],
    }
    names = ("age bend", "factor bend", "docks", "engines")
    return found | {f"spread of {n}": np.exp(log_spreads[:, i]) for i, n in enumerate(names)}


def compared(n_engines: int, seed: int) -> dict[str, tuple[float, float, float, float]]:
    """Mean and standard deviation by our draws and by the chains."""
    problem = problem_of(n_engines, seed)
    found = draw_posterior(problem, 4000, np.random.default_rng(seed))
    ours = told(problem, np.column_stack([found.theta, np.log(found.spreads)]))
    theirs = told(problem, chain(problem, seed))
    return {
        name: (float(a.mean()), float(a.std()), float(b.mean()), float(b.std()))
        for (name, a), b in zip(ours.items(), theirs.values(), strict=True)
    }


@pytest.mark.study
@pytest.mark.parametrize(("n_engines", "seed"), [(12, 1), (60, 2)])
def test_weighted_draws_equal_long_chains(n_engines: int, seed: int) -> None:
    for name, (mean, sd, their_mean, their_sd) in compared(n_engines, seed).items():
        # some 1,000 effective draws: an error of a thirtieth of sd, five times it allowed
        assert abs(mean - their_mean) < 0.17 * their_sd, name
        assert sd == pytest.approx(their_sd, rel=0.17), name


if __name__ == "__main__":
    for engines, number in ((12, 1), (60, 2)):
        print(f"{engines} engines\n| of what | weighted draws | chains |\n|---|---|---|")
        for name, (a, b, c, d) in compared(engines, number).items():
            print(f"| {name} | {a:.2f} ({b:.2f}) | {c:.2f} ({d:.2f}) |", flush=True)
