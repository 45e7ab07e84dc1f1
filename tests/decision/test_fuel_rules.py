"""Fuel rules over one season of use, against sums done by hand."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.fuel_rules import (
    WHOLE_FLEET,
    FuelRule,
    RuleOutcomes,
    compare_fuel_rules,
    under_rule,
)
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
DAY_0 = datetime(2026, 6, 1, tzinfo=UTC)

# Two stock hulls at a dock selling 87 (four below the stock need of 91), one raised at one
# selling 91 (two below 93), one stock at 91 (none below).
SPELLS = pl.DataFrame(
    {
        "hull_id": ["A", "B", "C", "D"],
        "dock_id": ["low", "low", "high", "high"],
        "start_h": [0.0, 50.0, 0.0, 100.0],
        "stop_h": [100.0, 150.0, 100.0, 200.0],
        "shortfall_25h_on": [4.0, 4.0, 2.0, 0.0],
        "fuel_age_25h_d": [5.0, 40.0, 5.0, 20.0],
        "full_throttle_25h": [0.3, 0.3, 0.3, 0.3],
        "is_raised_calibration": [False, False, True, False],
        "is_forged": [False] * 4,
        "build_number": [1] * 4,
    }
)
SESSIONS = pl.DataFrame(
    {
        "hull_id": ["A", "A", "B", "C", "D"],
        "dock_id": ["low", "low", "low", "high", "high"],
        "engine_id": ["EA", "EA", "EB", "EC", "ED"],
        "started_at": [DAY_0, DAY_0 + timedelta(days=30), DAY_0, DAY_0, DAY_0],
        "burn_l": [1000.0, 1000.0, 3000.0, 1000.0, 1000.0],
        "octane_aki": [87.0, 87.0, 87.0, 91.0, 92.0],
        "octane_margin_on": [-4.0, -4.0, -4.0, -2.0, 1.0],
        "calibration": ["stock", "stock", "stock", "raised", "stock"],
    }
)
BETTER = FuelRule("91_at_low", "91 or better at low", least_grade_aki={"low": 91.0})


def log_linear(*betas: float):  # type: ignore[no-untyped-def]
    """0.001 an hour, times exp(beta x shortfall), one draw for each beta."""

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        short = exposure["shortfall_25h_on"].to_numpy()
        return np.array([0.001 * (stop_h - start_h) * np.exp(beta * short) for beta in betas])

    return hazard


def outcomes(rules, hazard, spells=SPELLS, sessions=SESSIONS):  # type: ignore[no-untyped-def]
    return compare_fuel_rules(
        spells,
        sessions,
        hazard,
        rules,
        prices=PRICES,
        catalogue=CATALOGUE,
        assumptions=SETTINGS,
    )


def row(table: pl.DataFrame, rule: str, dock: str = WHOLE_FLEET) -> dict[str, float]:
    return table.filter((pl.col("rule") == rule) & (pl.col("dock_id") == dock)).row(0, named=True)


def test_failures_under_a_least_grade_are_those_of_the_season_without_the_shortfall() -> None:
    # Twice 100 h at 4 below: 0.2 e^2 today (beta 0.5), 0.2 under the rule; the rest stays.
    low = row(outcomes([BETTER], log_linear(0.5)), "91_at_low", "low")

    assert low["failures_today"] == pytest.approx(0.2 * math.exp(2))
    assert low["failures_rule"] == pytest.approx(0.2)
    assert low["risk_ratio"] == pytest.approx(math.exp(2))


def test_break_even_is_the_money_saved_over_the_litres_bought_better() -> None:
    # 5,000 litres of 87 at 'low'; a failure costs 11,000.
    fleet = row(outcomes([BETTER], log_linear(0.5)), "91_at_low")

    assert fleet["better_l"] == 5000
    assert fleet["break_even_per_l"] == pytest.approx(0.2 * (math.exp(2) - 1) * 11_000 / 5000)


def test_the_range_runs_over_the_draws_of_the_hazard() -> None:
    fleet = row(outcomes([BETTER], log_linear(*np.linspace(0.2, 0.6, 201))), "91_at_low", "low")

    fewer = [0.2 * (math.exp(4 * beta) - 1) for beta in np.linspace(0.2, 0.6, 201)]
    assert fleet["failures_fewer"] == pytest.approx(np.mean(fewer))
    assert fleet["failures_fewer_low"] == pytest.approx(np.quantile(fewer, 0.025))
    assert fleet["break_even_high"] == pytest.approx(np.quantile(fewer, 0.975) * 11_000 / 5000)


def test_without_an_effect_a_rule_saves_nothing_and_needs_no_explaining_away() -> None:
    fleet = row(outcomes([BETTER], log_linear(0.0)), "91_at_low")

    assert fleet["failures_fewer"] == 0
    assert fleet["money_fewer"] == 0
    assert fleet["e_value"] == fleet["e_value_limit"] == 1


def test_a_rule_at_one_dock_leaves_the_other_as_it_was() -> None:
    high = row(outcomes([BETTER], log_linear(0.5)), "91_at_low", "high")

    assert high["failures_fewer"] == 0
    assert high["break_even_per_l"] is None


def test_docks_add_up_to_the_fleet() -> None:
    table = outcomes([BETTER], log_linear(0.3, 0.5))
    docks = table.filter(pl.col("dock_id") != WHOLE_FLEET)

    for name in ("failures_today", "failures_rule", "failures_fewer", "better_l"):
        assert docks[name].sum() == pytest.approx(row(table, "91_at_low")[name])


def test_a_dock_that_sold_one_grade_cannot_separate_fuel_from_dock() -> None:
    table = outcomes([BETTER], log_linear(0.5))

    assert row(table, "91_at_low", "low")["cannot_separate"] == (
        "low burned one grade: fuel and dock cannot be separated there"
    )
    assert row(table, "91_at_low", "high")["cannot_separate"] is None
    assert row(table, "91_at_low")["cannot_separate"] is None


def test_where_every_dock_sold_one_grade_the_fleet_cannot_separate_either() -> None:
    one_each = SESSIONS.with_columns(
        octane_aki=pl.when(pl.col("dock_id") == "low").then(87.0).otherwise(91.0)
    )

    fleet = row(outcomes([BETTER], log_linear(0.5), sessions=one_each), "91_at_low")

    assert (
        fleet["cannot_separate"] == "each dock burned one grade: fuel and dock cannot be separated"
    )


def test_draining_caps_the_age_and_costs_a_drain_for_each_long_idle() -> None:
    drain = FuelRule("drain", "drain after 14 days", drain_after_d=14.0)

    assert under_rule(SPELLS, drain, SETTINGS)["fuel_age_25h_d"].to_list() == [5, 14, 5, 14]
    assert row(outcomes([drain], log_linear(0.5)), "drain")["job_cost"] == PRICES.drain_refill


def test_a_booster_adds_its_numbers_to_fuel_below_need_and_is_paid_by_its_litres() -> None:
    booster = FuelRule("booster", "booster", boosts_on=1.5)

    short = SPELLS["shortfall_25h_on"]
    below_l = SESSIONS.filter(pl.col("octane_margin_on") < 0)["burn_l"].sum()
    assert under_rule(SPELLS, booster, SETTINGS)["shortfall_25h_on"].to_list() == [
        max(0.0, value - 1.5) for value in short
    ]
    found = row(outcomes([booster], log_linear(0.5)), "booster")
    assert found["job_cost"] == pytest.approx(SETTINGS.number("fuel.booster_per_l") * below_l)
    assert found["better_l"] == 0


def test_the_throttle_is_limited_only_below_need_and_eases_the_need_by_one() -> None:
    # Common practice, no source: 91 AKI flat out, 90 at three-quarter throttle.
    limit = FuelRule("limit", "three-quarter throttle below need", limits_throttle=True)

    after = under_rule(
        SPELLS.with_columns(full_throttle_25h=pl.Series([0.5, 0.4, 0.3, 0.1])), limit, SETTINGS
    )

    # Down to the least share the season has seen, D's, and no lower.
    assert after["full_throttle_25h"].to_list() == [0.1, 0.1, 0.1, 0.1]
    assert after["shortfall_25h_on"].to_list() == [3, 3, 1, 0]
    # Hull-days below need: A on two days, B and C on one.
    per_day = CATALOGUE.actions["restrict_throttle"].cost_per_d
    assert row(outcomes([limit], log_linear(0.5)), "limit")["job_cost"] == 4 * per_day


def test_the_mild_calibration_is_put_on_only_where_a_raised_one_runs_below_need() -> None:
    mild = FuelRule("mild", "mild calibration on low grade", goes_mild=True)

    after = under_rule(SPELLS, mild, SETTINGS)

    assert after["is_raised_calibration"].to_list() == [False] * 4
    assert after["shortfall_25h_on"].to_list() == [4, 4, 0, 0]
    cost = CATALOGUE.actions["mild_calibration"].cost
    assert row(outcomes([mild], log_linear(0.5)), "mild")["job_cost"] == cost


def test_unknown_exposure_stays_unknown_under_a_rule() -> None:
    unknown = SPELLS.with_columns(
        shortfall_25h_on=pl.lit(None, dtype=pl.Float64), fuel_age_25h_d=pl.lit(None, pl.Float64)
    )
    every = FuelRule("all", "all", {"low": 91.0, "high": 91.0}, 14.0, True, True)

    after = under_rule(unknown, every, SETTINGS)

    assert after["shortfall_25h_on"].null_count() == after["fuel_age_25h_d"].null_count() == 4


@given(
    grade=st.floats(85, 95),
    days=st.floats(0, 60),
    shortfall=st.floats(0, 8),
    is_raised=st.booleans(),
)
@settings(derandomize=True, deadline=None)
def test_no_rule_makes_exposure_worse(
    grade: float, days: float, shortfall: float, is_raised: bool
) -> None:
    spells = SPELLS.with_columns(
        shortfall_25h_on=pl.lit(shortfall), is_raised_calibration=pl.lit(is_raised)
    )
    rule = FuelRule("all", "all", {"low": grade}, days, limits_throttle=True, goes_mild=True)

    after = under_rule(spells, rule, SETTINGS)

    for name in ("shortfall_25h_on", "fuel_age_25h_d", "full_throttle_25h"):
        assert (after[name] <= spells[name]).all()
        assert (after[name] >= 0).all()


def test_a_rule_for_a_dock_without_running_is_refused() -> None:
    with pytest.raises(ValueError, match="no running on record at dock moon; docks with running"):
        outcomes([FuelRule("x", "x", {"moon": 91.0})], log_linear(0.5))


def test_a_season_without_spells_gives_an_empty_table() -> None:
    drain = FuelRule("drain", "drain", drain_after_d=14.0)

    assert outcomes([drain], log_linear(0.5), SPELLS.clear()).equals(RuleOutcomes.create_empty())
