from dataclasses import replace
from math import exp, inf, log

import numpy as np
import pytest
from scipy import stats

from synthetic_data.engine_failures import (
    Exposure,
    PistonSet,
    TrailingWindow,
    new_piston_set,
    ring_land_log_hazard_ratio,
    run_set,
)
from synthetic_data.scenario import ModeTruth, RingLandTruth, Scenario

CALM = Exposure(0.0, 0.0, 0.0)
WORST = Exposure(6.0, 120.0, 0.9)


def lone_set(thresholds: tuple[float, ...], age_h: float = 0.0) -> PistonSet:
    spent = [0.0] * len(thresholds)
    return PistonSet("P-1", False, age_h, thresholds, TrailingWindow(25.0), spent)


def life_h(scenario: Scenario, pistons: PistonSet, seen: Exposure) -> tuple[float, str]:
    while True:
        strike = run_set(scenario, pistons, 7.0, seen, is_raised=False, engine_effect=0.0)
        if strike is not None:
            return pistons.age_h, strike.mode


def test_hazard_has_no_step_at_14_or_28_days():
    """The log hazard is a straight line in age: equal rises over every tenth of a day."""
    truth = RingLandTruth()
    ages = np.arange(0.0, 60.0, 0.1)
    logs = [
        ring_land_log_hazard_ratio(truth, Exposure(2.0, age, 0.3), True, False, 0.1) for age in ages
    ]
    assert np.diff(logs) == pytest.approx(np.full(len(ages) - 1, 0.1 * truth.beta_age), abs=1e-12)


def test_life_follows_the_closed_form_whatever_the_steps():
    """H(t) = r (t/scale)^shape, so a threshold e is reached at scale (e/r)^(1/shape)."""
    scenario = Scenario(other_modes=())
    truth = scenario.ring_land
    seen = Exposure(3.0, 20.0, 0.25)
    ratio = exp(3 * truth.beta_shortfall + 20 * truth.beta_age + 0.25 * truth.beta_wot)
    lived, mode = life_h(scenario, lone_set((0.4,)), seen)
    assert mode == "ring_land_fracture"
    # Some 100 steps each round once in double precision.
    assert lived == pytest.approx(truth.scale_h * (0.4 / ratio) ** (1 / truth.shape), rel=1e-10)


def test_simulated_lives_are_weibull():
    """Against scipy's Weibull by Kolmogorov-Smirnov, 2,000 sets, fixed seed."""
    scenario = Scenario(other_modes=())
    truth = scenario.ring_land
    rng = np.random.default_rng(5)
    sets = [new_piston_set(scenario, "P", 0.0, rng) for _ in range(2000)]
    lives = [life_h(scenario, replace_cast(s), CALM)[0] for s in sets]
    result = stats.kstest(lives, stats.weibull_min(truth.shape, scale=truth.scale_h).cdf)
    assert result.pvalue > 0.01  # a fixed seed: no luck from run to run


def replace_cast(pistons: PistonSet) -> PistonSet:
    pistons.is_forged = False
    return pistons


def test_a_set_seen_from_an_age_on_lives_as_one_that_got_there():
    """Delayed entry: S(t | lived to a) = S(t)/S(a), against scipy, 2,000 sets."""
    scenario = Scenario(other_modes=())
    truth = scenario.ring_land
    rng = np.random.default_rng(6)
    entry = 300.0
    lives = [
        life_h(scenario, replace_cast(new_piston_set(scenario, "P", entry, rng)), CALM)[0]
        for _ in range(2000)
    ]
    whole = stats.weibull_min(truth.shape, scale=truth.scale_h)
    result = stats.kstest(lives, lambda t: 1 - whole.sf(t) / whole.sf(entry))
    assert min(lives) > entry
    assert result.pvalue > 0.01  # a fixed seed: no luck from run to run


@pytest.mark.parametrize("mode", ["water", "bearing", "head_gasket", "valve_seal"])
def test_other_modes_do_not_see_the_fuel(mode):
    """Negative control: the same fate strikes at the same hour on the best and worst fuel."""
    scenario = Scenario()
    at = 1 + [m.mode for m in scenario.other_modes].index(mode)
    fate = tuple(0.1 if i == at else inf for i in range(1 + len(scenario.other_modes)))
    calm, worst = (life_h(scenario, lone_set(fate), seen) for seen in (CALM, WORST))
    assert calm == worst
    assert calm[1] == mode


def test_first_mode_to_cross_wins():
    scenario = Scenario(other_modes=(ModeTruth("water", 1.0, 100.0),))
    lived, mode = life_h(scenario, lone_set((50.0, 0.2)), CALM)
    assert (lived, mode) == (pytest.approx(20.0, abs=1e-9), "water")  # 100 h x 0.2


def test_window_counts_the_oldest_session_in_part():
    """20 h then 10 h on a 25 h window: the first counts for 15 h, by hand.

    Hard hours: 15 x 0.2 + 10 x 0.5 = 8; shortfall (15 x 0.2 x 4 + 10 x 0.5 x 0) / 8 = 1.5;
    litres 15/20 x 400 + 300 = 600, age (300 x 30 + 300 x 10) / 600 = 20; throttle 8/25.
    """
    window = TrailingWindow(25.0)
    assert window.look_back() is None
    window.add(20.0, 0.2, 4.0, 400.0, 30.0)
    window.add(10.0, 0.5, 0.0, 300.0, 10.0)
    seen = window.look_back()
    assert seen is not None
    assert seen.shortfall_on == pytest.approx(1.5, abs=1e-12)
    assert seen.fuel_age_d == pytest.approx(20.0, abs=1e-12)
    assert seen.full_throttle == pytest.approx(8 / 25, abs=1e-12)


def test_window_forgets_what_lies_beyond_it():
    window = TrailingWindow(25.0)
    for _ in range(40):
        window.add(1.0, 0.9, 6.0, 50.0, 200.0)
    for _ in range(25):
        window.add(1.0, 0.1, 0.0, 30.0, 2.0)
    seen = window.look_back()
    assert seen is not None
    # Running sums are added to and taken from, so zero is met to rounding only.
    assert (seen.shortfall_on, seen.fuel_age_d, seen.full_throttle) == pytest.approx(
        (0.0, 2.0, 0.1), abs=1e-9
    )


def test_each_effect_multiplies_the_hazard_as_stated():
    truth = replace(RingLandTruth(), beta_raised=log(2.0), beta_forged=log(0.5))
    base = ring_land_log_hazard_ratio(truth, CALM, False, False, 0.0)
    assert base == 0.0
    assert exp(ring_land_log_hazard_ratio(truth, CALM, True, False, 0.0)) == pytest.approx(2.0)
    assert exp(ring_land_log_hazard_ratio(truth, CALM, False, True, 0.0)) == pytest.approx(0.5)
