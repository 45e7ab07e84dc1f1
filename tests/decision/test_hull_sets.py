"""The sets of steps shown beside each other on a hull, by hand and on a small fleet."""

from typing import Any

import polars as pl

from ringland.contracts.plan_tables import PlanRows, WeekOptions
from ringland.decision.actions.action_catalogue import NOTHING
from ringland.decision.actions.safety_rules import Bound, bound_options, safety_rules
from ringland.decision.value.hull_sets import MOST, hull_sets
from tests.decision.plan_cases import PRICES
from tests.decision.small_fleet import CATALOGUE, SETTINGS, frame, small_fleet

AS_IT_IS = {"option": NOTHING, "expected_cost": 900.0, "sure_cost": 0.0, "chance": 0.086}
CHECK = {"option": "fuel_and_check", "expected_cost": 1040.0, "sure_cost": 570.0, "chance": 0.042}
MILD = {"option": "fuel_and_calibration", "expected_cost": 520.0, "sure_cost": 323.0,
        "chance": 0.018}  # fmt: skip


def option(facts: dict[str, Any]) -> dict[str, Any]:
    saving = AS_IT_IS["expected_cost"] - facts["expected_cost"]
    usual = {
        "hull_id": "H1", "own_option": facts["option"], "fuel_way": "", "fuel_per_l": 0.0,
        "planned_cost": facts["expected_cost"], "change_cost": 0.0, "begins": [], "ends": [],
        "week_later": 0.0, "cost_low": 0.0, "cost_high": 0.0, "saving": saving,
        "saving_low": saving - 50, "saving_high": saving + 50, "chance_low": 0.0,
        "chance_high": 0.2, "mechanic_h": 1.0, "lift_slots": 0, "days_off": 0.0, "parts": [],
        "follow_up_chance": 0.0,
    }  # fmt: skip
    return usual | facts


def shown(
    *options: dict[str, Any], given: str = NOTHING, way: str = "", bound: Bound | None = None
) -> list[tuple[Any, ...]]:
    table = frame(WeekOptions, [option(facts) for facts in options])
    planned = frame(PlanRows, [{"hull_id": "H1", "option": given, "fuel_way": way}])
    found = hull_sets(table, planned, bound or {}, catalogue=CATALOGUE, prices=PRICES)
    return [
        (row["place"], row["option"], row["is_planned"], row["chance"], row["sure_cost"])
        for row in found.iter_rows(named=True)
    ]


def test_the_set_that_costs_less_and_leaves_less_stands_first() -> None:
    """A hull got fuel rule and check: 570, leaves 4.2 %.  One of 323 and 1.8 % was not shown."""
    assert shown(AS_IT_IS, CHECK, MILD, given="fuel_and_calibration") == [
        (0, NOTHING, False, 0.086, 0.0),
        (1, "fuel_and_calibration", True, 0.018, 323.0),
        (2, "fuel_and_check", False, 0.042, 570.0),
    ]


def test_a_set_that_only_adds_to_a_better_one_or_is_not_allowed_takes_no_place() -> None:
    rule = CHECK | {"option": "fuel_rule", "expected_cost": 700.0, "chance": 0.042}
    assert [row[1] for row in shown(AS_IT_IS, CHECK, rule)] == [NOTHING, "fuel_rule"]
    kept = shown(AS_IT_IS, CHECK, MILD, bound={"H1": frozenset({"fuel_and_check"})})
    assert [row[1] for row in kept] == [NOTHING, "fuel_and_check"]


def test_the_planned_set_is_shown_by_its_own_way_and_however_many_are_better() -> None:
    others = [
        MILD | {"option": name, "expected_cost": 530.0 + k, "chance": 0.018 - k / 1000}
        for k, name in enumerate(["planned_top_end", "leak_down_check", "borescope"])
    ]
    ordered = MILD | {"fuel_way": "dock@93", "expected_cost": 990.0}
    found = shown(AS_IT_IS, *others, MILD, ordered, given="fuel_and_calibration", way="dock@93")

    assert len(found) == 1 + MOST
    assert [row[1] for row in found if row[2]] == ["fuel_and_calibration"]


def test_on_a_fleet_every_hull_has_its_plan_among_its_sets_at_the_plans_own_figures() -> None:
    fleet = small_fleet()
    fits = fleet.fits()
    tables = fleet.tables(fits)
    made = fleet.decisions(fits, tables=tables, only_plan=True)
    assert made.plan is not None
    planned = dict(made.plan.rows.select("hull_id", "option").iter_rows())
    rules = safety_rules(tables.running, tables.chances, tables.bench_warnings, SETTINGS)
    bound = bound_options(rules, CATALOGUE, tables.prices)

    for (hull,), mine in made.sets.partition_by("hull_id", as_dict=True).items():
        assert mine.filter("is_planned")["option"].to_list() == [planned[str(hull)]]
        assert mine.height <= 1 + MOST
        for row in mine.filter(pl.col("place") > 0).iter_rows(named=True):
            assert row["option"] in bound.get(str(hull), {row["option"]})
            of_it = made.options.filter(hull_id=hull, option=row["option"])
            assert row["saving"] in of_it["saving"].to_list()
            if row["chance"] is not None:
                assert row["left_cost"] == row["chance"] * tables.prices.unplanned


def test_the_mechanics_hours_and_prices_are_the_shops_own_where_it_wrote_them_down() -> None:
    """Every job took the catalogue's hours, whatever the costs on record said."""
    fleet = small_fleet()
    fits = fleet.fits()
    costs = fleet.records["costs"]
    rows = [
        {"item": "check", "season": 2026, "amount": 195.0, "currency": "USD", "mechanic_h": 2.5},
        {"item": "calibration_change", "season": 2025, "amount": 130.0, "currency": "USD",
         "mechanic_h": 1.0},
        {"item": "borescope", "season": 2026, "amount": 90.0, "currency": "EUR",
         "mechanic_h": 0.75},
    ]  # fmt: skip
    fleet.records["costs"] = pl.DataFrame(rows, schema=costs.schema)
    try:
        made = fleet.decisions(fits, only_plan=True)
    finally:
        fleet.records["costs"] = costs
    actions = made.catalogue.actions
    mild = actions["mild_calibration"]
    hours = dict(made.options.select("option", "mechanic_h").iter_rows())

    assert (actions["leak_down_check"].mechanic_h, hours["leak_down_check"]) == (2.5, 2.5)
    assert (mild.mechanic_h, mild.cost) == (1.0, 130.0)
    # of a price in another money than the others' only the hours are taken
    assert (actions["borescope"].mechanic_h, actions["borescope"].cost) == (0.75, 120.0)
