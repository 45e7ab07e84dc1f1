"""A stated shape with few or no failures, against the closed forms of the references."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from ringland.survival.lives.few_failures import (
    exponential_life,
    fixed_shape_life,
    zero_failure_bound,
)
from ringland.survival.lives.life_data import LifeDataError, bounded_lives, ended_lives

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
CHECKS = json.loads((REFERENCE / "checks.json").read_text())
FANS = pl.read_csv(REFERENCE / "genfan.csv")
CLOSED_FORM = 1e-9


def fans():
    return ended_lives(FANS["hours"], FANS["status"])


@pytest.mark.parametrize("shape", [1.5, 2, 3])
def test_fixed_shape_agrees_with_nelson(shape):
    """Check B4: generator fans, closed form; the record ended by time, so 2r + 2."""
    values = CHECKS["B4"]["values"]
    fit = fixed_shape_life(fans(), shape)
    got = [fit.scale.value, fit.scale_lower, fit.log_likelihood, fit.life_by(0.10).value]
    keys = ["eta", "lower95_onesided_time_censored", "loglik", "B10"]
    assert got == pytest.approx([values[f"b={shape:g}.{key}"] for key in keys], rel=CLOSED_FORM)


def test_exponential_mean_and_chi_square_limits_agree_with_nelson():
    """Check B2: mean life of the fans with the type I approximation."""
    values = CHECKS["B2"]["values"]
    scale = exponential_life(fans()).scale
    assert scale.value == pytest.approx(values["exp_theta"], rel=CLOSED_FORM)
    assert [scale.low, scale.high] == pytest.approx(
        values["exp_theta_chi2_95_type1approx"], rel=CLOSED_FORM
    )


@pytest.mark.parametrize("shape", [1, 2, 3])
@pytest.mark.parametrize("level", [1 - np.exp(-1), 0.90, 0.95])
def test_zero_failure_bound_agrees_with_nelson(shape, level):
    """Check B6: ten units without failure; 0.6321 stands for 1 - 1/e."""
    hours = [120.0, 180, 240, 300, 95, 410, 330, 270, 205, 150]
    expected = CHECKS["B6"]["values"][f"b={shape}.cl={level:.4f}.eta_lower"]
    assert zero_failure_bound(hours, shape, confidence=level) == pytest.approx(
        expected, rel=CLOSED_FORM
    )


def test_no_failures_give_a_bound_and_no_best_value():
    fit = fixed_shape_life(ended_lives([100.0, 200.0], [0, 0]), 2.0)
    assert fit.n_failures == 0
    assert fit.scale.value == np.inf
    assert fit.scale.high == np.inf
    assert 0 < fit.scale.low < fit.scale_lower


def test_hours_before_entry_do_not_count():
    late = exponential_life(ended_lives([100.0, 200.0], [1, 0], entry=[40.0, 150.0]))
    assert late.scale.value == pytest.approx(110.0, rel=CLOSED_FORM)  # 60 + 50 hours, 1 failure


def test_narrow_bounds_give_the_exact_answer():
    """Two routes: likelihood-ratio fit on hair-thin intervals against the closed form."""
    exact = fans()
    upper = np.where(exact.is_running, np.inf, exact.lower * (1 + 1e-7))
    thin = bounded_lives(exact.lower, upper, count=exact.count)
    got, expected = fixed_shape_life(thin, 2.0), fixed_shape_life(exact, 2.0)
    assert got.scale.value == pytest.approx(expected.scale.value, rel=1e-6)  # width 1e-7
    # the two kinds of limits differ, but not by much at twelve failures
    assert got.scale.low == pytest.approx(expected.scale.low, rel=0.05)


@pytest.mark.parametrize("shape", [0.0, -1.0, np.nan])
def test_shape_that_is_not_positive_is_refused(shape):
    with pytest.raises(ValueError, match="give a positive number"):
        fixed_shape_life(fans(), shape)


def test_failures_with_no_lower_bound_at_all_are_refused():
    with pytest.raises(LifeDataError, match="last time known good"):
        fixed_shape_life(bounded_lives([0.0, 0.0], [10.0, 20.0]), 2.0)
