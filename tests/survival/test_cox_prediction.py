"""Survival along a future covariate path (compared with R in test_r_differential.py)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import stats

from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.cox.cox_maximum import partial_likelihood
from ringland.survival.cox.cox_prediction import (
    BeyondRecordError,
    baseline,
    predict_survival,
)
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.spell_checks import SpellError

from .simulated_spells import gridded_spells, weibull_spells


@pytest.fixture(scope="module")
def fit() -> CoxFit:
    spells = weibull_spells(np.random.default_rng(4), n_hulls=80, effect=[0.7, -0.4])
    return fit_cox(
        spells.start,
        spells.stop,
        spells.event,
        spells.x,
        names=["shortfall", "idle"],
        cluster=spells.hull,
    )


PATH = ([120.0, 150.0, 200.0], [150.0, 200.0, 260.0], [[0.5, 0.0], [1.5, -1.0], [-0.5, 2.0]])


def hazard_of_path(fit: CoxFit, coef: np.ndarray) -> float:
    """The path's cumulative hazard by its definition, baseline refitted at `coef`."""
    sums = partial_likelihood(fit.data, coef, fit.data.weight, fit.ties, keep=True)
    total = 0.0
    for start, stop, x in zip(*PATH, strict=True):
        inside = (fit.data.slot_time > start) & (fit.data.slot_time <= stop)
        total += np.exp((np.array(x) - fit.data.centre) @ coef) * sums.hazard[inside].sum()
    return total


def test_variance_is_the_baseline_part_and_the_gradient_part(fit: CoxFit) -> None:
    path = predict_survival(fit, *PATH, confidence=0.95)
    assert path.cumulative_hazard[-1] == pytest.approx(hazard_of_path(fit, fit.coef), rel=1e-12)
    h = 1e-5
    gradient = np.array(
        [
            (hazard_of_path(fit, fit.coef + e) - hazard_of_path(fit, fit.coef - e)) / (2 * h)
            for e in np.eye(2) * h
        ]
    )
    own = 0.0
    for start, stop, x in zip(*PATH, strict=True):
        inside = (fit.data.slot_time > start) & (fit.data.slot_time <= stop)
        risk = np.exp((np.array(x) - fit.data.centre) @ fit.coef)
        own += risk**2 * fit.sums.hazard_variance[inside].sum()
    variance = own + gradient @ fit.robust_covariance @ gradient
    # central differences are right to h squared
    assert path.standard_error[-1] == pytest.approx(np.sqrt(variance), rel=1e-7)


def test_survival_starts_near_one_never_rises_and_lies_within_its_limits(fit: CoxFit) -> None:
    for scale in ("log-log", "log", "plain"):
        path = predict_survival(fit, *PATH, confidence=0.9, scale=scale)
        assert np.all(np.diff(path.survival) <= 0)
        assert np.all((path.low >= 0) & (path.low <= path.survival))
        assert np.all((path.high <= 1) & (path.high >= path.survival))
        np.testing.assert_allclose(path.survival, np.exp(-path.cumulative_hazard))


def test_log_log_limits_are_symmetric_in_the_log_hazard(fit: CoxFit) -> None:
    path = predict_survival(fit, *PATH, confidence=0.9)
    z = stats.norm.ppf(0.95)
    width = z * path.standard_error / path.cumulative_hazard
    np.testing.assert_allclose(np.log(-np.log(path.low)), np.log(path.cumulative_hazard) + width)
    np.testing.assert_allclose(np.log(-np.log(path.high)), np.log(path.cumulative_hazard) - width)


def test_cutting_a_stretch_in_two_changes_nothing(fit: CoxFit) -> None:
    whole = predict_survival(fit, [100], [200], [[1, 0]], confidence=0.95)
    halves = predict_survival(fit, [100, 140], [140, 200], [[1, 0], [1, 0]], confidence=0.95)
    np.testing.assert_allclose(whole.survival, halves.survival)
    np.testing.assert_allclose(whole.standard_error, halves.standard_error)


def test_conditional_survival_is_the_ratio_of_survivals(fit: CoxFit) -> None:
    to_200 = predict_survival(fit, [0], [200], [[1, 0]], confidence=0.95)
    to_100 = predict_survival(fit, [0], [100], [[1, 0]], confidence=0.95)
    then = predict_survival(fit, [100], [200], [[1, 0]], confidence=0.95)
    assert then.survival[-1] == pytest.approx(to_200.survival[-1] / to_100.survival[-1])


def test_limits_cover_the_true_survival_about_as_often_as_stated() -> None:
    inside = 0
    path = ([50.0, 100.0], [100.0, 150.0], [[1.0], [-0.5]])
    # hazard (t / 300)^1.5 e^{0.6 x}
    h = [(t / 300) ** 1.5 for t in (50, 100, 150)]
    truth = np.exp(-(h[1] - h[0]) * np.exp(0.6) - (h[2] - h[1]) * np.exp(-0.3))
    for seed in range(60):
        spells = weibull_spells(np.random.default_rng(seed), n_hulls=120, effect=[0.6])
        fit = fit_cox(
            spells.start, spells.stop, spells.event, spells.x, names=["x"], cluster=spells.hull
        )
        found = predict_survival(fit, *path, confidence=0.95)
        inside += found.low[-1] <= truth <= found.high[-1]
    assert 51 <= inside <= 60  # binomial(60, 0.95): below 51 has chance 0.2 %


def test_each_stratum_has_its_own_baseline() -> None:
    spells = gridded_spells(3)
    stratum = np.where(spells.hull % 2, "cast", "forged")
    fit = fit_cox(
        spells.start, spells.stop, spells.event, spells.x, names=spells.names, strata=stratum
    )
    for name in ("cast", "forged"):
        base = baseline(fit, stratum=name)
        own_events = spells.stop[spells.event & (stratum == name)]
        np.testing.assert_array_equal(base.time, np.unique(own_events))
    with pytest.raises(SpellError, match="Name a stratum; the fit has cast, forged"):
        baseline(fit)
    with pytest.raises(SpellError, match="no stratum 'steel'"):
        baseline(fit, stratum="steel")


def test_a_path_beyond_the_record_is_refused(fit: CoxFit) -> None:
    with pytest.raises(BeyondRecordError, match="The path runs to 5000"):
        predict_survival(fit, [100], [5000], [[0, 0]], confidence=0.95)


def test_a_gap_in_a_path_is_named(fit: CoxFit) -> None:
    with pytest.raises(SpellError, match="Row 1: starts at 160, the row before ends at 150"):
        predict_survival(fit, [100, 160], [150, 200], [[0, 0], [0, 0]], confidence=0.95)


def test_without_clusters_the_model_covariance_is_used(fit: CoxFit) -> None:
    plain = replace(fit, robust_covariance=None)
    wide = predict_survival(fit, *PATH, confidence=0.95).standard_error[-1]
    assert predict_survival(plain, *PATH, confidence=0.95).standard_error[-1] != wide
    np.testing.assert_array_equal(plain.best_covariance, fit.covariance)


def test_log_limits_are_symmetric_in_the_cumulative_hazard(fit: CoxFit) -> None:
    path = predict_survival(fit, *PATH, confidence=0.9, scale="log")
    width = stats.norm.ppf(0.95) * path.standard_error
    np.testing.assert_allclose(path.low, np.exp(-path.cumulative_hazard - width))
    np.testing.assert_allclose(path.high, np.minimum(np.exp(-path.cumulative_hazard + width), 1.0))
