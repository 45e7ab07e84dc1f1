"""A fleet of five without a failure: bounds, advice, and every room still answers."""

import math

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.action_catalogue import NOTHING
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.plan.week_planner import plan_week
from ringland.decision.value.action_options import option_table
from ringland.decision.value.hazard_ahead import planning_hazard
from ringland.decision.value.renewal_age import renewal_age
from ringland.decision.value.season_outlook import season_outlook
from ringland.decision.value.small_fleet_advice import hull_advice, life_bound
from ringland.risk.fleet_hazard import fit_fleet
from ringland.risk.negative_control import negative_control
from ringland.settings.assumptions import load_assumptions
from ringland.words.manner import Manner, in_manner
from tests.decision.plan_cases import PRICES, running_hulls
from tests.risk.made_spells import made_spells

SETTINGS = load_assumptions().changed(survival__draws=500)
CATALOGUE = default_catalogue(SETTINGS)
SPELLS = made_spells(lambda frame: np.zeros(frame.height), n_sets=5, spells_a_set=40)
HULLS = running_hulls(5).with_columns(
    known_share_25h=pl.Series([1.0, 0.8, 0.3, None, 1.0]),
    shortfall_25h_on=pl.Series([2.04, 0.0, 1.0, None, 0.0]),
    fuel_age_25h_d=pl.Series([5.0, 30.4, 5.0, None, 5.0]),
)


def lives(hours: list[float], entry: float = 0.0) -> pl.DataFrame:
    return pl.DataFrame(
        {"entry_h": [entry] * len(hours), "exit_h": hours, "mode": [None] * len(hours)},
        schema={"entry_h": pl.Float64, "exit_h": pl.Float64, "mode": pl.String},
    )


def test_the_bound_without_a_failure_is_the_zero_failure_bound() -> None:
    # With r = 0 the chance of seeing none is exp(-sum (t / scale)^k) = 1 - confidence
    # (Nelson 1985): scale = (sum t^k / -ln 0.05)^(1/k).
    bound = life_bound(lives([200.0] * 5), "ring_land_fracture", SETTINGS)
    k = math.exp(SETTINGS.number("prior.log_shape_mean"))

    assert bound.scale_lower == pytest.approx((5 * 200**k / -math.log(0.05)) ** (1 / k))
    # Over the very hours seen it is 1 - 0.05^(1/5): five lives at 45 % each leave 5 %.
    assert bound.chance_within(200.0) == pytest.approx(1 - 0.05 ** (1 / 5))


def test_twenty_lives_without_a_failure_leave_a_risk_of_up_to_14_percent() -> None:
    # The project's domain brief: no failure in 20 lives, risk up to 14 % (computed there).
    bound = life_bound(lives([300.0] * 20), "ring_land_fracture", SETTINGS)

    assert round(bound.chance_within(300.0), 2) == 0.14


def test_the_bound_says_that_it_is_no_forecast() -> None:
    bound = life_bound(lives([200.0] * 5), "ring_land_fracture", SETTINGS)

    assert bound.sentence(100.0).startswith("5 piston sets ran 1,000 h with no failure")
    assert "a bound, not a forecast" in bound.sentence(100.0)


def test_hours_before_the_record_began_do_not_count() -> None:
    later = life_bound(lives([200.0] * 5, entry=100.0), "ring_land_fracture", SETTINGS)

    assert later.hours == 500
    assert later.scale_lower < life_bound(lives([200.0] * 5), "x", SETTINGS).scale_lower


def test_no_set_under_observation_is_refused_with_the_remedy() -> None:
    with pytest.raises(ValueError, match="keep an hour reading a week"):
        life_bound(lives([]), "ring_land_fracture", SETTINGS)


def test_advice_speaks_of_fuel_age_and_record_where_each_applies() -> None:
    advice = hull_advice(HULLS, SETTINGS)
    said = {(hull, about): text for hull, about, text in advice.iter_rows()}

    assert set(said) == {
        ("H000", "fuel"), ("H001", "fuel age"), ("H001", "record"), ("H002", "fuel"),
        ("H002", "record"),
    }  # fmt: skip
    assert "2.0 octane numbers below need" in said["H000", "fuel"]
    assert "30 days old" in said["H001", "fuel age"]
    assert said["H001", "record"].startswith("20 % of the fuel")
    assert "not enough record to say" in said["H002", "record"]
    assert "not enough record" not in said["H001", "record"]


def test_advice_is_in_the_shops_manner_and_none_is_given_on_what_reads_as_zero() -> None:
    """A page said 'Burned fuel 0.0 octane numbers below need', with a point for a comma."""
    hulls = HULLS.with_columns(shortfall_25h_on=pl.Series([2.04, 0.04, 1.0, None, 0.0]))

    with in_manner(Manner(number="1 234,5")):
        fuel = hull_advice(hulls, SETTINGS).filter(pl.col("about") == "fuel")

    assert [advice[12:15] for advice in fuel["advice"]] == ["2,0", "1,0"]


def test_a_hull_without_a_chance_hears_why() -> None:
    unknown = HULLS.with_columns(why_not=pl.lit("no rental on record"))

    told = hull_advice(unknown, SETTINGS).filter(pl.col("about") == "chance")

    assert told["advice"].unique().to_list() == ["Not enough record to say: no rental on record."]
    assert told.height == 5


def test_five_hulls_without_a_failure_get_options_plan_outlook_and_honest_limits() -> None:
    fits = fit_fleet(SPELLS, SETTINGS, np.random.default_rng(1))
    hazard = planning_hazard(fits, SETTINGS)
    running = running_hulls(5)

    options = option_table(
        running, hazard, catalogue=CATALOGUE, prices=PRICES, horizon_d=30.0, assumptions=SETTINGS
    )
    limits = WeekLimits(1, 20.0, {"top_end_kit": 0, "bottom_end_kit": 0})
    plan = plan_week(options, limits, spare_day_worth=400.0)
    outlook, _ = season_outlook(
        running.with_columns(rest_turn_sd_log=pl.lit(0.2)),
        hazard,
        days_left=60.0,
        catalogue=CATALOGUE,
        prices=PRICES,
        assumptions=SETTINGS,
        rng=np.random.default_rng(1),
    )
    age = renewal_age(hazard, running.head(1), prices=PRICES, assumptions=SETTINGS)

    nothing = options.filter(pl.col("option") == NOTHING)
    assert fits.ring_land.n_failures == 0
    assert nothing.height == 5
    # The range is wide, for it is the prior's: it must not pretend to know.
    assert (nothing["chance_high"] > 4 * nothing["chance_low"]).all()
    assert plan.rows.height == 5
    assert outlook.filter(pl.col("quantity") == "failures")["q95"].item() >= 1
    assert age.limits is not None


def test_five_hulls_without_a_failure_cannot_tell_the_control() -> None:
    assert negative_control(SPELLS, SETTINGS, np.random.default_rng(1)).passes is None
