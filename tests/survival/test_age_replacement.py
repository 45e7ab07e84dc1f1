"""Optimal age replacement against 40-digit and closed-form answers, and by identity."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.survival.lives.age_replacement import (
    replacement_age,
    replacement_age_from_table,
    weibull_cost_rate,
    weibull_replacement_age,
)
from ringland.survival.lives.life_data import ended_lives
from ringland.survival.lives.life_tables import kaplan_meier
from ringland.survival.lives.parametric_life import fit_life, parameter_draws

REFERENCE = Path(__file__).resolve().parents[1] / "reference_values" / "lives"
CHECKS = json.loads((REFERENCE / "checks.json").read_text())


@pytest.mark.parametrize("shape", [2, 3])
@pytest.mark.parametrize("ratio", [2, 5, 10, 20])
def test_best_weibull_age_agrees_with_barlow_and_proschan(shape, ratio):
    """Check F1: mpmath to 40 digits."""
    values = CHECKS["F1"]["values"]
    got = weibull_replacement_age(shape, 1.0, 1.0, ratio)
    stem = f"beta={shape}.cf/cp={ratio}"
    assert got.age == pytest.approx(values[f"{stem}.T*/eta"], rel=1e-10)  # printed to 12 digits
    assert got.cost_rate == pytest.approx(values[f"{stem}.cost*(cp=1,eta=1)"], rel=1e-10)
    over = got.cost_rate / got.run_to_failure_rate
    assert over == pytest.approx(values[f"{stem}.cost_over_run_to_failure"], rel=1e-10)
    assert got.saving_share == pytest.approx(1 - over)


@pytest.mark.parametrize(("ratio", "costs"), [("0.25", (1, 5)), ("0.5", (1, 3)), ("1", (1, 2))])
@pytest.mark.parametrize("density", [None, lambda _: 1.0], ids=["differences", "density"])
def test_uniform_life_agrees_with_its_closed_form(ratio, costs, density):
    """Check F3: T* = -k + sqrt(k^2 + 2k), k = planned / (failure - planned)."""
    expected = CHECKS["F3"]["values"][f"uniform(0,1).cp/(cf-cp)={ratio}.T*"]
    got = replacement_age(lambda t: np.maximum(0.0, 1.0 - t), 1.0, *costs, density=density)
    assert got.age == pytest.approx(expected, rel=1e-9)
    assert got.run_to_failure_rate == pytest.approx(costs[1] / 0.5, rel=1e-9)


@pytest.mark.parametrize("shape", [1.0, 0.8, 0.3])
def test_no_rising_hazard_means_no_planned_replacement(shape):
    """Check F5: run to failure, whatever the costs; never the end of a search."""
    values = CHECKS["F5"]["values"]
    got = weibull_replacement_age(shape, 1.0, 1.0, 5.0)
    assert got.age is None
    assert "no planned replacement" in got.reason
    assert got.saving_share == 0.0
    if shape == 1.0:
        assert got.cost_rate == pytest.approx(values["beta=1.cost_limit_cf/cp=5"], rel=1e-10)
    if shape == 0.8:
        expected = values["beta=0.8.run_to_failure_cost_cf/cp=5"]
        assert got.cost_rate == pytest.approx(expected, rel=1e-10)
    if shape in (1.0, 0.8):
        expected = values[f"beta={shape:g}.r=5.cost_at_T=1"]
        assert weibull_cost_rate(1.0, shape, 1.0, 1.0, 5.0) == pytest.approx(expected, rel=1e-10)


@pytest.mark.parametrize("longest", [3.0, 30.0])
def test_constant_hazard_has_no_plan_in_the_general_search_either(longest):
    got = replacement_age(lambda t: np.exp(-t), longest, 1.0, 5.0)
    assert got.age is None
    assert "no planned replacement" in got.reason


@pytest.mark.parametrize("failure_cost", [1.0, 0.5])
def test_cheap_failure_means_no_planned_replacement(failure_cost):
    got = weibull_replacement_age(3.0, 100.0, 1.0, failure_cost)
    assert got.age is None
    assert "costs no more" in got.reason
    general = replacement_age(lambda t: np.maximum(0.0, 1.0 - t), 1.0, 1.0, failure_cost)
    assert general.age is None


@settings(derandomize=True, deadline=None, max_examples=60)
@given(st.floats(1.1, 8), st.floats(10, 5000), st.floats(50, 5000), st.floats(1.2, 30))
def test_cost_at_the_best_age_is_the_hazard_times_the_extra_cost(shape, scale, planned, ratio):
    """The identity C* = (cf - cp) h(T*), and no neighbouring age is cheaper."""
    failure = planned * ratio
    got = weibull_replacement_age(shape, scale, planned, failure)
    if got.age is None:
        return
    hazard = shape / scale * (got.age / scale) ** (shape - 1)
    # the two sides divide by a small difference when shape is near 1
    assert got.cost_rate == pytest.approx((failure - planned) * hazard, rel=1e-8)
    near = weibull_cost_rate(got.age * np.array([0.9, 1.1]), shape, scale, planned, failure)
    assert np.all(near >= got.cost_rate * (1 - 1e-12))
    assert got.cost_rate <= got.run_to_failure_rate * (1 + 1e-12)


@pytest.mark.parametrize(("shape", "ratio"), [(1.8, 4.0), (3.0, 10.0)])
def test_general_search_agrees_with_the_weibull_answer(shape, ratio):
    got = replacement_age(lambda t: np.exp(-((t / 400) ** shape)), 2500.0, 1.0, ratio)
    expected = weibull_replacement_age(shape, 400.0, 1.0, ratio)
    assert got.age == pytest.approx(expected.age, rel=1e-8)
    assert got.cost_rate == pytest.approx(expected.cost_rate, rel=1e-10)


def test_table_of_four_lives_by_hand():
    """Failures at 10, 90, 100, 110: just before 90 three quarters remain."""
    table = kaplan_meier([10.0, 90, 100, 110], [1, 1, 1, 1])
    got = replacement_age_from_table(table, 1.0, 10.0)
    # per hour: before 10: 1/10; before 90: (0.75 + 2.5) / (10 + 60); before 100 and 110 more
    assert got.age == 90
    assert got.cost_rate == pytest.approx(3.25 / 70)
    assert got.run_to_failure_rate == pytest.approx(10 / 77.5)
    assert got.chance_to_reach == 0.75


def test_table_that_ends_with_running_lives_makes_no_plan_at_its_end():
    table = kaplan_meier([10.0, 90, 100, 110], [1, 0, 0, 0])
    got = replacement_age_from_table(table, 1.0, 2.0)
    assert got.age is None
    assert "end of the record" in got.reason
    assert got.run_to_failure_rate is None


def test_limits_say_how_often_no_plan_pays():
    """Eight failures of shape near 1.3: part of the draws have no rising hazard."""
    rng = np.random.default_rng(6)
    life = 500 * rng.weibull(1.3, 20)
    fit = fit_life(ended_lives(np.minimum(life, 350), life <= 350))
    draws = parameter_draws(fit, np.random.default_rng(1), 2000)
    got = weibull_replacement_age(fit.shape, fit.scale, 1200, 5000, draws=draws).limits
    assert got.n_draws == 2000
    assert got.share_without >= np.mean(draws[:, 0] <= 1)
    assert got.share_without > 0.025
    assert got.high is None  # more than the upper tail of the draws has no plan
    sure = weibull_replacement_age(
        3.0, 500.0, 1.0, 5.0, draws=np.column_stack([np.linspace(2.5, 3.5, 50), np.full(50, 500)])
    )
    assert sure.limits.low < sure.age < sure.limits.high
    assert sure.limits.share_without == 0.0


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_number_that_is_not_positive_is_refused(bad):
    with pytest.raises(ValueError, match="give a positive number"):
        weibull_replacement_age(2.0, bad, 1.0, 5.0)
    with pytest.raises(ValueError, match="planned_cost"):
        weibull_replacement_age(2.0, 100.0, bad, 5.0)
