"""Weibull and lognormal lives against handbook examples, lifelines, and known truth."""

import json
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.few_failures import fixed_shape_life
from ringland.survival.lives.life_data import bounded_lives, ended_lives
from ringland.survival.lives.life_distributions import LOGNORMAL, WEIBULL
from ringland.survival.lives.life_likelihood import LifeLikelihood
from ringland.survival.lives.life_limits import (
    B10,
    SCALE,
    SHAPE,
    life_by,
    profile_limits,
    reliability_at,
    value_of,
    wald_limits,
)
from ringland.survival.lives.parametric_life import NoFiniteFitError, fit_life, parameter_draws

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
CHECKS = json.loads((REFERENCE / "checks.json").read_text())
HANDBOOK = {
    "B1": ("nist_weibull_20units.csv", "hours", "failed"),  # NIST e-Handbook 8.4.1.3
    "B2": ("genfan.csv", "hours", "status"),  # Nelson (1982), diesel generator fans
    "B11": ("abernethy_c5.csv", "t", "d"),  # Abernethy, App. C.5
}
FITTED = 1e-5  # the reference's own optimiser stops there
LIMITS = 1e-4  # stated with the reference for likelihood-ratio limits


def handbook_lives(check):
    file, hours, failed = HANDBOOK[check]
    rows = pl.read_csv(REFERENCE / file)
    return ended_lives(rows[hours], rows[failed])


def turbine_lives():
    """Check B8's wheels: each inspected once; failed ones lie in (0, hours]."""
    rows = pl.read_csv(REFERENCE / "turbine_wheel_inspections.csv")
    hours = rows["hours"].to_numpy().astype(float)
    failed = rows["failed"].to_numpy()
    sound = rows["inspected"].to_numpy() - failed
    lower = np.concatenate([hours, np.zeros_like(hours)])
    upper = np.concatenate([np.full_like(hours, np.inf), hours])
    count = np.concatenate([sound, failed])
    kept = count > 0
    return bounded_lives(lower[kept], upper[kept], count=count[kept])


@pytest.mark.parametrize("check", HANDBOOK)
def test_weibull_fit_and_both_kinds_of_limits_agree_with_the_handbook(check):
    values = CHECKS[check]["values"]
    fit = fit_life(handbook_lives(check))
    assert fit.shape == pytest.approx(values["beta"], rel=FITTED)
    assert fit.scale == pytest.approx(values["eta"], rel=FITTED)
    assert fit.log_likelihood == pytest.approx(values["loglik"], rel=1e-9)  # flat at its top
    assert value_of(fit, B10) == pytest.approx(values["B10"], rel=FITTED)
    errors = np.sqrt(np.diag(fit.covariance))
    assert errors == pytest.approx([values["se_log_eta"], values["se_log_beta"]], rel=FITTED)
    for quantity, key in [(SHAPE, "beta"), (SCALE, "eta")]:
        wald, profile = wald_limits(fit, quantity), profile_limits(fit, quantity)
        assert [wald.low, wald.high] == pytest.approx(values[f"wald95_{key}"], rel=FITTED)
        assert [profile.low, profile.high] == pytest.approx(values[f"lr95_{key}"], rel=LIMITS)
        assert (wald.method[:4], profile.method) == ("Wald", "profile likelihood")
    if "AIC" in values:
        assert fit.aic == pytest.approx(values["AIC"], rel=1e-8)


@pytest.mark.parametrize("distribution", [WEIBULL, LOGNORMAL], ids=["weibull", "lognormal"])
def test_wheels_inspected_once_agree_with_survreg(distribution):
    """Check B8: Nelson (1982) chapter 9; R survreg with interval2 data."""
    values = CHECKS["B8"]["values"]
    fit = fit_life(turbine_lives(), distribution)
    tolerance = CHECKS["B8"]["tolerance_rel"]
    if distribution is WEIBULL:
        assert fit.shape == pytest.approx(values["beta"], rel=tolerance)
        assert fit.scale == pytest.approx(values["eta_100h"], rel=tolerance)
        assert fit.log_likelihood == pytest.approx(values["loglik"], rel=1e-8)
        errors = [values["se_log_eta"], values["se_log_beta"]]
        assert np.sqrt(np.diag(fit.covariance)) == pytest.approx(errors, rel=tolerance)
    else:
        assert fit.location == pytest.approx(values["lognormal_mu"], rel=tolerance)
        assert fit.shape == pytest.approx(values["lognormal_sigma"], rel=tolerance)
        assert fit.log_likelihood == pytest.approx(values["lognormal_loglik"], rel=1e-8)


