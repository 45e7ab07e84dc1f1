"""Safety rules by hand: which binds, in which order, and what it leaves to a hull."""

import polars as pl
import pytest

from ringland.decision.actions.action_catalogue import NOTHING, REPAIR, CatalogueError
from ringland.decision.actions.action_terms import FAILED, FOUND_OUT
from ringland.decision.actions.catalogue_file import default_catalogue, read_catalogue
from ringland.decision.actions.safety_rules import (
    answering_options,
    bound_options,
    safety_rules,
    waiting_costs,
    week_ashore,
)
from ringland.decision.value.sure_options import sure_options
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)

# Limits: 20 % in 7 days, 10 % in 30 days; a check stands for 14 days.
HULLS = [
    # hull, broken, chance in 7 and 30 days, warning, days since a test, rule
    ("all at once", True, 0.3, 0.5, "low", None, "open_failure"),
    ("high in 7 days", False, 0.2, 0.5, "low", 1.0, "chance_7d"),
    ("failed test", False, 0.199, 0.5, "low", 1.0, "failed_test"),
    ("high in 30 days", False, 0.05, 0.1, None, 15.0, "chance_30d"),
    ("checked last week", False, 0.05, 0.1, None, 14.0, None),
    ("low", False, 0.05, 0.099, None, None, None),
    ("unknown", False, None, None, None, None, None),
    ("unknown, failed test", False, None, None, "low", None, "failed_test"),
]  # fmt: skip
NAMES = [row[0] for row in HULLS]


def rules() -> pl.DataFrame:
    running = pl.DataFrame(
        {
            "hull_id": NAMES,
            "engine_id": NAMES,
            "found_at": ["yesterday" if row[1] else None for row in HULLS],
            "tested_d_ago": pl.Series([row[5] for row in HULLS], dtype=pl.Float64),
        }
    )
    chances = pl.DataFrame(
        {
            "hull_id": NAMES,
            "chance_7d": [row[2] for row in HULLS],
            "chance_30d": [row[3] for row in HULLS],
        }
    )
    warned = [row[0] for row in HULLS if row[4]]
    warnings = pl.DataFrame({"engine_id": warned, "warning": ["low"] * len(warned)})
    return safety_rules(running, chances, warnings, SETTINGS)


def test_the_first_rule_that_applies_binds() -> None:
    assert dict(rules().select("hull_id", "rule").iter_rows()) == {
        row[0]: row[6] for row in HULLS if row[6]
    }


def test_a_bound_hull_is_looked_at_renewed_or_stands_and_a_broken_one_is_repaired() -> None:
    bound = bound_options(rules(), CATALOGUE, PRICES)

    assert bound["all at once"] == {REPAIR, "take_out_of_use"}
    assert bound["failed test"] == {
        "leak_down_check", "fuel_and_check", "planned_top_end", "fuel_and_top_end",
        "calibration_and_top_end", "full_rebuild", "take_out_of_use", "calibration_and_check",
        "fuel_calibration_and_check", "fuel_calibration_and_top_end", "find_the_leak",
        "fuel_and_leak", "calibration_and_leak", "fuel_calibration_and_leak",
    }  # fmt: skip
    assert "low" not in bound


def test_only_the_test_that_finds_most_answers_a_rule() -> None:
    # A borescope (0.25) does not answer for a leak-down test (0.5).
    assert "borescope" not in answering_options(CATALOGUE)


def test_a_catalogue_without_a_week_ashore_is_refused_with_what_to_add() -> None:
    only = 'label = "Look"\ncost_item = "check"\n'
    catalogue = read_catalogue(f"[action.look]\n{only}", "one.toml", SETTINGS)

    with pytest.raises(CatalogueError, match="Offer an action with days_off of 7"):
        week_ashore(catalogue, PRICES)


def test_a_broken_hull_is_repaired_now_or_stands_a_week_at_its_rental() -> None:
    # 7,000 and ten days at 400 now; a week later seventeen days are lost.
    running = pl.DataFrame({"hull_id": NAMES, "why_not": ["broken"] + [None] * 6 + ["no record"]})
    table = sure_options(running, rules(), catalogue=CATALOGUE, prices=PRICES, horizon_d=30.0)
    cost = {(row["hull_id"], row["option"]): row for row in table.to_dicts()}

    assert cost["all at once", REPAIR]["expected_cost"] == 11_000
    assert cost["all at once", "take_out_of_use"]["expected_cost"] == 13_800
    assert cost["all at once", "take_out_of_use"]["sure_cost"] == 2_800
    repair = cost["all at once", REPAIR]
    rebuild = CATALOGUE.actions["full_rebuild"]
    assert repair["saving"] == 2_800
    assert (repair["mechanic_h"], repair["lift_slots"]) == (rebuild.mechanic_h, 1)
    assert sorted(repair["parts"]) == ["bottom_end_kit", "top_end_kit"]
    assert repair["days_off"] == 7
    # A check is 180 and half a day; what it may lead to is open.
    assert cost["unknown, failed test", "leak_down_check"]["expected_cost"] == 380
    assert cost["unknown, failed test", NOTHING]["expected_cost"] == 0
    assert cost["unknown, failed test", "leak_down_check"]["chance"] is None
    assert {hull for hull, _ in cost} == {"all at once", "unknown, failed test"}


def test_a_failed_test_is_followed_up_though_another_measure_passed_last_week() -> None:
    """A hull without a chance whose leak-down had failed lay ashore four weeks at its rental,
    for its compression had passed the week before and no test was due."""
    running = pl.DataFrame(
        {
            "hull_id": ["unknown, failed test"],
            "why_not": ["no record"],
            "tested_d_ago": [6.0],
            "failed_measures": [["leak_down"]],
            "found_out": [[]],
        },
        schema_overrides={"found_out": pl.List(pl.String)},
    ).rename({"found_out": FOUND_OUT, "failed_measures": FAILED})

    table = sure_options(running, rules(), catalogue=CATALOGUE, prices=PRICES, horizon_d=30.0)

    assert "find_the_leak" in table["option"].to_list()


def test_no_fuel_effect_takes_part_in_a_safety_rule() -> None:
    """Neither the rules nor what they leave to a hull reads whether fuel is shown to matter."""
    wary = SETTINGS.changed(planning__trade_prior=0.0)
    assert bound_options(rules(), default_catalogue(wary), PRICES) == bound_options(
        rules(), CATALOGUE, PRICES
    )


def test_a_week_ashore_counts_what_it_only_puts_off() -> None:
    """A fault found in use: a hull whose test had failed stood a week at 2,800, and the next,
    for each seemed cheaper than the top end it waited for."""
    options = pl.DataFrame(
        {
            "hull_id": ["A"] * 3 + ["B"],
            "own_option": ["take_out_of_use", "planned_top_end", NOTHING, "take_out_of_use"],
            "fuel_way": [""] * 4,
            "sure_cost": [2800.0, 4700.0, 0.0, 2800.0],
            "planned_cost": [4000.0, 5900.0, 1200.0, 4000.0],
        }
    )
    bound = {"A": frozenset({"take_out_of_use", "planned_top_end"})}

    found = waiting_costs(options, bound, "take_out_of_use")

    # 2,800 now and 5,900 then; B, which no rule binds, waits for nothing.
    assert found["planned_cost"].to_list() == [8700.0, 5900.0, 1200.0, 4000.0]
    assert found.columns == options.columns
