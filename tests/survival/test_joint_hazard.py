"""The joint hazard: against lifelines, finite differences, plain sums, the prior and truth."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import WeibullAFTFitter, WeibullFitter
from scipy import integrate, stats

from ringland.settings.assumptions import load_assumptions
from ringland.survival.hazard.age_steps import AgeSteps
from ringland.survival.hazard.fit_checks import judge_hazard_fit
from ringland.survival.hazard.hazard_bucket import NODE_WEIGHTS, NODES, Bucket
from ringland.survival.hazard.hazard_design import Design, Factor, SpellRows
from ringland.survival.hazard.hazard_effects import factor_effects, prior_shares, spread_of
from ringland.survival.hazard.hazard_prior import ParameterPlan
from ringland.survival.hazard.hazard_problem import HazardProblem
from ringland.survival.hazard.joint_hazard import fit_joint_hazard
from ringland.survival.spell_checks import SpellError

from .hazard_cases import EFFECT_SD, PRIOR, fitted, given_hazard, plain_factors, rows_of
from .simulated_spells import Simulated, weibull_spells

ASSUMPTIONS = load_assumptions()
quick = settings(derandomize=True, deadline=None, max_examples=20)
FACTORS = (
    Factor("a", 1.0, 0.0, EFFECT_SD, (1.0, 2.0), differs_by_place=True),
    Factor("b", 2.0, 0.5, EFFECT_SD),
)


def awkward_rows(seed: int = 1, n: int = 200, blur: float = 0.0) -> SpellRows:
    """Spells of all lengths, engines that move between docks, events at any age."""
    rng = np.random.default_rng(seed)
    start = rng.uniform(0, 300, n) * (rng.random(n) > 0.3)
    return SpellRows(
        start=start,
        stop=start + rng.uniform(0.5, 200, n),
        event=rng.random(n) < 0.2,
        x=rng.normal(1, 1, (n, 2)),
        own=[f"E{i % 37:02}" for i in range(n)],
        place=[f"D{i % 3}" for i in rng.permutation(n)],
        blur=np.column_stack([rng.uniform(0, 2 * blur, n), np.full(n, blur / 3)]),
    )


def problem_of(*buckets: SpellRows) -> HazardProblem:
    steps = AgeSteps.over(
        np.concatenate([b.start for b in buckets]), np.concatenate([b.stop for b in buckets]), 1.0
    )
    design = Design.of(FACTORS, buckets)
    made = tuple(Bucket.of(rows, steps, design) for rows in buckets)
    plan = ParameterPlan(len(steps.knots), (EFFECT_SD,) * 2, 2, 1, len(design.places))
    return HazardProblem(made, steps, design, PRIOR, plan, has_own=True)


def some_theta(problem: HazardProblem, seed: int, n: int) -> np.ndarray:
    theta = np.random.default_rng(seed).normal(0, 0.15, (n, problem.plan.size))
    theta[:, 1] += 5.5
    return theta


@quick
@given(seed=st.integers(0, 999), own_spread=st.floats(0.01, 2.0))
def test_gradient_and_hessian_equal_finite_differences(seed: int, own_spread: float) -> None:
    problem = problem_of(awkward_rows(seed, 60))
    theta = some_theta(problem, seed, 1)[0]
    here = problem.derivatives(theta, own_spread)
    h = 1e-5
    for j, e in enumerate(np.eye(len(theta)) * h):
        up, down = (problem.derivatives(theta + s * e, own_spread) for s in (1, -1))
        # central differences: right to h squared of the value's own size
        scale = 1e-6 * (1 + np.abs(here.hessian).max())
        assert here.gradient[j] == pytest.approx((up.value - down.value) / (2 * h), abs=scale)
        np.testing.assert_allclose(
            here.hessian[j], (up.gradient - down.gradient) / (2 * h), rtol=1e-5, atol=scale
        )


def test_the_hessian_of_a_steep_hazard_holds_nothing_of_ages_never_seen() -> None:
    """What rounding left beyond the oldest age was multiplied by the hazard there.

    At a shape of ten that is a billion times today's: no fit of one fleet in twenty came about.
    """
    problem = problem_of(awkward_rows(5, 60))
    theta = some_theta(problem, 5, 1)[0]
    theta[0] = 2.3
    here = problem.derivatives(theta, 0.3)
    up, down = (problem.derivatives(theta + s * 1e-5 * np.eye(len(theta))[0], 0.3) for s in (1, -1))
    numeric = (up.gradient - down.gradient) / 2e-5
    np.testing.assert_allclose(here.hessian[0], numeric, rtol=1e-5, atol=1e-5 * abs(numeric[0]))


def test_compiled_values_equal_the_plain_ones() -> None:
    problem = problem_of(awkward_rows())
    theta = some_theta(problem, 3, 20)
    spreads = np.full((20, 4), 0.3)
    found, _ = problem.evaluated(theta, spreads)
    plain = [problem.derivatives(t, 0.3).value for t in theta]
    by_prior = problem.plan.log_density(PRIOR, theta, spreads)
    np.testing.assert_allclose(found - by_prior, plain, rtol=1e-11)  # sums in another order


def test_buckets_add_up_and_their_order_of_rows_changes_nothing() -> None:
    rows = awkward_rows()
    engines = np.array([int(name[1:]) for name in rows.own or ()])
    order = np.random.default_rng(2).permutation(len(engines))

    def taken(at: np.ndarray) -> SpellRows:
        return SpellRows(
            rows.start[at], rows.stop[at], rows.event[at], rows.x[at],
            [rows.own[i] for i in at], [rows.place[i] for i in at],  # type: ignore[index]
            None if rows.blur is None else rows.blur[at],
        )  # fmt: skip

    whole = problem_of(rows)
    halves = problem_of(taken(order[engines[order] < 20]), taken(order[engines[order] >= 20]))
    theta = some_theta(whole, 5, 1)[0]
    one, two = whole.derivatives(theta, 0.6), halves.derivatives(theta, 0.6)
    assert two.value == pytest.approx(one.value, rel=1e-12)
    np.testing.assert_allclose(two.hessian, one.hessian, rtol=1e-9, atol=1e-9)


def test_open_exposure_is_summed_out_as_by_quadrature() -> None:
    """One engine, one spell length, one covariate: the normal integral by adaptive quadrature."""
    n = 4
    rows = SpellRows(
        np.zeros(n), np.full(n, 50.0), np.array([True, False, False, False]), np.ones((n, 1)),
        own=["E"] * n, blur=np.full((n, 1), 0.8),
    )  # fmt: skip
    steps = AgeSteps.over(rows.start, rows.stop, 1.0)
    design = Design.of(plain_factors(1), [rows])
    bucket = Bucket.of(rows, steps, design)
    plan = ParameterPlan(len(steps.knots), (EFFECT_SD,), 0, 0, 0)
    problem = HazardProblem((bucket,), steps, design, PRIOR, plan, has_own=True)
    theta = np.zeros((1, plan.size))
    theta[0, :2], theta[0, -1] = (0.3, 4.5), 0.7
    spreads = np.full((1, 4), 0.5)
    found, _ = problem.evaluated(theta, spreads)
    closed = replace(problem, buckets=(Bucket.of(replace(rows, blur=None), steps, design),))
    hazard = closed.evaluated(theta, spreads)[1][0].hazard[0, 0]

    def given_open(z: float) -> float:
        shift, v = 0.7 * 0.8 * z, 0.25
        log_l = shift - (1 / v + 1) * np.log1p(v * hazard * np.exp(shift))
        return float(np.exp(log_l) * stats.norm.pdf(z))

    by_hand = np.log(integrate.quad(given_open, -8, 8)[0]) + np.log1p(0.25 * hazard) * (
        1 / 0.25 + 1
    )
    ours = found[0] - closed.evaluated(theta, spreads)[0][0]
    assert ours == pytest.approx(by_hand, abs=5e-4)  # five nodes
    assert pytest.approx(1.0) == NODE_WEIGHTS @ NODES**2


def test_without_prior_and_factor_it_is_lifelines_weibull_with_entry() -> None:
    """Source: lifelines 0.30.3 `WeibullFitter().fit(T, E, entry=)`."""
    lives = weibull_spells(
        np.random.default_rng(7), n_hulls=200, effect=[], spell=1e9, late_entry=100
    )
    fit = fitted(lives, n_draws=50)
    theirs = WeibullFitter().fit(lives.stop, lives.event, entry=lives.start)
    assert fit.unaided.estimate is not None
    # our hazard is held over steps of age 4 % apart
    np.testing.assert_allclose(
        np.exp(fit.unaided.estimate), [theirs.rho_, theirs.lambda_], rtol=2e-3
    )


def test_without_prior_it_is_lifelines_accelerated_weibull_in_hazard_form() -> None:
    """Source: lifelines 0.30.3 `WeibullAFTFitter`, fixed covariates, entry; b = -shape * b_aft."""
    lives = weibull_spells(
        np.random.default_rng(8), n_hulls=300, effect=[0.6, -0.3], spell=1e9, late_entry=80
    )
    fit = fitted(lives, n_draws=50)
    frame = pd.DataFrame(lives.x, columns=["a", "b"]).assign(
        entry=lives.start, stop=lives.stop, event=lives.event
    )
    aft = WeibullAFTFitter().fit(frame, "stop", "event", entry_col="entry")
    shape = np.exp(aft.params_["rho_"]["Intercept"])
    expected = [
        np.log(shape),
        aft.params_["lambda_"]["Intercept"],
        -shape * aft.params_["lambda_"]["a"],
        -shape * aft.params_["lambda_"]["b"],
    ]
    # our hazard is held over steps of age 4 % apart
    np.testing.assert_allclose(fit.unaided.estimate, expected, rtol=5e-3, atol=5e-3)


@quick
@given(seed=st.integers(0, 999))
def test_splitting_spells_changes_no_draw(seed: int) -> None:
    some = weibull_spells(np.random.default_rng(seed), n_hulls=12, effect=[0.5])
    cut = some.start + 0.3 * (some.stop - some.start)
    order = np.argsort(np.concatenate([some.start, cut]) + 1e6 * np.concatenate([some.hull] * 2))
    twice = Simulated(
        np.concatenate([some.start, cut]),
        np.concatenate([cut, some.stop]),
        np.concatenate([np.zeros_like(some.event), some.event]),
        np.concatenate([some.x, some.x]),
        np.concatenate([some.hull, some.hull]),
    ).rows(order)
    one, two = fitted(some, own=True, n_draws=60), fitted(twice, own=True, n_draws=60)
    np.testing.assert_allclose(one.theta, two.theta, rtol=1e-6, atol=1e-6)  # rounding of sums


def test_limits_cover_parameters_drawn_from_the_prior_as_often_as_stated() -> None:
    """Simulation-based calibration (Talts and others 2018): exact for any record size.

    Everything is drawn from the prior: line, hinges of age, effect, spread of hulls.
    """
    rng = np.random.default_rng(20)
    prior = replace(PRIOR, log_scale_mean=5.7, log_scale_sd=0.5)
    n_fleets, inside, ranks = 100, np.zeros(4), []
    for _ in range(n_fleets):
        truth, spells = drawn_from_prior(rng, prior)
        fit = fitted(spells, own=True, prior=prior, n_draws=300)
        said = np.column_stack(
            [
                fit.age_log_hazard([30.0, 250.0]),
                fit.theta[:, fit.plan.n_base],
                np.log(fit.spreads[:, 3]),
            ]
        )
        low, high = np.quantile(said, [0.05, 0.95], axis=0)
        inside += (low <= truth) & (truth <= high)
        ranks.append((said < truth).mean(axis=0))
    # binomial(100, 0.9): outside 80..97 has chance 0.3 % for each of four
    assert np.all((inside >= 80) & (inside <= 97)), inside
    # mean rank of a uniform: 0.5 +- 3 / sqrt(12 * 100)
    np.testing.assert_allclose(np.mean(ranks, axis=0), 0.5, atol=3 / np.sqrt(12 * n_fleets))


def drawn_from_prior(rng: np.random.Generator, prior) -> tuple[np.ndarray, Simulated]:  # type: ignore[no-untyped-def]
    """A fleet of 14 hulls of three lives each, 250 h long, and its truth."""
    n, lives, spell, watched = 14, 3, 10.0, 250.0
    edges = np.arange(0.0, watched + spell, spell)
    steps = AgeSteps.over(np.zeros(1), np.array([watched]), 5.0)
    plan = ParameterPlan(len(steps.knots), (EFFECT_SD,), 0, 0, 0)
    spreads = np.abs(rng.normal(0, prior.spread_scales))[None, :]
    theta = rng.normal(plan.mean(prior), plan.sd(prior, spreads)[0])
    table = steps.cumulative(theta[None, :])[0]
    rows = []
    for hull in range(n):
        factor = rng.gamma(spreads[0, 3] ** -2.0, spreads[0, 3] ** 2)
        for _ in range(lives):
            for start in edges[:-1]:
                x = rng.normal()
                spent = np.interp([start, start + spell], steps.edge, table)
                hazard = factor * np.exp(theta[-1] * x) * np.diff(spent)[0]
                if rng.random() < -np.expm1(-hazard):
                    # where in the spell hardly matters: the step it falls in is the same
                    rows.append((start, start + spell, True, x, hull))
                    break
                rows.append((start, start + spell, False, x, hull))
    start, stop, event, x, hull = (np.array(column) for column in zip(*rows, strict=True))
    heights = steps.log_hazard(theta[None, :])[0]
    at = steps.place(np.array([30.0, 250.0]))[0]
    truth = np.array([*heights[at], theta[-1], np.log(spreads[0, 3])])
    return truth, Simulated(start, stop, event.astype(bool), x[:, None], hull)


@pytest.mark.parametrize("seed", range(2))
def test_300_failures_recover_the_truth_and_silence_the_prior(seed: int) -> None:
    many = weibull_spells(
        np.random.default_rng(seed), n_hulls=900, effect=[0.6, 0.0], shape=1.5, scale=300
    )
    fit = fitted(many, n_draws=1000)
    assert fit.size.n_events > 250
    for effect, truth in zip(factor_effects(fit, 0.999), (0.6, 0.0), strict=True):
        assert effect.low < np.exp(truth) < effect.high
        assert effect.prior_share < 0.1
    low, high = np.quantile(fit.mean_shape(), [0.0005, 0.9995])
    assert low < 1.5 < high
    assert judge_hazard_fit(fit, ASSUMPTIONS).outcome == "believed"


def test_early_faults_beside_wear_are_both_seen() -> None:
    """Seen on a made fleet: five early faults hid the wear, 0.68 failures said of 2.26."""
    rng = np.random.default_rng(3)
    n = 150
    wear = 450.0 * rng.weibull(5.0, n)
    early = np.where(rng.random(n) < 0.08, rng.uniform(0.5, 20.0, n), np.inf)
    life = np.minimum(wear, early)
    seen = np.minimum(life, 420.0)
    rows = SpellRows(np.zeros(n), seen, life <= 420.0, np.empty((n, 0)))
    fit = fit_joint_hazard([rows], [], prior=PRIOR, n_draws=500, rng=np.random.default_rng(1))

    def rate(start: float, stop: float) -> tuple[float, float]:
        x = np.empty((1, 0))
        return tuple(np.quantile(fit.cumulative_hazard([start], [stop], x), [0.025, 0.975]))

    young, middle, old = rate(0, 20), rate(60, 120), rate(380, 420)
    assert young[0] < 0.083 < young[1]  # -log(1 - 0.08)
    assert middle[1] < 0.03  # wear takes 0.13 % of them by 120 h
    assert old[0] < (420 / 450) ** 5 - (380 / 450) ** 5 < old[1]


def test_a_jump_in_a_factor_is_followed_and_a_straight_line_stays_straight() -> None:
    def worst_over_line(jump: float) -> float:
        rng = np.random.default_rng(4)
        n = 1500
        x = rng.choice([0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0], n)
        log_effect = np.where(x > 2.5, jump, 0.0) if jump else 0.4 * x
        life = rng.exponential(600.0 / np.exp(log_effect))
        rows = SpellRows(np.zeros(n), np.minimum(life, 100.0), life <= 100.0, x[:, None])
        factor = Factor("x", 1.0, 0.0, EFFECT_SD, (1.0, 2.0, 3.0))
        fit = fit_joint_hazard(
            [rows], [factor], prior=PRIOR, n_draws=500, rng=np.random.default_rng(1)
        )
        return float(np.exp(fit.log_effect([[3.0]]) - fit.log_effect([[1.5]])).mean())

    assert worst_over_line(1.6) == pytest.approx(np.exp(1.6), rel=0.3)
    assert worst_over_line(0.0) == pytest.approx(np.exp(0.6), rel=0.3)


def test_fuel_that_only_goes_with_the_dock_has_no_effect_within_docks() -> None:
    """Harmless fuel, hard riders at the dock with cheap fuel: seen between docks only."""
    rng = np.random.default_rng(5)
    n = 900
    dock = rng.integers(0, 3, n)
    x = np.array([0.0, 1.0, 3.0])[dock] + rng.normal(0, 0.7, n)
    life = rng.exponential(400.0 / np.array([1.0, 1.5, 4.0])[dock])
    rows = SpellRows(
        np.zeros(n), np.minimum(life, 150.0), life <= 150.0, x[:, None],
        place=[f"D{d}" for d in dock],
    )  # fmt: skip
    factor = Factor("x", 1.0, 0.0, EFFECT_SD, differs_by_place=True)
    fit = fit_joint_hazard([rows], [factor], prior=PRIOR, n_draws=500, rng=np.random.default_rng(1))
    (effect,) = factor_effects(fit, 0.95)
    assert effect.low < 1 < effect.high
    assert effect.between_ratio is not None
    assert effect.between_ratio > 1.2


def test_an_own_group_bears_what_the_gamma_posterior_gives_it() -> None:
    """Nearly no prior spread elsewhere: a hull that failed thrice bears more than one with none."""
    spells = weibull_spells(
        np.random.default_rng(9), n_hulls=60, effect=[], lives_each=6, frailty=0.6
    )
    fit = fitted(spells, own=True)
    failures = np.bincount(spells.hull[spells.event.astype(bool)], minlength=60)
    means = fit.own_factor[:, fit.own.index([str(h) for h in range(60)])].mean(axis=0)
    assert np.corrcoef(failures, means)[0, 1] > 0.8
    middle, low, high = spread_of(fit, "own", 0.95)
    assert low < middle < high
    one_new = fit.own_factor[:, fit.own.index(["never seen"])]
    assert one_new.mean() == pytest.approx(1.0, abs=0.15)


def test_the_range_of_an_own_spread_holds_the_true_one() -> None:
    """The first grid trusted a parabola past its last climb, so that ranges began too high.

    The range then held the true spread in 21 of 30 made fleets.  Binomial, 30 at 95 %: 26 or
    more in 98 %; the seeds are fixed.
    """
    held = 0
    for seed in range(201, 231):
        spells = weibull_spells(
            np.random.default_rng(seed), n_hulls=60, effect=[], lives_each=6, frailty=0.6
        )
        _, low, high = spread_of(fitted(spells, own=True), "own", 0.95)
        held += low < 0.6**0.5 < high
    assert held >= 26


def test_no_failure_leaves_the_prior_and_says_so() -> None:
    # two hours of one engine teach nothing
    rows = SpellRows(np.zeros(1), np.full(1, 2.0), np.zeros(1, dtype=bool), np.ones((1, 1)))
    fit = fit_joint_hazard(
        [rows], [Factor("shortfall", 1.0, 0.0, EFFECT_SD)], prior=PRIOR, n_draws=4000,
        rng=np.random.default_rng(1),
    )  # fmt: skip
    np.testing.assert_allclose(fit.theta[:, :2].mean(axis=0), [0.4, 6.9], atol=0.06)
    assert prior_shares(fit)["shortfall"] == pytest.approx(1.0, abs=0.08)
    assert fit.unaided.estimate is None
    assert fit.unaided.why_not == "no failure on record"
    (effect,) = factor_effects(fit, 0.95)
    assert effect.unaided_ratio is None
    # normal prior of sd 0.7: limits exp(+-1.96 * 0.7); quantiles of some 1,000 draws
    assert effect.low == pytest.approx(np.exp(-1.96 * 0.7), rel=0.15)
    assert effect.high == pytest.approx(np.exp(1.96 * 0.7), rel=0.15)
    verdict = judge_hazard_fit(fit, ASSUMPTIONS)
    assert verdict.outcome == "not enough record"
    assert "the prior" in verdict.reasons[0]


def test_long_running_without_failure_moves_the_scale_up() -> None:
    n = 40
    rows = SpellRows(np.zeros(n), np.full(n, 400.0), np.zeros(n, dtype=bool), np.zeros((n, 0)))
    fit = fit_joint_hazard([rows], [], prior=PRIOR, n_draws=500, rng=np.random.default_rng(1))
    assert fit.theta[:, 1].mean() > 7.5
    assert fit.n_draws == 500


def test_three_failures_shrink_towards_no_effect_and_are_doubtful() -> None:
    few = weibull_spells(np.random.default_rng(6), n_hulls=10, effect=[0.5, 0.0, 0.0])
    fit = fitted(few)
    assert 1 <= fit.size.n_events <= 5
    verdict = judge_hazard_fit(fit, ASSUMPTIONS)
    assert verdict.outcome == "doubtful"
    assert any("Mostly the prior's" in reason for reason in verdict.reasons)


def test_a_separating_factor_has_no_unaided_estimate_but_an_answer() -> None:
    some = weibull_spells(np.random.default_rng(2), n_hulls=40, effect=[0.3])
    forged = ~np.isin(some.hull, some.hull[some.event])
    marked = Simulated(
        some.start, some.stop, some.event, np.column_stack([some.x, forged]), some.hull
    )
    fit = fitted(marked)
    assert fit.unaided.estimate is None
    assert "x2 has no finite estimate" in str(fit.unaided.why_not)
    effect = factor_effects(fit, 0.95)[1]
    assert effect.high < 1
    assert effect.unaided_ratio is None


def test_cumulative_hazard_is_the_weibulls_and_adds_up() -> None:
    draws = [[0.4, 6.0, 0.3, -0.2], [0.1, 5.5, 0.0, 0.5]]
    fit = given_hazard(("a", "b"), draws)
    x = np.array([[0.5, 0.2], [2.0, 1.0]])
    found = fit.cumulative_hazard([100, 0], [180, 40], x)
    assert found.shape == (2, 2)
    table = np.array(draws)
    k, s = np.exp(table[:, 0]), np.exp(table[:, 1])
    by_hand = ((180 / s) ** k - (100 / s) ** k) * np.exp(table[:, 2:] @ x[0])
    # the hazard is held over steps of age 4 % apart
    np.testing.assert_allclose(found[:, 0], by_hand, rtol=2e-3)
    parts = fit.cumulative_hazard([100, 130], [130, 180], x[[0, 0]])
    np.testing.assert_allclose(parts.sum(axis=1), found[:, 0], rtol=1e-10)
    assert not fit.cumulative_hazard([50], [50], x[:1]).any()


def test_step_and_centre_change_the_unit_and_not_the_unaided_answer() -> None:
    spells = weibull_spells(np.random.default_rng(2), n_hulls=70, effect=[0.7, 0.0])
    plain = fitted(spells)
    other = fitted(
        spells, factors=[Factor("a", 2.0, 1.0, EFFECT_SD), Factor("b", 0.5, -1.0, EFFECT_SD)]
    )
    assert plain.unaided.estimate is not None
    assert other.unaided.estimate is not None
    np.testing.assert_allclose(
        other.unaided.estimate[2:], plain.unaided.estimate[2:] * [2.0, 0.5], rtol=1e-6
    )
    assert all(e.low < e.hazard_ratio < e.high for e in factor_effects(other, 0.9))


def test_same_generator_same_bytes_and_thinning_keeps_draws_together() -> None:
    spells = weibull_spells(np.random.default_rng(2), n_hulls=30, effect=[0.7])
    one, two = fitted(spells, own=True), fitted(spells, own=True)
    assert one.theta.tobytes() == two.theta.tobytes()
    few = one.thinned(50)
    assert few.n_draws == 50
    np.testing.assert_array_equal(few.theta[1], one.theta[10])
    np.testing.assert_array_equal(few.own_factor[1], one.own_factor[10])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"start": np.array([-1.0, 0.0])}, r"Row 0: start -1 h is before the life began"),
        ({"start": np.array([5.0, 0.0])}, r"Row 0: start 5 is not before stop 5"),
        ({"x": np.array([[1.0], [np.inf]])}, r"Row 1: x is not a finite number"),
        ({"x": np.ones((2, 2))}, r"with 2 rows and 1 names"),
    ],
)
def test_what_cannot_be_used_is_named(change: dict[str, np.ndarray], message: str) -> None:
    good = {
        "start": np.zeros(2),
        "stop": np.array([5.0, 7.0]),
        "event": np.array([True, False]),
        "x": np.array([[1.0], [0.0]]),
    }
    with pytest.raises(SpellError, match=message):
        fit_joint_hazard(
            [SpellRows(**(good | change))], [Factor("shortfall", 1.0, 0.0, EFFECT_SD)],
            prior=PRIOR, n_draws=10, rng=np.random.default_rng(1),
        )  # fmt: skip


def test_no_spell_and_no_step_are_refused() -> None:
    nothing = SpellRows(np.empty(0), np.empty(0), np.empty(0, dtype=bool), np.empty((0, 0)))
    with pytest.raises(SpellError, match="no spell"):
        fit_joint_hazard([nothing], [], prior=PRIOR, n_draws=10, rng=np.random.default_rng(1))
    with pytest.raises(SpellError, match="step of x1 must be above zero"):
        fitted(
            weibull_spells(np.random.default_rng(1), n_hulls=3, effect=[0.1]),
            factors=plain_factors(1, step=0.0),
        )
    assert rows_of(weibull_spells(np.random.default_rng(1), n_hulls=3, effect=[])).own is None


def test_a_factor_differs_between_places_only_where_asked_and_where_places_are_told() -> None:
    factors = [
        Factor("fuel", 1.0, 0.0, EFFECT_SD, differs_by_place=True),
        Factor("age", 1.0, 0.0, EFFECT_SD),
    ]
    one = {"start": np.zeros(2), "stop": np.ones(2), "event": np.zeros(2, np.bool_)}
    x = np.array([[0.0, 1.0], [1.0, 0.0]])

    assert Design.of(factors, [SpellRows(**one, x=x, place=["north", "south"])]).split == (0,)
    assert Design.of(factors, [SpellRows(**one, x=x)]).split == ()
