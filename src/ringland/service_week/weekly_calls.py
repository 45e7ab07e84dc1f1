"""The one thing to do on each hull this week: its call, its action, its price.

An action is taken when it lowers the expected cost over 30 days.  A hull with an open
failure, or with a chance in 7 days beyond the limit, stays off the water whatever that
costs; one with a high chance in 30 days, or a failed test, is checked whatever that costs.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from ringland.assumptions import Assumptions
from ringland.fleet_risk.failure_risk import HORIZONS_D
from ringland.service_week.action_effects import check_cost
from ringland.service_week.action_prices import Prices
from ringland.service_week.call_lines import call_reason
from ringland.service_week.tables import HullCalls


def hull_calls(
    *,
    running: pl.DataFrame,
    chances: pl.DataFrame,
    drivers: pl.DataFrame,
    costs: pl.DataFrame,
    bench_warnings: pl.DataFrame,
    prices: Prices,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """One call and one action for every hull in service, the costliest to leave first.

    Args:
        running: as `running_sets` returns it.
        chances: `HullChances` made from the same `running`.
        drivers: `HullDrivers` of the factors a reason may name.
        costs: as `action_costs` returns them.
        bench_warnings: engine_id, warning: what the last tests of an engine speak of.
        prices: what things cost this season.
        assumptions: settings.

    Returns:
        `HullCalls`; hulls that cannot be assessed last, in order of hull.
    """
    waiting = costs.filter(pl.col("action") == "nothing").select(
        "hull_id", cost_of_waiting="expected_cost"
    )
    best = _cheapest(costs, pl.lit(True))
    best_in_shop = _cheapest(costs, pl.col("action").is_in(SHOP_ACTIONS))
    facts = (
        running.select("hull_id", "engine_id", "found_at", "mode", "why_not")
        .join(chances.drop("dock_id", "engine_id", "piston_set_id", "why_not"), on="hull_id")
        .join(waiting, on="hull_id", how="left")
        .join(best, on="hull_id", how="left")
        .join(best_in_shop, on="hull_id", how="left", suffix="_in_shop")
        .join(bench_warnings, on="engine_id", how="left")
        .join(_top_driver(drivers), on="hull_id", how="left")
    )
    rows = [_call(row, prices, assumptions) for row in facts.iter_rows(named=True)]
    types = {name: column.dtype for name, column in HullCalls.columns().items()}
    return HullCalls.validate(
        pl.DataFrame(rows, schema=types)
        .sort("cost_of_waiting", "hull_id", descending=[True, False], nulls_last=True)
        .with_columns(
            rank=pl.when(pl.col("cost_of_waiting").is_not_null()).then(
                pl.int_range(1, pl.len() + 1)
            )
        )
        .select(HullCalls.column_names())
    )


SHOP_ACTIONS = ("check", "drain_and_check", "planned_top_end")
"""Actions that take the hull to the shop, so that the call is to book it in."""


def _cheapest(costs: pl.DataFrame, among: pl.Expr) -> pl.DataFrame:
    """The action of least expected cost of each hull; of equals, the one listed first."""
    return (
        costs.filter(among)
        .sort("hull_id", "expected_cost", maintain_order=True)
        .group_by("hull_id", maintain_order=True)
        .first()
        .rename({"chance_30d": "chance_after"})
    )


def _top_driver(drivers: pl.DataFrame) -> pl.DataFrame:
    """The factor that lifts each hull's hazard most: hull_id, top_factor, top_part."""
    return (
        drivers.sort("hull_id", "log_hazard_part", "factor", descending=[False, True, False])
        .group_by("hull_id", maintain_order=True)
        .first()
        .select("hull_id", top_factor="factor", top_part="log_hazard_part")
    )


def _call(row: dict[str, Any], prices: Prices, assumptions: Assumptions) -> dict[str, Any]:
    """The call on one hull; an open failure first, then the record, the chance, tests, cost."""
    call: dict[str, Any] = dict.fromkeys(HullCalls.column_names()) | {"hull_id": row["hull_id"]}
    if row["found_at"] is not None:
        lost = HORIZONS_D["30d"] * prices.lost_rental_day
        call |= {
            "call": "keep_off",
            "action": "repair",
            "action_cost": prices.full_rebuild_unplanned,
            "cost_of_waiting": lost,
            "saving": None,
        }
    elif row["why_not"] is not None:
        call |= {"call": "not_enough_record"}
        if row["warning"] is not None:
            cost = check_cost(prices, assumptions)
            call |= {"call": "book_check", "action": "check", "action_cost": cost}
    else:
        limit = assumptions.number("call.keep_off_chance_7d")
        too_high = float(row["chance_7d"]) >= limit
        is_worth_a_look = row["chance_30d"] >= assumptions.number("call.check_chance_30d")
        in_shop = too_high or is_worth_a_look or row["warning"] is not None
        suffix = "_in_shop" if in_shop else ""
        action = str(row[f"action{suffix}"])
        if too_high:
            kind = "keep_off"
        elif in_shop or action in SHOP_ACTIONS:
            kind = "book_check"
        else:
            kind = "rent_as_normal"
        waiting = float(row["cost_of_waiting"])
        call |= {
            "call": kind,
            "action": action,
            "action_cost": row[f"action_cost{suffix}"],
            "cost_of_waiting": waiting,
            "saving": waiting - float(row[f"expected_cost{suffix}"]),
        }
        row = row | {"chance_after": row[f"chance_after{suffix}"]}
    return call | {"reason": call_reason(row | call, assumptions)}
