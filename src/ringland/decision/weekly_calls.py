"""The one thing to do on each hull this week: its call, its action, its price.

The action is the plan's, so that list and bay can never differ.  The call follows from the
safety rules first and from the action after: a hull with an open failure, with a failed test
that nothing answers, with a chance in 7 days at the limit, or that must be looked at but finds
no room, stays off the water; one that is looked at or renewed is booked in; any other is rented
as normal.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from ringland.contracts.decision_tables import HullCalls
from ringland.contracts.plan_tables import PlanRows
from ringland.decision.action_catalogue import NOTHING, Catalogue
from ringland.decision.action_terms import TESTED
from ringland.decision.call_lines import call_reason
from ringland.decision.safety_rules import FAILED_TEST, HIGH_7D, OPEN_FAILURE
from ringland.decision.week_tables import WeekTables
from ringland.settings.assumptions import Assumptions


def hull_calls(
    tables: WeekTables,
    *,
    drivers: pl.DataFrame,
    rules: pl.DataFrame,
    options: pl.DataFrame,
    planned: pl.DataFrame | None,
    ashore: str,
    catalogue: Catalogue,
    horizon_d: float,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """One call and one action for every hull in service, the costliest to leave first.

    Args:
        tables: as `make_week_tables` returns them.
        drivers: `HullDrivers` of the factors a reason may name.
        rules: `SafetyRules` made from the same tables.
        options: `WeekOptions` the plan was made from.
        planned: `PlanRows`; None where no hull has an option.
        ashore: the option that keeps a hull off the water for the week.
        catalogue: what can be done.
        horizon_d: days the options look ahead.
        assumptions: settings.

    Returns:
        `HullCalls`; hulls that cannot be assessed last, in order of hull.
    """
    plan = PlanRows.create_empty() if planned is None else planned
    price = options.select(
        "hull_id", "option", "fuel_way", action_cost="sure_cost", chance_after="chance"
    )
    # Against doing nothing all along, as `saving` is: the two then add up to what doing leaves.
    waiting = options.filter(pl.col("option") == NOTHING).select(
        "hull_id", cost_of_waiting="expected_cost"
    )
    facts = (
        tables.running.select("hull_id", "engine_id", "found_at", "mode", "why_not", TESTED)
        .join(tables.chances.drop("dock_id", "engine_id", "piston_set_id", "why_not"), on="hull_id")
        .join(rules, on="hull_id", how="left")
        .join(plan.drop("expected_cost"), on="hull_id", how="left")
        .join(price, on=["hull_id", "option", "fuel_way"], how="left")
        .join(waiting, on="hull_id", how="left")
        .join(tables.bench_warnings, on="engine_id", how="left")
        .join(_top_driver(drivers), on="hull_id", how="left")
    )
    bundles = catalogue.bundles()
    in_shop = {
        name
        for name, actions in bundles.items()
        if any(action.test is not None or action.renews_age for action in actions)
    }
    rows = []
    for row in facts.iter_rows(named=True):
        call = _call(row, in_shop, ashore)
        said = row | call | {"horizon_d": horizon_d, "ashore": ashore}
        rows.append(call | {"reason": call_reason(said, assumptions)})
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


def _top_driver(drivers: pl.DataFrame) -> pl.DataFrame:
    """The factor that lifts each hull's hazard most: hull_id, top_factor, top_part."""
    return (
        drivers.sort("hull_id", "log_hazard_part", "factor", descending=[False, True, False])
        .group_by("hull_id", maintain_order=True)
        .first()
        .select("hull_id", top_factor="factor", top_part="log_hazard_part")
    )


def _call(row: dict[str, Any], in_shop: set[str], ashore: str) -> dict[str, Any]:
    """The call on one hull and what the plan gives it, without its reason."""
    call: dict[str, Any] = dict.fromkeys(HullCalls.column_names()) | {"hull_id": row["hull_id"]}
    option, rule = row["option"], row["rule"]
    keeps_off = rule in (OPEN_FAILURE, HIGH_7D, FAILED_TEST)
    if option is None:  # what keeps a hull off needs no price: it holds without a plan too
        return call | {"call": "keep_off" if keeps_off else "not_enough_record"}
    if keeps_off or option == ashore:
        kind = "keep_off"
    elif rule is not None or option in in_shop:
        kind = "book_check"
    else:
        kind = "rent_as_normal"
    # Where its chance is not known, a hull's waiting has no price: only what is sure has.
    is_priced = row["why_not"] is None or rule == OPEN_FAILURE
    no_room = row["short_of"]
    return call | {
        "call": kind,
        "action": option,
        "action_cost": row["action_cost"],
        "cost_of_waiting": row["cost_of_waiting"] if is_priced else None,
        "saving": row["saving"] if is_priced else None,
        "waits_for": row["wanted"] if no_room else None,
        "no_room_in": ", ".join(no_room) if no_room else None,
        "decided_by": "hand" if row["is_pinned"] else "safety" if row["is_bound"] else "cost",
    }
