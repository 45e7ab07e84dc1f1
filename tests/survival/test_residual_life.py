"""How much longer lives last, and renewal with discounting: closed forms and R."""

import numpy as np
import pytest
from scipy.integrate import quad

from ringland.survival.cox.cox_proportionality import proportionality_test
from ringland.survival.cox.cox_regression import fit_cox
from ringland.survival.lives.age_replacement import weibull_replacement_age
from ringland.survival.lives.discounted_replacement import (
    discounted_cost,
    discounted_replacement_age,
)
from ringland.survival.lives.life_data import LifeDataError, ended_lives
from ringland.survival.lives.residual_life import mean_time_used, weibull_residual_life


def test_mean_time_used_is_rs_restricted_mean() -> None:
    """R survival: f <- survfit(Surv(time, status) ~ 1, aml[aml$x == "Maintained", ]);
    print(f, rmean = 50) gives 32.2 (se 4.68); with start.time = 15 in survfit 36.925 - 15,
    se 4.357685, by summary(f, rmean = 50)$table."""
    time = [9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161]
    status = [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0]
    found = mean_time_used(ended_lives(time, status), 0.0, 50.0)
    # by hand: areas under the product limit
    survival = [1.0, 10 / 11, 9 / 11, 9 / 11 * 7 / 8, 9 / 11 * 6 / 8]
    survival += [survival[-1] * 4 / 5, survival[-1] * 4 / 5 * 3 / 4]
    survival += [survival[-1] * 1 / 2]
    edges = [0, 9, 13, 18, 23, 31, 34, 48, 50]
    assert found.value == pytest.approx(float(np.dot(survival, np.diff(edges))))
    assert found.value == pytest.approx(32.2, abs=0.05)  # printed to one digit
    assert (found.high - found.low) / 2 / 1.959964 == pytest.approx(4.68, abs=0.005)
    later = mean_time_used(ended_lives(time, status), 15.0, 50.0)
    assert later.value == pytest.approx(21.925)
    assert (later.high - later.low) / 2 / 1.959964 == pytest.approx(4.357685, rel=1e-6)


def test_mean_time_used_from_an_age_starts_there_and_stops_at_the_record() -> None:
    """All fail at 10, 20, 30, 40: from 15, two thirds reach 20..30, one third 30..40."""
    lives = ended_lives([10, 20, 30, 40], [1, 1, 1, 1])
    found = mean_time_used(lives, 15.0, 40.0)
    assert found.value == pytest.approx(5 + 10 * 2 / 3 + 10 * 1 / 3)
    with pytest.raises(LifeDataError, match="the record ends at 40"):
        mean_time_used(lives, 15.0, 41.0)
    with pytest.raises(LifeDataError, match="not beyond"):
        mean_time_used(lives, 15.0, 15.0)


@pytest.mark.parametrize(("shape", "age"), [(1.0, 300.0), (2.5, 0.0), (2.5, 400.0), (0.7, 100.0)])
def test_weibull_residual_life_is_the_integral(shape: float, age: float) -> None:
    """At shape 1 it is the scale whatever the age."""
    scale = 500.0
    by_quadrature = quad(
        lambda t: np.exp((age / scale) ** shape - ((age + t) / scale) ** shape), 0, np.inf
    )[0]
    assert weibull_residual_life(shape, scale, age) == pytest.approx(by_quadrature, rel=1e-7)
    if shape == 1.0:
        assert weibull_residual_life(shape, scale, age) == pytest.approx(scale)


def test_discounting_goes_over_into_the_cost_rate_and_puts_renewal_off() -> None:
    """Barlow and Proschan's rate at a vanishing discount; a dear tomorrow is worth less."""
    plain = weibull_replacement_age(3.0, 500.0, 1000.0, 5000.0)
    assert plain.age is not None
    nearly = discounted_replacement_age(3.0, 500.0, 1000.0, 5000.0, 1e-7)
    assert nearly == pytest.approx(plain.age, rel=1e-3)
    worth = discounted_cost(plain.age, 3.0, 500.0, (1000.0, 5000.0), 1e-7)
    assert worth * 1e-7 == pytest.approx(plain.cost_rate, rel=1e-3)
    dear = discounted_replacement_age(3.0, 500.0, 1000.0, 5000.0, 2e-3)
    assert dear is not None
    assert dear > plain.age
    assert discounted_replacement_age(0.9, 500.0, 1000.0, 5000.0, 1e-4) is None
    with pytest.raises(ValueError, match="rate is 0"):
        discounted_replacement_age(3.0, 500.0, 1000.0, 5000.0, 0.0)


def test_a_term_of_several_columns_is_tested_together() -> None:
    """One column alone: as before.  All columns together: the global test."""
    rng = np.random.default_rng(2)
    x = rng.normal(size=(200, 3))
    life = rng.exponential(np.exp(-0.5 * x[:, 0]))
    fit = fit_cox(np.zeros(200), life, np.ones(200), x, names=["a", "b", "c"])
    plain = proportionality_test(fit)
    found = proportionality_test(fit, terms=[["a"], ["b", "c"]])
    assert found.names == ("a", "b+c")
    assert found.chi2[0] == pytest.approx(plain.chi2[0])
    whole = proportionality_test(fit, terms=[["a", "b", "c"]])
    assert whole.chi2[0] == pytest.approx(plain.global_chi2)
    assert whole.p[0] == pytest.approx(plain.global_p)
    with pytest.raises(ValueError, match="columns of a, b, c"):
        proportionality_test(fit, terms=[["d"]])
