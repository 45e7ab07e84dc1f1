"""The week's list: one plain state a hull, what is to be done on it, and its price.

The action is the plan's, so that list and bay can never differ.  What must be done besides (an
open rebuild sheet, fuel to drain, a job of an earlier list) stands beside it, and the state
follows from all of them (`hull_state`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import EARLIER, OPEN, HullCalls, HullJobs
from ringland.contracts.plan_tables import PlanRows
from ringland.decision.actions.action_catalogue import NOTHING, Catalogue
from ringland.decision.actions.action_terms import TESTED
from ringland.decision.actions.safety_rules import FAILED_TEST, HIGH_7D, OPEN_FAILURE
from ringland.decision.jobs.call_lines import call_reason
from ringland.decision.jobs.fuel_lines import own_fuel_line
from ringland.decision.jobs.hull_state import hull_state, is_limited_by_own_fuel, is_overdue
from ringland.decision.jobs.new_jobs import Asker
from ringland.decision.jobs.reason_lines import reason_text
from ringland.decision.jobs.step_prices import besides
from ringland.decision.value.last_tests import with_failed_tests
from ringland.decision.week_tables import WeekTables
from ringland.settings.assumptions import Assumptions

Row = Mapping[str, Any]


def hull_calls(
    tables: WeekTables,
    *,
    drivers: pl.DataFrame,
    rules: pl.DataFrame,
    options: pl.DataFrame,
    planned: pl.DataFrame | None,
    asker: Asker,
    earlier: pl.DataFrame,
    horizon_d: float,
    assumptions: Assumptions,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """One state and one action for every hull in service, and the jobs behind them.

    Args:
        tables: as `make_week_tables` returns them.
        drivers: `HullDrivers` of the factors a reason may name.
        rules: `SafetyRules` made from the same tables.
        options: `WeekOptions` the plan was made from.
        planned: `PlanRows`; None where no hull has an option.
        asker: makes the jobs of a hull.
        earlier: `HullJobs` of earlier lists, as `asked_jobs` returns them.
        horizon_d: days the options look ahead.
        assumptions: settings.

    Returns:
        `HullCalls`, hulls with an overdue job first, then the costliest to leave; hulls that
        cannot be assessed last, in order of hull.  `HullJobs`, those answered by now among them.
    """
    plan = PlanRows.create_empty() if planned is None else planned
    price = options.select(
        "hull_id", "option", "fuel_way", action_cost="sure_cost", chance_after="chance"
    )
    # Against doing nothing all along, as `saving` is: the two then add up to what doing leaves.
    waiting = options.filter(pl.col("option") == NOTHING).select(
        "hull_id", cost_of_waiting="expected_cost", chance_left="chance"
    )
    running = with_failed_tests(tables.running, tables.bench_warnings, tables.standing, earlier)
    facts = (
        running.select(
            "hull_id", "engine_id", "found_at", "mode", "why_not", "last_session_at", TESTED,
            "failed_measures", "looked_further",
        )
        .join(
            tables.chances.drop("dock_id", "engine_id", "piston_set_id", "why_not"),
            on="hull_id",
            maintain_order="left",
        )
        .join(rules, on="hull_id", how="left")
        .join(plan.drop("expected_cost"), on="hull_id", how="left")
        .join(price, on=["hull_id", "option", "fuel_way"], how="left")
        .join(waiting, on="hull_id", how="left")
        .join(tables.bench_warnings.drop("failed_measures"), on="engine_id", how="left")
        .join(_top_driver(drivers), on="hull_id", how="left")
    )  # fmt: skip
    sheets = {row["engine_id"]: row for row in tables.sheets.iter_rows(named=True)}
    at_hand = {row["hull_id"]: row for row in tables.at_hand.iter_rows(named=True)}
    before = earlier.partition_by("hull_id", as_dict=True)
    in_shop = _in_shop(asker.week.catalogue)
    calls: list[dict[str, Any]] = []
    jobs: list[dict[str, Any]] = []
    late = set()
    for row in facts.iter_rows(named=True):
        hull = row["hull_id"]
        row |= {"sheet": sheets.get(row["engine_id"]), "at_hand": at_hand.get(hull, {})}
        call = _planned(row, in_shop, asker.ashore)
        said = row | call | {"horizon_d": horizon_d, "ashore": asker.ashore}
        reason = call_reason(said, assumptions)
        old = before.pop((hull,), earlier.clear()).to_dicts()
        own = asker.jobs(row, reason, old)
        jobs += own
        standing = [job for job in own if job["state"] == OPEN]
        state = _state(row, call, standing, reason, asker)
        if is_limited_by_own_fuel(row["at_hand"]):
            state["reason"] = f"{own_fuel_line(row['at_hand'])} {state['reason']}"
        calls.append(call | state)
        if any(is_overdue(job, asker.week.as_of) for job in standing):
            late.add(hull)
    for gone in before.values():  # of hulls that left service, and of engines in none
        jobs += gone.to_dicts()
    return _ranked(calls, late), _as_jobs(jobs)


def _in_shop(catalogue: Catalogue) -> set[str]:
    return {
        name
        for name, actions in catalogue.bundles().items()
        if any(action.test is not None or action.renews_age for action in actions)
    }


def _ranked(calls: list[dict[str, Any]], late: set[str]) -> pl.DataFrame:
    types = {name: column.dtype for name, column in HullCalls.columns().items()}
    is_late = pl.col("hull_id").is_in(list(late)) & pl.col("cost_of_waiting").is_not_null()
    return HullCalls.validate(
        pl.DataFrame(calls, schema=types)
        .sort(
            is_late, "cost_of_waiting", "hull_id",
            descending=[True, True, False], nulls_last=True,
        )
        .with_columns(
            rank=pl.when(pl.col("cost_of_waiting").is_not_null()).then(
                pl.int_range(1, pl.len() + 1)
            )
        )
        .select(HullCalls.column_names())
    )  # fmt: skip


def _as_jobs(jobs: list[dict[str, Any]]) -> pl.DataFrame:
    types = {name: column.dtype for name, column in HullJobs.columns().items()}
    return HullJobs.validate(pl.DataFrame(jobs, schema=types).sort("hull_id", maintain_order=True))


def _top_driver(drivers: pl.DataFrame) -> pl.DataFrame:
    """The factor that lifts each hull's hazard most: hull_id, top_factor, top_part."""
    return (
        drivers.sort("hull_id", "log_hazard_part", "factor", descending=[False, True, False])
        .group_by("hull_id", maintain_order=True)
        .first()
        .select("hull_id", top_factor="factor", top_part="log_hazard_part")
    )