def mixed_lives(seed=7, size=40):
    """Exact, running, left- and interval-bounded lives, some with delayed entry."""
    rng = np.random.default_rng(seed)
    life = 300 * rng.weibull(1.8, size)
    entry = np.where(rng.random(size) < 0.4, rng.uniform(0, 150, size), 0.0)
    entry = np.where(entry < life, entry, 0.0)
    kind = rng.integers(0, 4, size)
    lower = np.select([kind == 0, kind == 1, kind == 2], [life, 0.8 * life, 0.7 * life], 0.0)
    upper = np.select([kind == 0, kind == 1, kind == 2], [life, np.inf, 1.2 * life], 1.1 * life)
    entry = np.where(kind == 1, np.minimum(entry, 0.5 * life), entry)
    return bounded_lives(lower, upper, entry=entry, count=rng.integers(1, 4, size))


@pytest.mark.parametrize("distribution", [WEIBULL, LOGNORMAL], ids=["weibull", "lognormal"])
def test_likelihood_derivatives_agree_with_finite_differences(distribution):
    likelihood = LifeLikelihood.of(mixed_lives(), distribution)
    point, step = np.array([5.4, -0.3]), 1e-5
    curve = likelihood.at(*point)
    for axis in (0, 1):
        move = step * np.eye(2)[axis]
        ahead, behind = likelihood.at(*(point + move)), likelihood.at(*(point - move))
        slope = (ahead.value - behind.value) / (2 * step)
        assert curve.gradient[axis] == pytest.approx(slope, rel=1e-6)  # step error is step squared
        bend = (ahead.gradient - behind.gradient) / (2 * step)
        assert curve.hessian[axis] == pytest.approx(bend, rel=1e-6)


def test_profile_limits_are_where_the_likelihood_ratio_test_turns():
    """Two routes: the limit of B10, against a fine search over the other parameter."""
    lives = mixed_lives()
    fit = fit_life(lives)
    limits = profile_limits(fit, B10)
    allowed = 3.8414588206941254 / 2  # chi-square, one degree of freedom, 95 %
    z = WEIBULL.quantile(0.10)
    for end in (limits.low, limits.high):
        trial = np.linspace(fit.log_scale - 2, fit.log_scale + 2, 40_001)
        best = max(fit.likelihood.at(np.log(end) - np.exp(s) * z, s).value for s in trial[::20])
        assert fit.log_likelihood - best == pytest.approx(allowed, abs=1e-3)  # grid of 0.002


def test_profile_limits_survive_several_tops():
    """Found in the coverage study: two failures among twelve late-entered lives.

    At small scales the likelihood has two tops in shape; following the wrong one broke the
    search for the lower limit.  A grid over shape gives the same limit.
    """
    hours = [357.6, 353.1, 270.1, 342.6, 220.7, 319.7, 491.3, 492.9, 611.0, 535.5, 170.3, 287.1]
    entry = [16.7, 61.1, 8.4, 37.2, 0.0, 108.5, 43.7, 75.1, 108.7, 0.0, 0.0, 98.4]
    fit = fit_life(ended_lives(hours, [1, *[0] * 10, 1], entry=entry))
    low = profile_limits(fit, SCALE).low
    trial = np.linspace(-4, 6, 20_001)
    best = max(fit.likelihood.at(np.log(low), s).value for s in trial)
    # chi-square 3.8415 by half; the grid is 0.0005 apart
    assert fit.log_likelihood - best == pytest.approx(3.8414588206941254 / 2, abs=1e-5)


