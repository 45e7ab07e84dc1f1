"""What a Cox fit must and must not depend on, and how it refuses."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import CoxPHFitter
from scipy import optimize

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import (
    CollinearityError,
    CoxFitError,
    NoEventsError,
    SeparationError,
    partial_likelihood,
    thinned_coefficients,
)
from ringland.survival.cox.cox_prediction import baseline
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.cox.cox_residuals import martingale_residuals, score_residuals
from ringland.survival.cox.risk_sets import build_risk_sets
from ringland.survival.spell_checks import SpellError

from .simulated_spells import Simulated, gridded_spells, weibull_spells

seeds = st.integers(0, 10_000)
tie_methods = st.sampled_from(["efron", "breslow"])
quick = settings(derandomize=True, deadline=None, max_examples=25)
# Newton stops at 1e-9 standard deviations before its last, doubling step.
SAME = {"rtol": 1e-9, "atol": 1e-10}


def fitted(spells: Simulated, **more: object) -> CoxFit:
    return fit_cox(
        spells.start,
        spells.stop,
        spells.event,
        spells.x,
        names=spells.names,
        **({"cluster": spells.hull} | more),
    )


def assert_same_fit(one: CoxFit, other: CoxFit) -> None:
    np.testing.assert_allclose(one.coef, other.coef, **SAME)
    np.testing.assert_allclose(one.covariance, other.covariance, **SAME)
    np.testing.assert_allclose(one.robust_covariance, other.robust_covariance, **SAME)
    np.testing.assert_allclose(one.loglik, other.loglik, **SAME)


def test_a_row_that_starts_at_the_event_time_is_not_at_risk_at_it() -> None:
    # Events at 5 (x = 1) and 8 (x = 0).  At 5: rows 0 and 1 are at risk, row 2 enters at 5.
    # At 8: rows 1 and 2.  L(b) = e^b / (e^b + 1) * 1 / (1 + e^b)  ->  maximum at b = 0,
    # loglik = -2 log 2.  Were row 2 (x = 1) at risk at 5, b would be negative.
    fit = fit_cox([0, 0, 5], [5, 8, 9], [1, 1, 0], [[1], [0], [1]], names=["x"])
    assert fit.coef[0] == pytest.approx(0.0, abs=1e-12)
    assert fit.loglik == pytest.approx(-2 * np.log(2), rel=1e-12)


def brute_force_loglik(spells: Simulated, weight: np.ndarray, ties: str, b: np.ndarray) -> float:
    """The partial likelihood by its definition: every risk set listed."""
    eta = spells.x @ b
    total = 0.0
    for time in np.unique(spells.stop[spells.event]):
        at_risk = (spells.start < time) & (time <= spells.stop)
        dead = spells.event & (spells.stop == time)
        d, share = dead.sum(), weight[dead].sum() / dead.sum()
        total += weight[dead] @ eta[dead]
        in_set = np.sum(weight[at_risk] * np.exp(eta[at_risk]))
        of_dead = np.sum(weight[dead] * np.exp(eta[dead]))
        for step in range(d):
            total -= share * np.log(in_set - (step / d * of_dead if ties == "efron" else 0))
    return total


@quick
@given(seed=seeds, ties=tie_methods)
def test_likelihood_equals_its_definition_and_the_fit_is_its_maximum(seed: int, ties: str) -> None:
    spells = gridded_spells(seed)
    weight = np.random.default_rng(seed).choice([0.5, 1, 3], len(spells.start))
    fit = fitted(spells, weights=weight, ties=ties)
    at_fit = brute_force_loglik(spells, weight, ties, fit.coef)
    assert fit.loglik == pytest.approx(at_fit, rel=1e-11)
    found = optimize.minimize(
        lambda b: -brute_force_loglik(spells, weight, ties, b), np.zeros(2), tol=1e-10
    )
    np.testing.assert_allclose(fit.coef, found.x, atol=1e-4)  # the optimiser stops at 1e-5


@quick
@given(seed=seeds, ties=tie_methods)
def test_score_and_information_equal_finite_differences(seed: int, ties: str) -> None:
    spells = gridded_spells(seed, p=3)
    data = build_risk_sets(spells.start, spells.stop, spells.event, spells.x, names=spells.names)
    here = np.array([0.3, -0.2, 0.5])

    def at(b: np.ndarray):
        return partial_likelihood(data, b, data.weight, ties)

    h = 1e-5
    for j, e in enumerate(np.eye(3) * h):
        slope = (at(here + e).loglik - at(here - e).loglik) / (2 * h)
        bend = -(at(here + e).score - at(here - e).score) / (2 * h)
        # central differences are right to h squared
        np.testing.assert_allclose(at(here).score[j], slope, rtol=1e-6, atol=1e-6)
        np.testing.assert_allclose(at(here).information[j], bend, rtol=1e-6, atol=1e-6)


@quick
@given(seed=seeds, ties=tie_methods)
def test_row_order_does_not_matter(seed: int, ties: str) -> None:
    spells = gridded_spells(seed)
    order = np.random.default_rng(seed).permutation(len(spells.start))
    assert_same_fit(fitted(spells, ties=ties), fitted(spells.rows(order), ties=ties))


@quick
@given(seed=seeds, ties=tie_methods)
def test_hull_names_do_not_matter(seed: int, ties: str) -> None:
    spells = gridded_spells(seed)
    named = np.array([f"hull {997 * h % 1009}" for h in spells.hull])
    assert_same_fit(fitted(spells, ties=ties), fitted(spells, cluster=named, ties=ties))


@quick
@given(seed=seeds, ties=tie_methods)
def test_splitting_spells_changes_no_estimate(seed: int, ties: str) -> None:
    spells = gridded_spells(seed)
    cut = (spells.start + spells.stop) / 2
    twice = Simulated(
        np.concatenate([spells.start, cut]),
        np.concatenate([cut, spells.stop]),
        np.concatenate([np.zeros_like(spells.event), spells.event]),
        np.concatenate([spells.x, spells.x]),
        np.concatenate([spells.hull, spells.hull]),
    )
    assert_same_fit(fitted(spells, ties=ties), fitted(twice, ties=ties))


@quick
@given(seed=seeds)
def test_whole_weights_are_repeated_rows_under_breslow(seed: int) -> None:
    # Under Efron they are not, nor in R: repeated rows die in a tie, a weighted one does not.
    spells = gridded_spells(seed)
    times = np.random.default_rng(seed).integers(1, 4, len(spells.start))
    repeated = spells.rows(np.repeat(np.arange(len(times)), times))
    assert_same_fit(fitted(spells, weights=times, ties="breslow"), fitted(repeated, ties="breslow"))


@quick
@given(seed=seeds, factor=st.sampled_from([1e-6, 0.01, 7.0, 1e5]), offset=st.sampled_from([0, 1e4]))
def test_unit_and_origin_of_a_column_only_rescale_its_coefficient(
    seed: int, factor: float, offset: float
) -> None:
    spells = gridded_spells(seed)
    other = spells.x.copy()
    other[:, 1] = (other[:, 1] + offset) * factor
    one, two = (
        fitted(spells),
        fitted(Simulated(spells.start, spells.stop, spells.event, other, spells.hull)),
    )
    scale = np.array([1, factor])
    # an origin 1e4 deviations away costs four of the sixteen digits
    np.testing.assert_allclose(two.coef * scale, one.coef, rtol=1e-8, atol=1e-9)
    np.testing.assert_allclose(two.standard_errors * scale, one.standard_errors, rtol=1e-8)


@quick
@given(seed=seeds, ties=tie_methods)
def test_residuals_sum_to_nothing(seed: int, ties: str) -> None:
    fit = fitted(gridded_spells(seed), ties=ties)
    assert martingale_residuals(fit).sum() == pytest.approx(0, abs=1e-10)
    np.testing.assert_allclose(score_residuals(fit).sum(axis=0), 0, atol=1e-9)


def test_strata_alone_give_the_likelihood_of_separate_fits() -> None:
    spells = gridded_spells(5, p=1)
    stratum = np.where(spells.hull % 2 == 0, "north", "south")
    data = build_risk_sets(
        spells.start, spells.stop, spells.event, spells.x, names=["x"], strata=stratum
    )
    together = partial_likelihood(data, np.array([0.4]), data.weight, "efron")
    apart = 0.0
    for name in ("north", "south"):
        part = spells.rows(stratum == name)
        data = build_risk_sets(part.start, part.stop, part.event, part.x, names=["x"])
        apart += partial_likelihood(data, np.array([0.4]), data.weight, "efron").loglik
    assert together.loglik == pytest.approx(apart, rel=1e-12)


def test_a_huge_risk_that_leaves_costs_no_digits() -> None:
    # One row weighs 1e13 times the others and leaves at 2: what is left over of a running
    # sum is then only its rounding, unless the sum is added up afresh.
    spells = gridded_spells(3)
    x = spells.x.copy()
    giant = int(np.flatnonzero((spells.stop <= 3) & spells.event)[0])
    x[giant] = [30.0, 0.0]
    spells = Simulated(spells.start, spells.stop, spells.event, x, spells.hull)
    data = build_risk_sets(spells.start, spells.stop, spells.event, x, names=spells.names)
    b = np.array([1.0, 0.2])
    ours = partial_likelihood(data, b, data.weight, "efron").loglik
    assert ours == pytest.approx(brute_force_loglik(spells, data.weight, "efron", b), rel=1e-10)


def test_many_rows_take_the_thinned_start_and_give_the_same_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    spells = weibull_spells(np.random.default_rng(8), n_hulls=300, effect=[0.5, -0.3])
    plain = fitted(spells)
    monkeypatch.setattr("ringland.survival.cox.cox_maximum.LONG", 100)
    begin = thinned_coefficients(plain.data, "efron")
    assert begin.any()
    assert np.all(np.abs(begin - plain.coef) < 3 * plain.standard_errors)
    assert_same_fit(plain, fitted(spells))


def test_times_equal_but_for_rounding_are_tied() -> None:
    summed = 0.1 + 0.2  # 0.30000000000000004
    x = [[0.3], [-1.0], [0.8], [0.1]]
    exact = fit_cox([0] * 4, [0.3, 0.3, 0.5, 0.6], [1, 1, 1, 0], x, names=["x"])
    rounded = fit_cox([0] * 4, [summed, 0.3, 0.5, 0.6], [1, 1, 1, 0], x, names=["x"])
    assert rounded.loglik == exact.loglik
    late = fit_cox([0, 0, summed, 0], [0.3, 0.3, 0.5, 0.6], [1, 1, 1, 0], x, names=["x"])
    exact_late = fit_cox([0, 0, 0.3, 0], [0.3, 0.3, 0.5, 0.6], [1, 1, 1, 0], x, names=["x"])
    assert late.loglik == exact_late.loglik


def test_null_model_is_nelson_aalen_under_breslow() -> None:
    # 4 lives; events at 2 (4 at risk), 5 (2 at risk): H = 1/4, then 1/4 + 1/2
    fit = fit_cox([0] * 4, [2, 3.5, 5, 6], [1, 0, 1, 0], np.zeros((4, 0)), names=[], ties="breslow")
    np.testing.assert_allclose(baseline(fit).cumulative_hazard, [1 / 4, 1 / 4 + 1 / 2])
    assert fit.loglik == pytest.approx(-np.log(4) - np.log(2))


def test_baseline_is_right_with_delayed_entry_where_lifelines_entry_col_is_not() -> None:
    """lifelines `CoxPHFitter(entry_col=...)` gave .13/.41/.79/1.31 for .5/1/1.5/2 (0.30.3)."""
    rng = np.random.default_rng(11)
    n = 10_295
    x = rng.normal(size=n)
    entry = rng.uniform(0, 2, n)
    dies = rng.exponential(np.exp(-0.5 * x))  # hazard 1 at x = 0: H0(t) = t
    in_view = dies > entry
    x, entry, dies = x[in_view], entry[in_view], dies[in_view]
    stop = np.minimum(dies, entry + rng.uniform(0.2, 1.5, len(dies)))
    event = dies <= stop
    fit = fit_cox(entry, stop, event, x[:, None], names=["x"])
    assert fit.coef[0] == pytest.approx(0.5, abs=4 * fit.standard_errors[0])
    base = baseline(fit)
    at_zero = base.cumulative_hazard * np.exp(-fit.coef[0] * base.centre[0])
    times = np.array([0.5, 1.0, 1.5, 2.0])
    ours = at_zero[np.searchsorted(base.time, times, side="right") - 1]
    # four standard errors of a cumulative hazard over some 5,000 deaths
    np.testing.assert_allclose(ours, times, atol=0.2)
    frame = pd.DataFrame({"entry": entry, "stop": stop, "event": event, "x": x})
    theirs = CoxPHFitter().fit(frame, "stop", "event", entry_col="entry")
    np.testing.assert_allclose(theirs.params_["x"], fit.coef[0], rtol=1e-4)
    at_mean = theirs.baseline_cumulative_hazard_.iloc[:, 0]
    trap = at_mean.asof(times).to_numpy() * np.exp(-fit.coef[0] * x.mean())
    assert np.all(trap < 0.8 * times), "lifelines is mended: its baseline may be used again"


def test_known_effects_lie_within_their_limits_about_as_often_as_stated() -> None:
    inside = 0
    for seed in range(60):
        spells = weibull_spells(
            np.random.default_rng(seed), n_hulls=80, effect=[0.6, 0.0], lives_each=2, frailty=0.3
        )
        limits = fitted(spells).limits(0.95)
        # a shared factor of variance 0.3 flattens the marginal effect a little; 0 stays 0
        inside += limits[1, 0] <= 0.0 <= limits[1, 1]
    # 60 draws at 0.95: fewer than 51 or all 60 missing has chance below 0.2 %
    assert 51 <= inside <= 60


def test_separation_is_an_error_that_names_the_column() -> None:
    spells = weibull_spells(np.random.default_rng(1), n_hulls=40, effect=[0.3])
    is_marked = np.where(spells.event, 1.0, 0.0)  # known only to those that fail
    x = np.column_stack([spells.x, is_marked])
    with pytest.raises(SeparationError, match="marked to plus infinity") as caught:
        fit_cox(spells.start, spells.stop, spells.event, x, names=["x1", "marked"])
    assert caught.value.columns == ("marked",)


def test_quasi_separation_is_an_error_that_names_the_column() -> None:
    # no failure at all among the forged: the coefficient of a flag runs to minus infinity
    spells = weibull_spells(np.random.default_rng(2), n_hulls=60, effect=[0.3])
    forged = (spells.hull % 3 == 0) & ~np.isin(spells.hull, spells.hull[spells.event])
    x = np.column_stack([spells.x, forged])
    with pytest.raises(SeparationError, match="forged to minus infinity"):
        fit_cox(spells.start, spells.stop, spells.event, x, names=["x1", "forged"])


def test_collinearity_is_an_error_that_names_the_columns() -> None:
    spells = gridded_spells(7)
    x = np.column_stack([spells.x, spells.x[:, 0] - 2 * spells.x[:, 1] + 3])
    with pytest.raises(CollinearityError, match="both is a combination of x1, x2"):
        fit_cox(spells.start, spells.stop, spells.event, x, names=["x1", "x2", "both"])


def test_a_constant_column_is_an_error_that_names_it() -> None:
    spells = gridded_spells(7)
    x = np.column_stack([spells.x, np.full(len(spells.start), 91.0)])
    with pytest.raises(CollinearityError, match="octane does not vary"):
        fit_cox(spells.start, spells.stop, spells.event, x, names=["x1", "x2", "octane"])


def test_a_column_that_varies_only_between_strata_is_an_error() -> None:
    spells = gridded_spells(7)
    dock = spells.hull % 2
    x = np.column_stack([spells.x, dock])
    with pytest.raises(CollinearityError, match="one_grade does not vary"):
        fit_cox(
            spells.start, spells.stop, spells.event, x, names=["a", "b", "one_grade"], strata=dock
        )


def test_no_event_is_an_error() -> None:
    with pytest.raises(NoEventsError, match="No row ends in the event"):
        fit_cox([0, 0], [1, 2], [0, 0], [[1.0], [2.0]], names=["x"])


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"start": [0, 0, 3]}, r"Row 2: start 3 is not before stop 3"),
        ({"stop": [1, np.nan, 3]}, r"Row 1: stop is missing"),
        ({"x": [[1.0], [np.nan], [2.0]]}, r"Row 1: margin is missing"),
        ({"x": [[1.0, 2.0]] * 3}, r"shape \(3, 2\)"),
        ({"event": [0, 2, 1]}, r"Row 1: event is 2"),
        ({"event": [0, 1]}, r"event has 2 rows, start has 3"),
        ({"weights": [1, 0, 1]}, r"Row 1: weight 0"),
        ({"weights": [1, 1]}, r"weights has 2 rows"),
        ({"cluster": ["a", None, "b"]}, r"Row 1: cluster is missing"),
        ({"cluster": ["a", "b"]}, r"cluster has shape \(2,\)"),
        ({"strata": [1.0, np.nan, 1.0]}, r"Row 1: strata is missing"),
        ({"start": [], "stop": [], "event": [], "x": np.zeros((0, 1))}, r"No rows"),
    ],
)
def test_a_row_that_cannot_be_used_is_named(change: dict[str, object], message: str) -> None:
    good = {"start": [0, 0, 0], "stop": [1, 2, 3], "event": [1, 0, 1], "x": [[1.0], [0.0], [2.0]]}
    with pytest.raises(SpellError, match=message):
        fit_cox(**(good | change), names=["margin"])


def test_an_unknown_treatment_of_ties_is_an_error() -> None:
    with pytest.raises(CoxFitError, match="use 'efron' or 'breslow'"):
        fit_cox([0, 0], [1, 2], [1, 0], [[1.0], [2.0]], names=["x"], ties="exact")
