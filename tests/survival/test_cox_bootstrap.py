"""Hulls drawn with replacement, and the verdict on a fit."""

from __future__ import annotations

import numpy as np
import pytest

from ringland.settings.assumptions import load_assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import CoxFitError, NoEventsError, SeparationError
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.hull_bootstrap import (
    NO_EVENT,
    HullBootstrap,
    bootstrap_hulls,
    jackknife_hulls,
)
from ringland.survival.hazard.fit_checks import judge_cox_fit

from .simulated_spells import Simulated, weibull_spells

ASSUMPTIONS = load_assumptions()


def fitted(spells: Simulated, **more: object) -> CoxFit:
    return fit_cox(
        spells.start,
        spells.stop,
        spells.event,
        spells.x,
        names=spells.names,
        cluster=spells.hull,
        **more,
    )


@pytest.fixture(scope="module")
def spells() -> Simulated:
    return weibull_spells(
        np.random.default_rng(5), n_hulls=150, effect=[0.5, 0.0], lives_each=2, frailty=0.5
    )


def test_a_replicate_is_the_fit_to_the_drawn_hulls_repeated(spells: Simulated) -> None:
    fit = fitted(spells, ties="breslow")
    bootstrap = bootstrap_hulls(fit, 5, np.random.default_rng(3))
    rng = np.random.default_rng(3)
    for draw in bootstrap.draws:
        times = rng.multinomial(150, np.full(150, 1 / 150))
        rows = np.repeat(np.arange(len(spells.start)), times[spells.hull])
        again = fitted(spells.rows(rows), ties="breslow")
        # both stop where the last Newton step is 1e-9 standard deviations
        np.testing.assert_allclose(draw, again.coef, rtol=1e-9, atol=1e-10)


def test_errors_agree_with_the_sandwich_when_hulls_are_many(spells: Simulated) -> None:
    fit = fitted(spells)
    bootstrap = bootstrap_hulls(fit, 400, np.random.default_rng(1))
    # 400 replicates give an error to 3.5 % (one sd); the two methods differ by order 1/hulls
    np.testing.assert_allclose(bootstrap.standard_errors, fit.robust_errors, rtol=0.15)
    limits = bootstrap.limits(0.95)
    assert np.all((limits[:, 0] < fit.coef) & (fit.coef < limits[:, 1]))
    assert not bootstrap.failed
    assert bootstrap.failed_share == 0


def test_same_generator_same_draws(spells: Simulated) -> None:
    fit = fitted(spells)
    one, two = (bootstrap_hulls(fit, 10, np.random.default_rng(9)) for _ in range(2))
    np.testing.assert_array_equal(one.draws, two.draws)


def failing_bootstrap() -> tuple[CoxFit, HullBootstrap]:
    # one marked hull alone fails among the marked: left out of a draw, 'marked' separates
    spells = weibull_spells(np.random.default_rng(2), n_hulls=40, effect=[0.3])
    failing = np.unique(spells.hull[spells.event])
    sound = np.setdiff1d(spells.hull, failing)
    marked = np.isin(spells.hull, [failing[0], *sound[:6]])
    x = np.column_stack([spells.x, marked])
    fit = fit_cox(
        spells.start, spells.stop, spells.event, x, names=["x1", "marked"], cluster=spells.hull
    )
    return fit, bootstrap_hulls(fit, 100, np.random.default_rng(4))


def test_replicates_without_an_estimate_are_counted_by_reason() -> None:
    _, bootstrap = failing_bootstrap()
    # a hull is left out of a draw with chance (1 - 1/40)^40 = 0.36: 22 to 51 of 100 (3 sd)
    assert 22 <= bootstrap.failed["separation: marked"] <= 51
    assert len(bootstrap.draws) + sum(bootstrap.failed.values()) == bootstrap.n_asked
    assert bootstrap.failed_share == pytest.approx(sum(bootstrap.failed.values()) / 100)


def test_draws_with_no_event_are_counted() -> None:
    # two hulls of eight fail: neither is drawn with chance (6/8)^8 = 0.10
    start, stop = np.zeros(8), np.arange(1.0, 9.0)
    event = np.isin(np.arange(8), [2, 5])
    x = np.array([0.1, -0.4, 0.2, 1.0, -0.9, 0.3, 0.8, -0.2])[:, None]
    fit = fit_cox(start, stop, event, x, names=["x"], cluster=np.arange(8))
    bootstrap = bootstrap_hulls(fit, 200, np.random.default_rng(6))
    assert 5 <= bootstrap.failed[NO_EVENT] <= 40


def test_without_clusters_there_is_nothing_to_draw(spells: Simulated) -> None:
    fit = fit_cox(spells.start, spells.stop, spells.event, spells.x, names=spells.names)
    with pytest.raises(CoxFitError, match="fit with cluster="):
        bootstrap_hulls(fit, 10, np.random.default_rng(1))


def test_a_sound_fit_is_believed() -> None:
    spells = weibull_spells(np.random.default_rng(5), n_hulls=150, effect=[0.5, 0.0])
    verdict = judge_cox_fit(fitted(spells), ASSUMPTIONS)
    assert verdict.outcome == "believed", verdict.reasons
    assert verdict.reasons == ()