def test_limits_far_out_are_infinite_not_an_error():
    """One failure among late entries: some direction is never rejected."""
    fit = fit_life(ended_lives([100.0, 150, 200], [1, 0, 0], entry=[90.0, 0, 100]))
    for quantity in (SHAPE, SCALE, B10, reliability_at(100.0)):
        limits = profile_limits(fit, quantity)
        assert limits.low <= limits.value <= limits.high


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 100_000), st.sampled_from([WEIBULL, LOGNORMAL]))
def test_tiny_fleets_give_limits_about_the_estimate_or_a_clear_refusal(seed, distribution):
    """One to eight lives, any mix: never another error, a warning or limits that miss."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 9))
    entry = np.where(rng.random(n) < 0.5, rng.integers(0, 30, n), 0).astype(float)
    exit_ = entry + rng.integers(1, 40, n)
    failed, bounded = rng.random(n) < 0.5, rng.random(n) < 0.3
    lower = np.where(failed & bounded, np.maximum(entry, exit_ - 10), exit_)
    lives = bounded_lives(lower, np.where(failed, exit_, np.inf), entry=entry)
    try:
        fit = fit_life(lives, distribution)
    except NoFiniteFitError:
        return
    for quantity in (SHAPE, SCALE, B10, reliability_at(20.0)):
        for limits in (profile_limits(fit, quantity), wald_limits(fit, quantity)):
            assert limits.low <= limits.value * (1 + 1e-9)
            assert limits.value <= limits.high * (1 + 1e-9)


def test_age_no_life_reaches_is_past_saving():
    fit = fit_life(handbook_lives("B1"))
    assert fit.chance_of_failure(1e9, 1.0) == 1.0
    assert fit.survival(1e9) == 0.0


def test_reliability_limits_and_life_limits_tell_one_story():
    """The age whose lower reliability limit is 0.9 is the lower limit of B10."""
    fit = fit_life(handbook_lives("B1"))
    age = profile_limits(fit, life_by(0.10)).low
    assert profile_limits(fit, reliability_at(age)).low == pytest.approx(0.9, rel=1e-7)


@pytest.mark.parametrize("n_failures", [1, 2, 3])
def test_few_failures_give_wide_limits_and_say_so(n_failures):
    hours = [100.0, 150, 200, 250, 300, 400, 500, 600]
    fit = fit_life(ended_lives(hours, [1] * n_failures + [0] * (8 - n_failures)))
    assert f"rest on {n_failures} failure" in fit.warnings[0]
    shape = profile_limits(fit, SHAPE)
    assert shape.high / shape.low > 5  # not known to a factor of five
    assert shape.low < fit.shape < shape.high


@pytest.mark.parametrize(
    ("hours", "failed", "says"),
    [
        ([5.0, 6.0], [0, 0], "no failures"),
        ([3.0, 2.0, 1.0], [1, 0, 0], "rises without end"),
        ([3.0, 3.0], [1, 1], "rises without end"),
    ],
)
def test_record_that_bounds_no_shape_is_refused_with_a_way_out(hours, failed, says):
    with pytest.raises(NoFiniteFitError, match=says) as caught:
        fit_life(ended_lives(hours, failed))
    assert "fixed_shape_life" in str(caught.value)


def test_one_inspection_age_bounds_no_shape():
    lives = bounded_lives([0.0, 50.0], [50.0, np.inf], count=[4, 6])
    with pytest.raises(NoFiniteFitError):
        fit_life(lives)
    # at a stated shape the share failed settles the scale: F(50) = 0.4
    fit = fixed_shape_life(lives, 2.0)
    assert fit.survival(50.0) == pytest.approx(0.6, rel=1e-9)
    assert "likelihood ratio" in fit.method


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_fits_agree_with_lifelines(seed):
    """lifelines 0.30.3, right for Weibull and lognormal with entry and with intervals."""
    from lifelines import LogNormalFitter, WeibullFitter  # noqa: PLC0415 (1 s import)

    rng = np.random.default_rng(seed)
    life = 400 * rng.weibull(1.7, 150)
    entry = np.where(rng.random(150) < 0.5, rng.uniform(0, 200, 150), 0.0)
    seen = life > entry
    life, entry = life[seen], entry[seen]
    end = np.minimum(life, entry + rng.uniform(100, 400, life.size))
    fit = fit_life(ended_lives(end, life <= end, entry=entry))
    theirs = WeibullFitter().fit(end, life <= end, entry=entry)
    assert fit.shape == pytest.approx(theirs.rho_, rel=1e-4)  # their stopping rule
    assert fit.scale == pytest.approx(theirs.lambda_, rel=1e-4)
    assert fit.log_likelihood == pytest.approx(theirs.log_likelihood_, rel=1e-7)

    lower, upper = np.floor(life / 60) * 60, np.floor(life / 60) * 60 + 60
    lower, upper = np.where(life > 500, 500, lower), np.where(life > 500, np.inf, upper)
    fit = fit_life(bounded_lives(lower, upper), LOGNORMAL)
    theirs = LogNormalFitter().fit_interval_censoring(np.maximum(lower, 1e-9), upper)
    assert fit.location == pytest.approx(theirs.mu_, rel=1e-4)
    assert fit.shape == pytest.approx(theirs.sigma_, rel=1e-4)


@pytest.mark.parametrize("seed", range(6))
def test_interval_bounded_and_truncated_lives_recover_the_truth(seed):
    """Shape 2.2 and scale 500 lie within 99.9 % limits, from inspected, late-entered lives."""
    rng = np.random.default_rng(seed)
    life = 500 * rng.weibull(2.2, 600)
    entry = rng.uniform(0, 400, 600)
    life, entry = life[life > entry], entry[life > entry]
    last_good = entry + np.floor((life - entry) / 80) * 80
    is_over = life > entry + 240
    lower = np.where(is_over, entry + 240, last_good)
    upper = np.where(is_over, np.inf, last_good + 80)
    fit = fit_life(bounded_lives(lower, upper, entry=entry))
    for quantity, truth in [(SHAPE, 2.2), (SCALE, 500.0)]:
        limits = profile_limits(fit, quantity, confidence=0.999)
        assert limits.low < truth < limits.high
    # leaving the delayed entry out must show: it is what the fit corrects for
    ignored = fit_life(bounded_lives(np.maximum(lower, 1.0), upper))
    assert abs(ignored.shape - 2.2) > abs(fit.shape - 2.2)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000), st.floats(0.01, 1000))
def test_unit_of_time_changes_the_scale_only(seed, factor):
    lives = mixed_lives(seed, 30)
    fit = fit_life(lives)
    other = fit_life(
        bounded_lives(
            lives.lower * factor,
            lives.upper * factor,
            entry=lives.entry * factor,
            count=lives.count,
        )
    )
    assert other.shape == pytest.approx(fit.shape, rel=1e-6)  # both stop at a gain of 1e-18
    assert other.scale == pytest.approx(fit.scale * factor, rel=1e-6)


@settings(derandomize=True, deadline=None, max_examples=25)
@given(st.integers(0, 10_000))
def test_counts_are_replication_in_the_fit(seed):
    lives = mixed_lives(seed, 30)
    times = lives.count.astype(int)
    single = bounded_lives(
        np.repeat(lives.lower, times), np.repeat(lives.upper, times),
        entry=np.repeat(lives.entry, times),
    )  # fmt: skip
    one, other = fit_life(lives), fit_life(single)
    assert one.shape == pytest.approx(other.shape, rel=1e-7)
    assert one.n_failures == other.n_failures


def test_chance_of_failure_is_conditional_on_the_age_reached():
    fit = fit_life(handbook_lives("B1"))
    expected = 1 - fit.survival(350.0) / fit.survival(300.0)
    assert fit.chance_of_failure(300.0, 50.0) == pytest.approx(expected, rel=1e-12)
    assert fit.chance_of_failure(0.0, 50.0) == pytest.approx(1 - fit.survival(50.0), rel=1e-12)


def test_draws_centre_on_the_fit_and_repeat_with_the_seed():
    fit = fit_life(handbook_lives("B1"))
    draws = parameter_draws(fit, np.random.default_rng(3), 4000)
    again = parameter_draws(fit, np.random.default_rng(3), 4000)
    assert np.array_equal(draws, again)
    middle = np.exp(np.log(draws).mean(axis=0))
    assert middle == pytest.approx([fit.shape, fit.scale], rel=0.02)  # 3 s.e. of the mean
