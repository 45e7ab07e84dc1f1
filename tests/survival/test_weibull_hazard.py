"""The Weibull hazard with priors: against lifelines, a grid, finite differences and truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import WeibullAFTFitter, WeibullFitter
from scipy import integrate

from ringland.settings.assumptions import load_assumptions
from ringland.survival.hazard.fit_checks import judge_hazard_fit
from ringland.survival.hazard.weibull_hazard import (
    HazardPrior,
    WeibullHazardFit,
    fit_weibull_hazard,
)
from ringland.survival.hazard.weibull_likelihood import (
    NormalPrior,
    SpellSums,
    log_posterior,
    log_posteriors,
    weighted_draws,
)
from ringland.survival.spell_checks import SpellError

from .simulated_spells import Simulated, weibull_spells

PRIOR = HazardPrior(
    log_shape_mean=0.4, log_shape_sd=0.4, log_scale_mean=6.9, log_scale_sd=1.0, effect_sd=0.7
)
ASSUMPTIONS = load_assumptions()
quick = settings(derandomize=True, deadline=None, max_examples=20)


def fitted(spells: Simulated, prior: HazardPrior = PRIOR, **more: object) -> WeibullHazardFit:
    p = spells.x.shape[1]
    asked = {"step": np.ones(p), "centre": np.zeros(p), "n_draws": 500} | more
    return fit_weibull_hazard(
        spells.start,
        spells.stop,
        spells.event,
        spells.x,
        names=spells.names,
        prior=prior,
        rng=np.random.default_rng(1),
        **asked,
    )


@pytest.fixture(scope="module")
def spells() -> Simulated:
    return weibull_spells(np.random.default_rng(2), n_hulls=70, effect=[0.7, 0.0])


@quick
@given(seed=st.integers(0, 999), theta=st.lists(st.floats(-0.8, 0.8), min_size=4, max_size=4))
def test_gradient_and_hessian_equal_finite_differences(seed: int, theta: list[float]) -> None:
    some = weibull_spells(np.random.default_rng(seed), n_hulls=6, effect=[0.5, 0.2], late_entry=0)
    sums = SpellSums.of(some.start, some.stop, some.event, some.x)
    prior = PRIOR.of_parameters(2)
    here = np.add(theta, [0, 6, 0, 0])
    _, gradient, hessian = log_posterior(here, sums, prior)
    h = 1e-5
    for j, e in enumerate(np.eye(4) * h):
        up, down = log_posterior(here + e, sums, prior), log_posterior(here - e, sums, prior)
        # central differences: right to h squared of the value's own size
        scale = 1e-6 * (1 + np.abs(hessian).max())
        assert gradient[j] == pytest.approx((up[0] - down[0]) / (2 * h), rel=1e-6, abs=scale)
        np.testing.assert_allclose(hessian[j], (up[1] - down[1]) / (2 * h), rtol=1e-5, atol=scale)


def test_compiled_values_equal_the_plain_ones(spells: Simulated) -> None:
    sums = SpellSums.of(spells.start, spells.stop, spells.event, spells.x)
    prior = PRIOR.of_parameters(2)
    theta = np.random.default_rng(1).normal([0.4, 6, 0.5, 0], 0.3, (20, 4))
    one_by_one = [log_posterior(t, sums, prior)[0] for t in theta]
    np.testing.assert_allclose(log_posteriors(theta, sums, prior), one_by_one, rtol=1e-12)


def test_without_prior_and_factor_it_is_lifelines_weibull_with_entry() -> None:
    """Source: lifelines 0.30.3 `WeibullFitter().fit(T, E, entry=)`."""
    lives = weibull_spells(
        np.random.default_rng(7), n_hulls=200, effect=[], spell=1e9, late_entry=100
    )
    fit = fitted(lives)
    theirs = WeibullFitter().fit(lives.stop, lives.event, entry=lives.start)
    # lifelines' optimiser stops about 1e-5 short
    np.testing.assert_allclose(np.exp(fit.unaided), [theirs.rho_, theirs.lambda_], rtol=1e-4)


def test_without_prior_it_is_lifelines_accelerated_weibull_in_hazard_form() -> None:
    """Source: lifelines 0.30.3 `WeibullAFTFitter`, fixed covariates, entry; b = -shape * b_aft."""
    lives = weibull_spells(
        np.random.default_rng(8), n_hulls=300, effect=[0.6, -0.3], spell=1e9, late_entry=80
    )
    fit = fitted(lives)
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
    np.testing.assert_allclose(fit.unaided, expected, rtol=1e-4, atol=1e-4)  # its optimiser


@quick
@given(seed=st.integers(0, 999))
def test_splitting_spells_and_row_order_change_nothing(seed: int) -> None:
    some = weibull_spells(np.random.default_rng(seed), n_hulls=20, effect=[0.5])
    cut = some.start + 0.3 * (some.stop - some.start)
    order = np.random.default_rng(seed).permutation(2 * len(cut))
    twice = Simulated(
        np.concatenate([some.start, cut]),
        np.concatenate([cut, some.stop]),
        np.concatenate([np.zeros_like(some.event), some.event]),
        np.concatenate([some.x, some.x]),
        np.concatenate([some.hull, some.hull]),
    ).rows(order)
    one, two = fitted(some), fitted(twice)
    # the climb ends where 1e-18 of likelihood is left; rounding of the sums is larger
    np.testing.assert_allclose(one.mode, two.mode, rtol=1e-7, atol=1e-8)
    np.testing.assert_allclose(one.draws, two.draws, rtol=1e-5, atol=1e-5)


def test_draws_equal_the_posterior_integrated_on_a_grid() -> None:
    some = weibull_spells(np.random.default_rng(4), n_hulls=15, effect=[])
    fit = fitted(some, n_draws=20_000)
    assert 3 <= fit.n_events <= 12
    sums = SpellSums.of(some.start, some.stop, some.event, some.x)
    a, c = np.linspace(-1.2, 2, 161), np.linspace(4, 11, 281)
    grid = np.stack(np.meshgrid(a, c, indexing="ij"), axis=-1)
    log_p = log_posteriors(grid.reshape(-1, 2), sums, PRIOR.of_parameters(0)).reshape(161, 281)
    p = np.exp(log_p - log_p.max())

    def expected(value: np.ndarray) -> float:
        def total(v: np.ndarray) -> float:
            return float(integrate.simpson(integrate.simpson(v, x=c, axis=1), x=a))

        return total(p * value) / total(p)

    for j in range(2):
        mean = expected(grid[..., j])
        sd = np.sqrt(expected((grid[..., j] - mean) ** 2))
        # resampled draws: an error of 1/sqrt(effective draws), four times it allowed
        slack = 4 / np.sqrt(fit.effective_draws)
        assert fit.draws[:, j].mean() == pytest.approx(mean, abs=slack * sd)
        assert fit.draws[:, j].std() == pytest.approx(sd, rel=slack)
    # the chance itself: failing between 300 and 350 h, averaged over the posterior
    h = np.exp(np.exp(grid[..., 0]) * (np.log(350) - grid[..., 1])) - np.exp(
        np.exp(grid[..., 0]) * (np.log(300) - grid[..., 1])
    )
    chance = 1 - np.exp(-fit.cumulative_hazard([300], [350], np.zeros((1, 0))))
    assert chance.mean() == pytest.approx(expected(1 - np.exp(-h)), rel=0.05)


def test_limits_cover_parameters_drawn_from_the_prior_as_often_as_stated() -> None:
    """Simulation-based calibration (Talts et al. 2018): exact for any record size."""
    rng = np.random.default_rng(20)
    prior = HazardPrior(0.4, 0.4, 5.7, 0.5, 0.7)
    n_fleets, inside = 120, np.zeros(3)
    ranks = []
    for _ in range(n_fleets):
        log_shape, log_scale = rng.normal(0.4, 0.4), rng.normal(5.7, 0.5)
        b = rng.normal(0, 0.7)
        fleet = weibull_spells(
            rng, n_hulls=12, effect=[b], shape=np.exp(log_shape), scale=np.exp(log_scale)
        )
        draws = fitted(fleet, prior).draws
        truth = np.array([log_shape, log_scale, b])
        low, high = np.quantile(draws, [0.05, 0.95], axis=0)
        inside += (low <= truth) & (truth <= high)
        ranks.append((draws < truth).mean(axis=0))
    # binomial(120, 0.9): outside 97..118 has chance 0.4 % for each of three
    assert np.all((inside >= 97) & (inside <= 118)), inside
    # mean rank of a uniform: 0.5 +- 3 / sqrt(12 * 120)
    np.testing.assert_allclose(np.mean(ranks, axis=0), 0.5, atol=3 / np.sqrt(12 * n_fleets))


@pytest.mark.parametrize("seed", range(4))
def test_300_failures_recover_the_truth_and_silence_the_prior(seed: int) -> None:
    many = weibull_spells(
        np.random.default_rng(seed), n_hulls=900, effect=[0.6, 0.0], shape=1.5, scale=300
    )
    fit = fitted(many, n_draws=1000)
    assert fit.n_events > 250
    truth = np.array([np.log(1.5), np.log(300), 0.6, 0.0])
    assert np.all(np.abs(fit.mode - truth) < 4 * fit.draws.std(axis=0))
    assert np.all(fit.prior_shares() < 0.1)
    np.testing.assert_allclose(fit.mode, fit.unaided, atol=0.15)
    assert judge_hazard_fit(fit, ASSUMPTIONS).outcome == "believed"


def test_no_failure_leaves_the_prior_and_says_so() -> None:
    # two hours of one engine teach nothing
    fit = fit_weibull_hazard(
        [0.0], [2.0], [0], [[1.0]], names=["shortfall"], step=[1], centre=[0], prior=PRIOR,
        n_draws=4000, rng=np.random.default_rng(1),
    )  # fmt: skip
    np.testing.assert_allclose(fit.mode, [0.4, 6.9, 0.0], atol=0.02)
    np.testing.assert_allclose(fit.prior_shares(), 1.0, atol=0.08)
    assert fit.unaided is None
    assert fit.unaided_why_not == "no failure on record"
    (effect,) = fit.effects(0.95)
    assert effect.unaided_ratio is None
    # normal prior of sd 0.7: limits exp(+-1.96 * 0.7); quantiles of some 3,000 draws
    assert effect.low == pytest.approx(np.exp(-1.96 * 0.7), rel=0.15)
    assert effect.high == pytest.approx(np.exp(1.96 * 0.7), rel=0.15)
    verdict = judge_hazard_fit(fit, ASSUMPTIONS)
    assert verdict.outcome == "not enough record"
    assert "the prior" in verdict.reasons[0]


def test_long_running_without_failure_moves_the_scale_up() -> None:
    n = 40
    fit = fit_weibull_hazard(
        np.zeros(n), np.full(n, 400.0), np.zeros(n), np.zeros((n, 0)), names=[], step=[],
        centre=[], prior=PRIOR, n_draws=500, rng=np.random.default_rng(1),
    )  # fmt: skip
    assert fit.mode[1] > 7.5
    assert fit.draws.shape == (500, 2)


def test_three_failures_shrink_towards_no_effect_and_are_doubtful() -> None:
    few = weibull_spells(np.random.default_rng(6), n_hulls=10, effect=[0.5, 0.0, 0.0])
    fit = fitted(few)
    assert 1 <= fit.n_events <= 5
    assert np.all(np.abs(fit.mode[2:]) < 1.5)
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
    assert fit.unaided is None
    assert "x2 has no finite estimate" in fit.unaided_why_not
    effect = fit.effects(0.95)[1]
    assert effect.high < 1
    assert effect.unaided_ratio is None


def test_cumulative_hazard_follows_the_formula_and_adds_up(spells: Simulated) -> None:
    fit = fitted(spells, step=[2.0, 0.5], centre=[1.0, -1.0])
    x = np.array([[0.5, 0.2], [2.0, 1.0]])
    found = fit.cumulative_hazard([100, 0], [180, 40], x)
    assert found.shape == (500, 2)
    k, s = np.exp(fit.draws[:, 0]), np.exp(fit.draws[:, 1])
    b1, b2 = fit.draws[:, 2], fit.draws[:, 3]
    by_hand = ((180 / s) ** k - (100 / s) ** k) * np.exp(b1 * (0.5 - 1) / 2 + b2 * (0.2 + 1) / 0.5)
    np.testing.assert_allclose(found[:, 0], by_hand, rtol=1e-12)
    parts = fit.cumulative_hazard([100, 130], [130, 180], x[[0, 0]])
    np.testing.assert_allclose(parts.sum(axis=1), found[:, 0], rtol=1e-10)
    at_mode = fit.mode_cumulative_hazard([100, 0, 50], [180, 40, 50], x[[0, 1, 0]])
    assert at_mode[2] == 0
    k, s = np.exp(fit.mode[:2])
    assert at_mode[1] == pytest.approx(
        (40 / s) ** k * np.exp(fit.mode[2] * 0.5 + fit.mode[3] * 4), rel=1e-12
    )


def test_step_and_centre_change_the_unit_and_not_the_unaided_answer(spells: Simulated) -> None:
    plain = fitted(spells)
    other = fitted(spells, step=[2.0, 0.5], centre=[1.0, -1.0])
    np.testing.assert_allclose(other.unaided[2:], plain.unaided[2:] * [2.0, 0.5], rtol=1e-7)
    effects = other.effects(0.9)
    assert [e.step for e in effects] == [2.0, 0.5]
    assert effects[0].unaided_ratio == pytest.approx(np.exp(plain.unaided[2] * 2), rel=1e-7)
    assert all(e.low < e.hazard_ratio < e.high for e in effects)


def test_same_generator_same_bytes(spells: Simulated) -> None:
    assert fitted(spells).draws.tobytes() == fitted(spells).draws.tobytes()


def test_a_wider_prior_leaves_less_of_itself(spells: Simulated) -> None:
    wide = HazardPrior(0.4, 4.0, 6.9, 10.0, 7.0)
    assert np.all(fitted(spells, wide).prior_shares() < fitted(spells).prior_shares())
    np.testing.assert_allclose(fitted(spells, wide).mode, fitted(spells).unaided, atol=0.05)


def test_no_prior_at_all_is_an_infinite_sd(spells: Simulated) -> None:
    sums = SpellSums.of(spells.start, spells.stop, spells.event, spells.x)
    flat = NormalPrior(np.zeros(4), np.full(4, np.inf))
    _, gradient, _ = log_posterior(fitted(spells).unaided, sums, flat)
    np.testing.assert_allclose(gradient, 0, atol=1e-6)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"start": [-1.0, 0.0]}, r"Row 0: start -1 h is before the life began"),
        ({"start": [5.0, 0.0]}, r"Row 0: start 5 is not before stop 5"),
        ({"event": [1, 3]}, r"Row 1: event is 3"),
        ({"x": [[1.0], [np.inf]]}, r"Row 1: shortfall is missing or not finite"),
        ({"step": [0.0]}, r"step of shortfall must be above zero"),
        ({"centre": [0.0, 1.0]}, r"step has 1 and centre 2 values for 1 names"),
    ],
)
def test_what_cannot_be_used_is_named(change: dict[str, object], message: str) -> None:
    good = {
        "start": [0.0, 0.0],
        "stop": [5.0, 7.0],
        "event": [1, 0],
        "x": [[1.0], [0.0]],
        "step": [1.0],
        "centre": [0.0],
    }
    with pytest.raises(SpellError, match=message):
        fit_weibull_hazard(
            **(good | change),
            names=["shortfall"],
            prior=PRIOR,
            n_draws=10,
            rng=np.random.default_rng(1),
        )


def test_a_future_stretch_that_runs_backwards_is_named(spells: Simulated) -> None:
    with pytest.raises(SpellError, match="Row 1: from 40 h to 30 h is no stretch of a life"):
        fitted(spells).cumulative_hazard([0, 40], [10, 30], np.zeros((2, 2)))


def test_no_spell_at_all_leaves_the_prior() -> None:
    fit = fit_weibull_hazard(
        [], [], [], np.zeros((0, 1)), names=["shortfall"], step=[1], centre=[0], prior=PRIOR,
        n_draws=100, rng=np.random.default_rng(1),
    )  # fmt: skip
    np.testing.assert_allclose(fit.mode, [0.4, 6.9, 0.0])
    assert fit.n_spells == 0


@pytest.mark.parametrize("seed", range(40))
def test_any_record_in_any_unit_gives_finite_answers(seed: int) -> None:
    """A flat unaided likelihood once gave the root of a negative variance (seed 294 of a trial)."""
    rng = np.random.default_rng(seed if seed else 294)
    n, p = int(rng.integers(1, 60)), int(rng.integers(0, 5))
    unit = 10 ** rng.uniform(-3, 6)
    start = rng.uniform(0, 1, n) * unit * (rng.random(n) < 0.5)
    stop = start + (rng.exponential(size=n) * 0.5 + 1e-9) * unit
    x = rng.normal(size=(n, p)) * rng.choice([0.1, 1, 10])
    event = rng.random(n) < rng.choice([0, 0.1, 0.5, 1.0])
    some = Simulated(start, stop, event, x, np.arange(n))
    fit = fitted(some, n_draws=200)
    assert np.isfinite(fit.draws).all()
    assert np.isfinite(fit.cumulative_hazard(stop, stop * 1.1, x)).all()
    assert fit.effective_draws > 50
    assert (fit.unaided is None) == (fit.unaided_why_not is not None)
    if fit.unaided_errors is not None:
        assert np.all(fit.unaided_errors > 0)


def test_a_shape_past_all_numbers_explains_nothing(spells: Simulated) -> None:
    """Was NaN: the hazards of stop and start were both infinite and were subtracted."""
    sums = SpellSums.of(spells.start, spells.stop, spells.event, spells.x)
    prior = PRIOR.of_parameters(2)
    steep, beyond = [np.log(110.0), np.log(0.3), 0.0, 0.0], [800.0, 6.9, 0.0, 0.0]

    found = log_posteriors(np.array([prior.mean, steep, beyond]), sums, prior)

    assert np.isfinite(found[0])
    assert np.isneginf(found[1:]).all()


@pytest.mark.parametrize("nothing", [np.nan, np.inf, -np.inf])
def test_a_proposal_without_a_finite_density_is_never_drawn(nothing: float) -> None:
    """One such proposal made every weight NaN, and the refit's Cholesky stopped the week."""

    def half_normal(theta: np.ndarray) -> np.ndarray:
        return np.where(theta[:, 0] > 0, -0.5 * theta[:, 0] ** 2, nothing)

    draws, worth = weighted_draws(
        half_normal, np.zeros(1), np.eye(1), 4000, np.random.default_rng(3)
    )

    assert (draws > 0).all()
    assert 1 < worth <= 8000
    # Mean of the half normal, sqrt(2 / pi); 0.04 is over four of its standard errors,
    # 0.603 / sqrt(4000) = 0.0095.
    assert draws.mean() == pytest.approx(np.sqrt(2 / np.pi), abs=0.04)


def test_a_density_finite_nowhere_is_an_error_that_says_so() -> None:
    """Never an empty or a made-up posterior."""
    with pytest.raises(ValueError, match="not finite at any draw"):
        weighted_draws(
            lambda theta: np.full(len(theta), np.nan),
            np.zeros(1),
            np.eye(1),
            10,
            np.random.default_rng(3),
        )