def test_few_failures_and_few_hulls_make_a_fit_doubtful() -> None:
    spells = weibull_spells(np.random.default_rng(3), n_hulls=25, effect=[0.5, 0.0])
    fit = fitted(spells)
    verdict = judge_cox_fit(fit, ASSUMPTIONS)
    assert verdict.outcome == "doubtful"
    text = " ".join(verdict.reasons)
    assert f"Failures on record: {fit.n_events}, factors: 2" in text
    assert "25 hulls, fewer than 48" in text


def test_failed_replicates_make_a_fit_doubtful() -> None:
    fit, bootstrap = failing_bootstrap()
    verdict = judge_cox_fit(fit, ASSUMPTIONS, bootstrap)
    assert any("separation: marked" in reason for reason in verdict.reasons)


def test_an_effect_that_fades_makes_a_fit_doubtful() -> None:
    rng = np.random.default_rng(12)
    x = rng.integers(0, 2, 600).astype(float)
    # x triples the hazard before 100 h and thirds it after
    early = rng.exponential(200 / 3 ** (2 * x - 1))
    late = 100 + rng.exponential(200 / 3 ** (1 - 2 * x))
    stop = np.where(early < 100, early, late)
    fit = fit_cox(np.zeros(600), stop, np.ones(600), x[:, None], names=["booster"])
    verdict = judge_cox_fit(fit, ASSUMPTIONS)
    assert verdict.outcome == "doubtful"
    assert "most of all booster" in verdict.reasons[0]


def test_an_error_means_not_enough_record() -> None:
    verdict = judge_cox_fit(NoEventsError("No row ends in the event."), ASSUMPTIONS)
    assert verdict.outcome == "not enough record"
    assert verdict.reasons == ("No row ends in the event.",)


def test_tiny_fleets_give_a_fit_or_a_clear_error_and_never_anything_else() -> None:
    """A nearly separated fleet once divided by an underflowed risk set inside the kernel."""
    outcomes = {"fitted": 0, "refused": 0}
    for seed in range(150):
        rng = np.random.default_rng(seed)
        fleet = weibull_spells(rng, n_hulls=6, effect=[1.5, 0.0], spell=50)
        try:
            bootstrap = bootstrap_hulls(fitted(fleet), 30, rng)
        except CoxFitError:
            outcomes["refused"] += 1
            continue
        outcomes["fitted"] += 1
        assert np.isfinite(bootstrap.draws).all()
        assert len(bootstrap.draws) + sum(bootstrap.failed.values()) == 30
    assert min(outcomes.values()) > 10


def test_jackknife_is_the_spread_of_fits_without_each_hull() -> None:
    few = weibull_spells(np.random.default_rng(5), n_hulls=12, effect=[0.5], lives_each=3)
    fit = fitted(few)
    left = np.array([fitted(few.rows(few.hull != hull)).coef[0] for hull in range(12)])
    variance = 11 / 12 * np.sum((left - left.mean()) ** 2)
    jackknife = jackknife_hulls(fit)
    # both stop where the last Newton step is 1e-9 standard deviations
    np.testing.assert_allclose(jackknife.covariance, [[variance]], rtol=1e-7)
    # Student's quantile at 11 degrees of freedom, 0.975: 2.2010 in any table
    half = (jackknife.limits(0.95)[0, 1] - fit.coef[0]) / np.sqrt(variance)
    assert half == pytest.approx(2.2010, abs=5e-5)
    np.testing.assert_array_equal(jackknife.into(fit).best_covariance, jackknife.covariance)


def test_jackknife_nears_the_sandwich_from_above_when_hulls_are_many(spells: Simulated) -> None:
    fit = fitted(spells)
    ratio = np.sqrt(np.diag(jackknife_hulls(fit).covariance)) / fit.robust_errors
    assert np.all((ratio > 1) & (ratio < 1.1))


def test_jackknife_refuses_where_one_hull_carries_the_answer() -> None:
    fit, _ = failing_bootstrap()
    with pytest.raises(SeparationError, match="marked"):
        jackknife_hulls(fit)
    alone = fit_cox(
        [0, 0, 0], [2, 3, 4], [1, 0, 0], [[0.1], [0.5], [-0.3]], names=["x"], cluster=[1, 2, 2]
    )
    with pytest.raises(NoEventsError, match="One hull holds every event"):
        jackknife_hulls(alone)


def test_failures_at_one_time_cannot_test_a_change_and_the_verdict_says_so() -> None:
    x = [[0.1], [0.4], [-0.8], [0.9], [-0.2]]
    fit = fit_cox([0] * 5, [2, 3, 4, 2, 6], [1, 0, 0, 1, 0], x, names=["shortfall"])
    reasons = judge_cox_fit(fit, ASSUMPTIONS).reasons
    assert any("Failures on record: 2, factors: 1" in reason for reason in reasons)
    assert any("at too few times, to test" in reason for reason in reasons)
