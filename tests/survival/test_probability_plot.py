"""Probability-plot coordinates: by hand, and consistent with the fit they show."""

import numpy as np
import pytest

from ringland.survival.lives.life_data import bounded_lives, ended_lives
from ringland.survival.lives.life_distributions import LOGNORMAL, WEIBULL
from ringland.survival.lives.parametric_life import fit_life
from ringland.survival.lives.probability_plot import probability_plot


def lives():
    hours = [50.0, 120, 120, 180, 240, 300, 310, 400]
    return ended_lives(hours, [1, 1, 0, 1, 0, 1, 0, 0])


def test_points_stand_in_the_middle_of_each_step():
    """Meeker and Escobar (1998), section 6.4: the steps are 7/8, 6/7, 4/5 and 2/3."""
    plot = probability_plot(lives(), fit_life(lives()))
    steps = np.cumprod([1, 7 / 8, 6 / 7, 4 / 5, 2 / 3])
    expected = 1 - (steps[:-1] + steps[1:]) / 2
    assert plot.points["age"].to_list() == [50, 120, 180, 300]
    assert plot.points["share_failed"].to_list() == pytest.approx(expected.tolist())
    assert plot.points["y"].to_list() == pytest.approx(np.log(-np.log(1 - expected)).tolist())
    assert plot.n_failures == 4


@pytest.mark.parametrize("distribution", [WEIBULL, LOGNORMAL], ids=["weibull", "lognormal"])
@pytest.mark.parametrize("use_profile", [True, False])
def test_line_is_straight_on_its_axes_and_lies_within_its_limits(distribution, use_profile):
    fit = fit_life(lives(), distribution)
    line = probability_plot(lives(), fit, use_profile=use_profile).line
    slope = np.diff(line["y"].to_numpy()) / np.diff(np.log(line["age"].to_numpy()))
    assert slope == pytest.approx(np.full(slope.size, np.exp(-fit.log_scale)), rel=1e-6)
    assert (line["low"] < line["share_failed"]).all()
    assert (line["share_failed"] < line["high"]).all()


def test_inspected_lives_have_points_without_limits():
    inspected = bounded_lives([0, 0, 100, 100, 200], [100, 200, 200, np.inf, np.inf])
    plot = probability_plot(inspected, fit_life(inspected))
    assert plot.points.height > 0
    assert plot.points["low"].null_count() == plot.points.height
    assert (plot.points["share_failed"] > 0).all()


def test_inspected_lives_that_all_failed_have_no_point_where_none_is_left():
    inspected = bounded_lives([0, 0, 100, 100, 200], [100, 200, 200, 200, 300])
    plot = probability_plot(inspected, fit_life(inspected))
    assert plot.points["age"].to_list() == [100, 200]
    assert plot.points["y"].is_finite().all()
