"""The simple policies beside the plan: priced by its rows, and never cheaper than it."""

import polars as pl
import pytest

from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.plan.simple_policies import alternatives
from ringland.decision.plan.week_planner import plan_week
from ringland.decision.value.action_options import option_table, spare_day_worth
from ringland.settings.assumptions import load_assumptions
from tests.decision.plan_cases import PRICES, running_hulls, weibull_hazard

SETTINGS = load_assumptions()
CATALOGUE = default_catalogue(SETTINGS)
OFFERS = pl.DataFrame(
    {
        "dock_id": ["north", "south", "south"], "grade_aki": [91.0, 91.0, 93.0],
        "own_aki": [87.0] * 3, "per_l": [0.02, 0.2, 0.3], "next_delivery_d": [3.0, 0.0, 0.0],
    }
)  # fmt: skip


def beside(seed: int, limits: WeekLimits, bound=None, **hazard: float):  # type: ignore[no-untyped-def]
    running = running_hulls(16, seed=seed)
    options = option_table(
        running,
        weibull_hazard(n_draws=40, **hazard),
        catalogue=CATALOGUE,
        prices=PRICES,
        horizon_d=110.0,
        assumptions=SETTINGS,
        offers=OFFERS,
    )
    worth = spare_day_worth(options, PRICES, 110.0)
    plan = plan_week(options, limits, spare_day_worth=worth, bound=bound or {})
    found = alternatives(
        plan,
        options,
        running,
        limits,
        spare_day_worth=worth,
        catalogue=CATALOGUE,
        assumptions=SETTINGS,
    )
    return plan, options, found


@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize("scale_h", [250.0, 1500.0])
def test_no_simple_policy_is_cheaper_than_the_plan(seed: int, scale_h: float) -> None:
    limits = WeekLimits(2, 40.0, {"top_end_kit": 2, "bottom_end_kit": 0}, {}, 1)
    bound = {"H003": frozenset({"leak_down_check", "planned_top_end", "take_out_of_use"})}

    plan, _, found = beside(seed, limits, bound, scale_h=scale_h)

    assert found["policy"].sort().to_list() == [
        "by_hours", "docks_raised", "drain", "fuel_all", "fuel_raised", "mild", "nothing",
        "read_and_mild",
    ]  # fmt: skip
    assert (found["cost"] >= plan.total_cost * (1 - plan.gap) - 0.01).all()


def test_nothing_costs_what_leaving_every_hull_costs_and_good_fuel_takes_the_cheaper_way() -> None:
    roomy = WeekLimits(9, 200.0, {"top_end_kit": 9, "bottom_end_kit": 9})

    _, options, found = beside(1, roomy)

    cost = dict(found.select("policy", "cost").iter_rows())
    nothing = options.filter((pl.col("option") == "nothing") & (pl.col("fuel_way") == ""))
    assert cost["nothing"] == pytest.approx(nothing["planned_cost"].sum())
    whole = pl.col("planned_cost") + pl.col("change_cost")
    ruled = options.filter((pl.col("option") == "fuel_rule"), pl.col("own_option") != "mild")
    by_way = {
        key: sum(group.select(whole).to_series())
        for key, group in ruled.filter(
            (pl.col("own_option") == "nothing") | (pl.col("fuel_way") == "outside")
        ).group_by("dock_id", "fuel_way")
    }
    least = sum(
        min(value for (dock, _), value in by_way.items() if dock == each)
        for each in ("north", "south")
    )
    assert cost["fuel_all"] == pytest.approx(least)


def test_top_ends_by_hours_go_to_the_oldest_as_far_as_there_is_room() -> None:
    _, _, found = beside(2, WeekLimits(2, 200.0, {"top_end_kit": 9, "bottom_end_kit": 9}))

    assert found.filter(policy="by_hours")["n_hulls"].item() == 2
