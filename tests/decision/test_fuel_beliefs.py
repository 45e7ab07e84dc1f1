"""What two priors make of one record, against sums and integrals done another way."""

from dataclasses import dataclass

import numpy as np
import polars as pl
import pytest
from scipy.integrate import quad
from scipy.stats import norm

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.plan.week_planner import plan_week
from ringland.decision.value.action_options import option_table
from ringland.decision.value.fuel_beliefs import SCEPTIC, TRADE, at_risk, believe, believed_hazard
from ringland.decision.week_decisions import default_limits
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
LIMITS = default_limits(CATALOGUE, SETTINGS)
TOLD = running_hulls(20)
N = 4000
FIT_SD = SETTINGS.number("prior.effect_sd") * 2.0  # two octane numbers


@dataclass(frozen=True)
class FitAs:
    """A fit whose draws of the log ratio of two numbers are normal, as after some record."""

    mean: float
    sd: float

    def cumulative_hazard(self, start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        ticks = norm.ppf((np.arange(N) + 0.5) / N)[:, None]
        short = exposure["shortfall_25h_on"].cast(pl.Float64).to_numpy()
        return (stop_h - start_h) * 0.001 * np.exp((self.mean + self.sd * ticks) * short / 2)


def thinned(fit: FitAs, n: int):  # type: ignore[no-untyped-def]
    """The same on every so many-th draw."""

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return fit.cumulative_hazard(start_h, stop_h, exposure)[:: N // n][:n]

    return hazard


def by_integral(fit: FitAs, none: float, mean: float, sd: float) -> tuple[float, float]:
    """Chance of no effect, and mean effect if there is one and it harms, by quadrature."""
    precision = 1 / fit.sd**2 - 1 / FIT_SD**2
    peak, width = fit.mean / fit.sd**2 / precision, precision**-0.5
    some = quad(lambda x: norm.pdf(peak, x, width) * norm.pdf(x, mean, sd), -9, 9)[0]
    zero = norm.pdf(peak, 0, width)
    from_x = 0.0 if mean > 0 else -9.0

    def weight(x: float) -> float:
        return float(norm.pdf(peak, x, width) * norm.pdf(x, mean, sd))

    total = quad(weight, from_x, 9)[0]
    return (
        none * zero / (none * zero + (1 - none) * some),
        quad(lambda x: x * weight(x), from_x, 9)[0] / total,
    )


@pytest.mark.parametrize("fit", [FitAs(0.0, 0.4), FitAs(0.9, 0.4), FitAs(1.8, 0.6)])
@pytest.mark.parametrize("name", [SCEPTIC, TRADE])
def test_a_belief_is_the_posterior_under_its_prior(fit: FitAs, name: str) -> None:
    octane = believe(name, fit, TOLD, SETTINGS).effect("octane")  # type: ignore[arg-type]

    prior = (0.7, 0.5) if name == TRADE else (0.0, FIT_SD)
    none, mean = by_integral(fit, SETTINGS.number(f"belief.{name}_no_effect"), *prior)
    assert octane.no_effect == pytest.approx(none, rel=0.02)
    assert octane.log_ratio == pytest.approx(mean, abs=0.02)


def test_a_record_that_says_nothing_leaves_the_prior_as_it_was() -> None:
    fit = FitAs(0.0, FIT_SD)

    for name in (SCEPTIC, TRADE):
        octane = believe(name, fit, TOLD, SETTINGS).effect("octane")  # type: ignore[arg-type]
        before = SETTINGS.number(f"belief.{name}_no_effect")
        assert octane.no_effect == pytest.approx(before, abs=0.01)


def test_a_factor_that_is_not_in_the_fit_has_no_effect_in_the_plan() -> None:
    assert believe(TRADE, FitAs(0.9, 0.4), TOLD, SETTINGS).effect("age").no_effect == 1.0  # type: ignore[arg-type]


def test_in_as_many_draws_as_no_effect_is_likely_nothing_done_about_fuel_changes_them() -> None:
    fit = FitAs(0.4, 0.5)
    belief = believe(SCEPTIC, fit, TOLD, SETTINGS)  # type: ignore[arg-type]
    hazard = believed_hazard(lambda n: thinned(fit, n), belief, TOLD, 400)

    hours = np.full(20, 10.0)
    as_is, good = (
        hazard(np.zeros(20), hours, TOLD.with_columns(shortfall_25h_on=pl.lit(short)))
        for short in (3.0, 0.0)
    )

    unmoved = (as_is == good).all(axis=1).mean()
    assert unmoved == pytest.approx(belief.effect("octane").no_effect, abs=1 / 400)
    assert as_is.shape == (400, 20)


def test_an_appetite_for_risk_weighs_the_draws_in_which_the_fleet_fares_worst() -> None:
    ends = np.arange(10.0)

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        return np.repeat(ends[:, None], 20, axis=1)

    averse = SETTINGS.changed(planning__risk_weight=0.5)
    zero = np.zeros(20)

    assert at_risk(hazard, ends, SETTINGS)(zero, zero, TOLD).mean() == ends.mean()
    # Half on the mean, 4.5, half on the worst fifth, 8.5; ten draws cannot say it more finely.
    assert at_risk(hazard, ends, averse)(zero, zero, TOLD).mean() == pytest.approx(6.5, abs=0.5)


@pytest.mark.parametrize(("no_effect", "is_bought"), [(0.5, True), (0.99, False)])
def test_better_fuel_is_bought_by_its_expected_worth_and_by_no_gate_on_its_chance(
    no_effect: float, is_bought: bool
) -> None:
    """A fault found in use: with an even chance of no effect a gate at 0.99 stayed shut through a
    season of 18 to 28 failures that better fuel would have spared."""
    has_effect = np.arange(200) >= 200 * no_effect
    hulls = running_hulls(3).with_columns(
        shortfall_25h_on=pl.lit(3.0),
        use_h_d=pl.lit(2.0),
        fuel_age_25h_d=pl.lit(3.0),
        is_raised_calibration=pl.lit(value=False),
    )

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        short = exposure["shortfall_25h_on"].cast(pl.Float64).to_numpy()
        return np.where(has_effect[:, None], np.exp(0.7 * short), 8.0) * 3e-4 * (stop_h - start_h)

    options = option_table(
        hulls, hazard, catalogue=CATALOGUE, prices=PRICES, horizon_d=120.0, assumptions=SETTINGS
    )
    ruled = options.filter(pl.col("option") == "fuel_rule")
    plan = plan_week(options, LIMITS, spare_day_worth=0.0)

    assert (ruled["chance_it_saves"] < 0.99).all()
    assert ((ruled["saving"] > 0) == is_bought).all()
    assert plan.rows["option"].str.contains("fuel").all() == is_bought