def _planned(row: dict[str, Any], in_shop: set[str], ashore: str) -> dict[str, Any]:
    """What the plan gives a hull, and whether it is warned of."""
    call: dict[str, Any] = dict.fromkeys(HullCalls.column_names()) | {"hull_id": row["hull_id"]}
    option, rule = row["option"], row["rule"]
    keeps_off = rule in (OPEN_FAILURE, HIGH_7D, FAILED_TEST)
    if option is None:  # what keeps a hull off needs no price: it holds without a plan too
        return call | {"is_flagged": keeps_off}
    # Where its chance is not known, a hull's waiting has no price: only what is sure has.
    is_priced = row["why_not"] is None or rule == OPEN_FAILURE
    no_room = row["short_of"]
    return call | {
        "is_flagged": keeps_off or rule is not None or option == ashore or option in in_shop,
        "action": option,
        "action_cost": row["action_cost"],
        "cost_of_waiting": row["cost_of_waiting"] if is_priced else None,
        "saving": row["saving"] if is_priced else None,
        "waits_for": row["wanted"] if no_room else None,
        "no_room_in": ", ".join(no_room) if no_room else None,
        "decided_by": "hand" if row["is_pinned"] else "safety" if row["is_bound"] else "cost",
    }


def _state(row: Row, call: Row, jobs: Sequence[Row], reason: str, asker: Asker) -> dict[str, Any]:
    """The state of a hull, its jobs by name, why, and the price of what the plan leaves out."""
    week = asker.week
    actions = [action.name for action in week.catalogue.jobs(call["action"] or NOTHING)]
    own_facts = {name: row[name] for name in ("hull_id", "engine_id", "why_not", "last_session_at")}
    is_ashore = call["action"] == asker.ashore
    facts = own_facts | {"is_ashore": is_ashore, "has_no_room": is_ashore}
    state = hull_state(facts, jobs, row["at_hand"], actions, week)
    musts = [job for job in jobs if job["is_must"]]
    late = [job for job in jobs if not job["is_must"] and is_overdue(job, week.as_of)]
    is_planned = row["rule"] is None and call["action"] not in (None, NOTHING)
    own = reason if is_planned or not musts else None  # the plan's own
    plan_has = set(actions)
    more = besides(jobs, call, asker.ashore, week.catalogue)
    rules = [name for name in week.catalogue.rules() if name in plan_has]
    found: dict[str, Any] = {
        "call": state.kind,
        "says": state.says,
        "do": list(dict.fromkeys([*(job["what"] for job in jobs), *rules])),
        "reason": reason_text([*musts, *late], own, row["at_hand"], week),
    }
    if more:
        found["action_cost"] = (call["action_cost"] or 0.0) + more
        found["saving"] = None if call["saving"] is None else call["saving"] - more
    if musts and call["decided_by"] == "cost":
        found["decided_by"] = "safety"
    elif more and call["decided_by"] == "cost" and (found["saving"] or 0.0) <= 0:
        found["decided_by"] = EARLIER
    return found
