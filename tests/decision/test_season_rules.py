"""Fuel rules over a year of use: what they cost at the pump, and the range an open record adds."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.value.fuel_rules import WHOLE_FLEET
from ringland.decision.value.hazard_ahead import planning_hazard
from ringland.decision.value.season_rules import (
    SeasonRuleOutcomes,
    SeasonRules,
    rules_to_compare,
    season_rules,
)
from ringland.risk.fleet_hazard import fit_fleet
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES
from tests.risk.made_spells import BEGIN, made_spells, weibull_truth

SETTINGS = load_assumptions()
FEW_DRAWS = SETTINGS.changed(survival__draws=400)
AS_OF = datetime(2026, 8, 17, tzinfo=UTC)
AT = pl.Datetime("us", "UTC")

# Two sets of a hundred hours at 'low', four numbers short; one at 'high', never short; an
# old spell two years back that no rule of this year may count.
SPELLS = pl.DataFrame(
    {
        "hull_id": ["A", "B", "C", "A"],
        "dock_id": ["low", "low", "high", "low"],
        "start_h": [0.0, 50.0, 0.0, 0.0],
        "stop_h": [100.0, 150.0, 100.0, 900.0],
        "start_at": [AS_OF - timedelta(days=d) for d in (90, 60, 30, 700)],
        "mode": ["ring_land_fracture", None, "water", "ring_land_fracture"],
        "shortfall_25h_on": [4.0, 4.0, 0.0, 4.0],
        "shortfall_25h_low_on": [2.0, 4.0, 0.0, 4.0],
        "shortfall_25h_high_on": [6.0, 4.0, 0.0, 4.0],
        "fuel_age_25h_d": [5.0, 5.0, 5.0, 5.0],
        "full_throttle_25h": [0.3] * 4,
        "is_raised_calibration": [False] * 4,
        "is_forged": [False] * 4,
        "build_number": [1] * 4,
    },
    schema_overrides={"start_at": AT},
)
SESSIONS = pl.DataFrame(
    {
        "hull_id": ["A", "B", "C", "A"],
        "dock_id": ["low", "low", "high", "low"],
        "engine_id": ["EA", "EB", "EC", "EA"],
        "started_at": [AS_OF - timedelta(days=d) for d in (90, 60, 30, 700)],
        "burn_l": [1000.0, 3000.0, 2000.0, 9000.0],
        "octane_aki": [87.0, 87.0, 92.7, 87.0],
        "octane_margin_on": [-4.0, -4.0, 1.7, -4.0],
        "calibration": ["stock"] * 4,
    },
    schema_overrides={"started_at": AT},
)
DELIVERIES = pl.DataFrame(
    {
        "dock_id": ["low", "low", "high", "high", "low"],
        "delivered_at": [AS_OF - timedelta(days=d) for d in (100, 50, 80, 20, 800)],
        "volume_l": [1000.0, 3000.0, 1000.0, 1000.0, 5000.0],
        "octane_aki": [87.0, 87.0, 93.0, None, 87.0],
        "price_per_l": [0.70, 0.90, 1.25, 9.0, 5.0],
    },
    schema_overrides={"delivered_at": AT},
)


def log_linear(*betas: float):  # type: ignore[no-untyped-def]
    """0.001 an hour, times exp(beta x shortfall), one draw for each beta."""

    def hazard(start_h, stop_h, exposure):  # type: ignore[no-untyped-def]
        short = exposure["shortfall_25h_on"].to_numpy()
        return np.array([0.001 * (stop_h - start_h) * np.exp(beta * short) for beta in betas])

    return hazard


def compared(hazard, spells=SPELLS, deliveries=DELIVERIES) -> SeasonRules:  # type: ignore[no-untyped-def]
    return season_rules(
        spells, SESSIONS, deliveries, hazard,
        as_of=AS_OF, prices=PRICES, catalogue=default_catalogue(SETTINGS), assumptions=SETTINGS,
    )  # fmt: skip


def row(found: SeasonRules, rule: str, dock: str = WHOLE_FLEET) -> dict[str, float]:
    return found.outcomes.filter((pl.col("rule") == rule) & (pl.col("dock_id") == dock)).row(
        0, named=True
    )


def test_only_the_last_year_of_use_counts() -> None:
    found = compared(log_linear(0.5))
    low = row(found, "least_stock", "low")

    # 2 x 100 h at four numbers short; the 900 h of two years ago are not in it.
    assert low["failures_today"] == pytest.approx(0.2 * math.exp(2))
    assert (low["failures_seen"], low["running_h"]) == (1, 200)
    assert found.n_failures == 2  # behind the hazard stand all of them, water not among them


def test_the_dearer_litre_is_the_better_grade_less_the_docks_own_as_paid() -> None:
    low = row(compared(log_linear(0.5)), "least_stock", "low")

    # 87 was bought at (1000 x 0.70 + 3000 x 0.90) / 4000 = 0.85; 93 only at 'high', at 1.25.
    assert low["dearer_per_l"] == pytest.approx(0.40)
    saved = 0.2 * (math.exp(2) - 1) * PRICES.unplanned
    assert low["net_money"] == pytest.approx(saved - 0.40 * 4000)
    assert low["verdict"] == "pays"


def test_a_grade_nobody_sold_has_no_price_and_no_verdict() -> None:
    low = row(compared(log_linear(0.5), deliveries=DELIVERIES.head(2)), "least_stock", "low")

    assert (low["dearer_per_l"], low["net_money"]) == (None, None)
    assert low["verdict"] == "no price"
    assert low["break_even_per_l"] is not None  # the price it may cost is known all the same


def test_a_blend_within_half_a_number_of_its_label_counts_as_of_that_grade() -> None:
    # 92.7 burned at 'high': the label's own spread (octane.label_spread_on) is half a number.
    high = row(compared(log_linear(0.5)), "least_raised", "high")

    assert high["better_l"] == 0
    assert high["verdict"] == "nothing to buy"


def test_a_rule_without_an_effect_does_not_pay_once_the_fuel_is_dearer() -> None:
    assert row(compared(log_linear(0.0)), "least_stock", "low")["verdict"] == "does not pay"


def test_a_range_around_nothing_cannot_tell() -> None:
    low = row(compared(log_linear(*np.linspace(-0.3, 0.9, 50))), "least_stock", "low")

    assert low["net_low"] < 0 < low["net_high"]
    assert low["verdict"] == "cannot tell"


def test_the_range_holds_the_best_and_the_worst_fuel_the_record_leaves_open() -> None:
    # One draw, so all width is the open record's: A was 2, 4 or 6 numbers short.
    low = row(compared(log_linear(0.5)), "least_stock", "low")

    def fewer(short_a: float) -> float:
        return 0.1 * (math.exp(0.5 * short_a) - 1) + 0.1 * (math.exp(2) - 1)

    assert low["failures_fewer_low"] == pytest.approx(fewer(2))
    assert low["failures_fewer"] == pytest.approx(fewer(4))
    assert low["failures_fewer_high"] == pytest.approx(fewer(6))
    assert low["break_even_low"] == pytest.approx(fewer(2) * PRICES.unplanned / 4000)
    assert low["e_value_limit"] < low["e_value"]


def test_rules_without_fuel_to_buy_are_priced_by_their_jobs_alone() -> None:
    throttle = row(compared(log_linear(0.0)), "throttle", "low")

    assert throttle["job_cost"] == 2 * 20.0  # a hull-day each for A and B, at the catalogue's 20
    assert throttle["net_money"] == -40.0
    assert throttle["dearer_per_l"] is None


@pytest.mark.parametrize(
    ("hazard", "spells", "why"),
    [(None, SPELLS, "no hazard"), (log_linear(0.5), SPELLS.tail(1), "no running")],
)
def test_where_nothing_can_be_compared_it_is_said(hazard, spells, why: str) -> None:  # type: ignore[no-untyped-def]
    found = compared(hazard, spells)

    assert found.problem is not None
    assert why in found.problem
    assert found.outcomes.equals(SeasonRuleOutcomes.create_empty())


def test_the_rules_are_those_of_the_needs_on_record() -> None:
    # Common practice, no source: 91 for the stock calibration, 93 for the raised one.
    labels = [rule.label for rule in rules_to_compare(["north"], SETTINGS)]

    assert labels[0] == "At least 91 AKI at every dock"
    assert labels[1] == "At least 93 AKI at every dock"
    assert any("older than 28 days" in label for label in labels)


def test_what_a_boosters_label_promises_is_never_more_than_an_open_range() -> None:
    low = row(compared(log_linear(0.5)), "booster", "low")

    # 200 h at four numbers short, 4,000 l; two numbers by the label, or none.
    whole = 0.2 * (math.exp(2) - math.exp(1))
    assert low["failures_fewer"] == pytest.approx(whole)
    assert low["failures_fewer_low"] <= 0 < whole <= low["failures_fewer_high"]
    assert low["job_cost"] == pytest.approx(0.2 * 4000)
    assert low["verdict"] == "cannot tell"


def recovered(effect: float, seed: int) -> tuple[float, float, float]:
    """(low, true, high): failures fewer at 93 or better in a fleet whose hazard is known."""
    spells = made_spells(weibull_truth(effect), n_sets=60, seed=seed)
    fits = fit_fleet(spells, FEW_DRAWS, np.random.default_rng(seed))
    found = season_rules(
        spells,
        SESSIONS.with_columns(dock_id=pl.lit("north")),
        DELIVERIES,
        planning_hazard(fits, FEW_DRAWS),
        as_of=BEGIN + timedelta(days=360),
        prices=PRICES,
        catalogue=default_catalogue(SETTINGS),
        assumptions=FEW_DRAWS,
    )
    fleet = row(found, "least_raised")
    hazard = 1.5 / 900 * np.sqrt((spells["start_h"] + spells["stop_h"]).to_numpy() / 2 / 900)
    lost = np.exp(effect * spells["shortfall_25h_on"].to_numpy()) - 1
    true = float((hazard * lost * (spells["stop_h"] - spells["start_h"]).to_numpy()).sum())
    return fleet["failures_fewer_low"], true, fleet["failures_fewer_high"]


@pytest.mark.parametrize("effect", [0.0, 0.45])
def test_the_range_holds_what_the_rule_truly_spares(effect: float) -> None:
    """Eight fleets of known truth; a 95 % range that misses three of them has chance 0.006.

    With no effect the truth is that nothing is spared: a rule must not be found to spare any.
    """
    held = [low <= true <= high for low, true, high in (recovered(effect, s) for s in range(8))]

    assert sum(held) >= 6
