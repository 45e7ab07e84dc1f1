"""Calibration by group and by line: by hand, against statsmodels, and on known truth."""

import numpy as np
import pytest
from scipy.special import expit, logit
from scipy.stats import beta

from ringland.survival.forecasts.calibration import calibration_by_group, calibration_line
from ringland.survival.lives.life_data import LifeDataError


def followed_to_the_end(chance, rng):
    """Lives that fail within the horizon of 7 with their chance; nobody leaves early."""
    failed = rng.random(chance.size) < chance
    return np.where(failed, rng.uniform(0.1, 6.9, chance.size), 8.0), failed


def test_groups_by_hand():
    """Two groups of three; one failure in the upper one; exact binomial limits."""
    chance = [0.1, 0.1, 0.2, 0.5, 0.6, 0.7]
    got = calibration_by_group(chance, [8.0, 8, 8, 8, 3, 8], [0, 0, 0, 0, 1, 0], 7, n_groups=2)
    assert got.forecast == pytest.approx([0.4 / 3, 0.6])
    assert got.observed == pytest.approx([0, 1 / 3])
    assert got.n_failures.tolist() == [0, 1]
    # Clopper and Pearson (1934): no failure in three, 95 %: 1 - 0.025^(1/3)
    assert (got.low[0], got.high[0]) == pytest.approx((0, 1 - 0.025 ** (1 / 3)))
    assert got.low[1] == pytest.approx(1 - 0.975 ** (1 / 3))
    assert got.high[1] == pytest.approx(beta.ppf(0.975, 2, 2))


def test_groups_with_lives_that_left_use_kaplan_meier():
    got = calibration_by_group([0.3] * 5, [2.0, 3, 4, 8, 8], [1, 0, 1, 0, 0], 7, n_groups=4)
    assert got.observed == pytest.approx([1 - 4 / 5 * 2 / 3])  # 3 at risk at the second failure
    assert got.n_lives.tolist() == [5]
    assert 0 < got.low[0] < got.observed[0] < got.high[0] < 1


def test_line_agrees_with_statsmodels():
    """statsmodels 0.15 GLM, binomial, cluster sandwich without its small-sample factor."""
    import statsmodels.api as sm  # noqa: PLC0415 (1 s import)

    rng = np.random.default_rng(4)
    chance = expit(rng.normal(-1, 1, 400))
    time, failed = followed_to_the_end(expit(0.3 + 0.7 * logit(chance)), rng)
    hull = rng.integers(0, 60, 400)
    got = calibration_line(chance, time, failed, 7, cluster=hull.tolist())
    design = sm.add_constant(logit(chance))
    theirs = sm.GLM(failed.astype(float), design, family=sm.families.Binomial()).fit(
        cov_type="cluster", cov_kwds={"groups": hull, "use_correction": False}
    )
    assert [got.intercept.value, got.slope.value] == pytest.approx(theirs.params, rel=1e-7)
    half = (got.slope.high - got.slope.low) / 2 / 1.959963984540054
    assert half == pytest.approx(theirs.bse[1], rel=1e-5)  # their iteration stops at 1e-8


@pytest.mark.parametrize(("intercept", "slope"), [(0.0, 1.0), (0.5, 1.0), (0.0, 0.5)])
def test_line_recovers_the_truth_with_lives_leaving_early(intercept, slope):
    """Leaving at random; 99.9 % limits hold the true line, and slope 1 only if it is 1."""
    rng = np.random.default_rng(8)
    chance = expit(rng.normal(-1, 1.2, 3000))
    time, failed = followed_to_the_end(expit(intercept + slope * logit(chance)), rng)
    leaves = rng.uniform(0, 20, 3000)
    failed, time = failed & (time <= leaves), np.minimum(time, leaves)
    got = calibration_line(chance, time, failed, 7, confidence=0.999)
    assert got.slope.low < slope < got.slope.high
    assert got.intercept.low < intercept < got.intercept.high
    if slope == 1.0:
        assert got.in_the_large.low < intercept < got.in_the_large.high
    else:
        assert got.slope.high < 1.0


def test_expected_and_observed_failures_stand_side_by_side():
    got = calibration_line([0.2, 0.4, 0.3, 0.1], [3.0, 8, 2, 8], [1, 0, 1, 0], 7)
    assert got.expected_failures == pytest.approx(1.0)
    assert got.observed_failures == pytest.approx(2.0)
    assert got.in_the_large.value > 0


@pytest.mark.parametrize(
    ("chance", "time", "failed", "says"),
    [
        ([0.0, 0.5], [3.0, 8], [1, 0], "row 1: forecast chance is 0"),
        ([0.5, 1.2], [3.0, 8], [1, 0], "row 2: forecast chance 1.2"),
        ([0.4, 0.5], [8.0, 8], [0, 0], "no line fits"),
        ([0.5, 0.5], [3.0, 8], [1, 0], "All forecasts are alike"),
        ([0.1, 0.2, 0.8, 0.9], [8.0, 8, 3, 3], [0, 0, 1, 1], "perfectly"),
    ],
)
def test_forecasts_without_a_line_are_refused(chance, time, failed, says):
    with pytest.raises(LifeDataError, match=says):
        calibration_line(chance, time, failed, 7)
