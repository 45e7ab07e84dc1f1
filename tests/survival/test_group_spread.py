"""Factors of groups against the gamma posterior by hand, simulation, and what must hold."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from ringland.survival.hazard.group_spread import GroupSpread, group_spread, log_likelihood


def spread_of(variance: float, n_draws: int = 4000) -> GroupSpread:
    """Two groups at one known variance: A with 2 failures of 0.5 expected, B with none of 3."""
    ticks = (np.arange(n_draws) + 0.5) / n_draws
    return GroupSpread(
        names=("A", "B"),
        failures=np.array([2.0, 0.0]),
        expected=np.array([0.5, 3.0]),
        variance=np.full(n_draws, variance),
        score=np.random.default_rng(3).permutation(stats.norm.ppf(ticks)),
    )


def test_a_groups_factor_is_the_gamma_posterior() -> None:
    """Variance 0.5: gamma(2 + 2, 2 + 0.5) has mean 1.6; gamma(2 + 0, 2 + 3) has mean 0.4."""
    drawn = spread_of(0.5).factors(["A", "B", "never seen"])

    # scores are the quantiles of 4,000 equal shares: their tails are cut a little short
    assert drawn.mean(axis=0) == pytest.approx([1.6, 0.4, 1.0], rel=2e-3)
    by_hand = [4 / 2.5**2, 2 / 5**2, 0.5]
    assert drawn.var(axis=0) == pytest.approx(by_hand, rel=0.02)


def test_the_marginal_likelihood_is_the_integral_over_the_factor() -> None:
    """Poisson failures under a gamma factor, integrated numerically; the d-th power of H drops."""
    failures, expected = np.array([2.0, 0.0]), np.array([0.5, 3.0])

    def by_quadrature(theta: float) -> float:
        total = 0.0
        for d, h in zip(failures, expected, strict=True):
            prior = stats.gamma(1 / theta, scale=theta)
            total += np.log(
                integrate.quad(lambda f, d=d, h=h, g=prior: f**d * np.exp(-f * h) * g.pdf(f),
                               0, 60, limit=400)[0]
            )  # fmt: skip
        return total

    for theta in (0.3, 0.8):  # quadrature error is below 1e-7
        found = log_likelihood([theta], failures, expected)[0]
        assert found == pytest.approx(by_quadrature(theta), abs=1e-6)


def test_no_spread_is_the_limit_of_the_likelihood() -> None:
    """At no spread the likelihood is exp(-H): the sum of -H."""
    found = log_likelihood([1e-8], np.array([1.0, 0.0]), np.array([0.7, 2.0]))

    assert found[0] == pytest.approx(-2.7, abs=1e-6)  # the first order in theta


def simulated(sd: float, seed: int, groups: int = 60) -> GroupSpread:
    """Groups with gamma factors and five failures expected of each."""
    rng = np.random.default_rng(seed)
    factor = rng.gamma(1 / sd**2, sd**2, groups) if sd else np.ones(groups)
    spells = np.repeat(np.arange(groups), 50)
    expected = np.full(len(spells), 0.1)
    event = rng.random(len(spells)) < -np.expm1(-expected * factor[spells])
    names = [f"g{i:02}" for i in spells]
    return group_spread(
        names, event, expected, prior_sd=0.5, n_draws=500, rng=np.random.default_rng(1)
    )


def test_the_true_spread_lies_within_its_limits() -> None:
    held = 0
    for seed in range(20):
        _, low, high = simulated(0.5, seed).spread(0.95)
        held += low <= 0.5 <= high
    assert held >= 17  # 19 of 20 on average; fewer than 17 would come once in 60 times

    middle, low, _ = simulated(0.0, 1).spread(0.95)
    assert low < 0.05
    assert middle < 0.25


def test_the_same_source_gives_the_same_draws_and_groups_are_not_drawn_alike() -> None:
    one, two = simulated(0.5, 4), simulated(0.5, 4)
    names = list(one.names)

    np.testing.assert_array_equal(one.factors(names), two.factors(names))
    assert abs(np.corrcoef(one.factors(names[:2]).T)[0, 1]) < 0.2


def test_thinning_keeps_the_posterior() -> None:
    found = spread_of(0.5)
    few = found.thinned(8, 500)

    assert len(few.score) == 500
    # 500 scores drawn from 4,000
    assert few.factors(["A"]).mean() == pytest.approx(found.factors(["A"]).mean(), rel=0.06)


@given(st.floats(0.05, 2), st.integers(0, 9), st.floats(0, 30))
@settings(derandomize=True, deadline=None)
def test_a_factor_lies_between_one_and_what_the_group_showed(
    sd: float, failures: int, expected: float
) -> None:
    found = GroupSpread(
        names=("A",),
        failures=np.array([float(failures)]),
        expected=np.array([expected]),
        variance=np.full(101, sd**2),
        score=np.zeros(101),
    )
    shape, rate = 1 / sd**2 + failures, 1 / sd**2 + expected
    mean = shape / rate

    # at a score of 0 the draw is the median: the mean over exp(log variance / 2)
    assert found.factors(["A"])[0, 0] == pytest.approx(mean / np.sqrt(1 + 1 / shape))
    showed = failures / expected if expected > 0 else np.inf
    assert min(1.0, showed) - 1e-12 <= mean <= max(1.0, showed) + 1e-12
