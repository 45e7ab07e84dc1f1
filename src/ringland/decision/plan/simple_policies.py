"""The simple policies a shop could follow instead, priced by the plan's own table.

Each gives every hull one thing by one rule, as far as the week has room; hulls that a safety
rule binds, or that are decided by hand, get what the plan gives them.  The plan chooses from
the same rows under the same limits, so none of these can be cheaper than it but by the
solver's gap.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import dataframely as dy
import numpy as np
import polars as pl

from ringland.contracts.plan_tables import NO_FUEL, OUTSIDE
from ringland.decision.actions.action_catalogue import FUEL_RULE, NOTHING, Catalogue
from ringland.decision.actions.fuel_offers import dock_way
from ringland.decision.actions.week_limits import RENTAL_DAYS, SPARE_DAYS, WeekLimits
from ringland.decision.plan.week_planner import WeekPlan
from ringland.decision.plan.week_solver import choice_from, room_for
from ringland.settings.assumptions import Assumptions

NONE, FUEL_ALL, FUEL_RAISED, DOCKS_RAISED, MILD, READ_AND_MILD, BY_HOURS, DRAIN = (
    "nothing", "fuel_all", "fuel_raised", "docks_raised", "mild", "read_and_mild", "by_hours",
    "drain",
)  # fmt: skip
MILD_CALIBRATION, TOP_END, DRAIN_REFILL = "mild_calibration", "planned_top_end", "drain_refill"
READING = "read_calibration"


class Alternatives(dy.Schema):
    """One row per simple policy: what it would cost to the season's end, as the plan is priced."""

    policy = dy.String(primary_key=True)
    cost = dy.Float64(description="as `WeekPlan.total_cost`")
    n_hulls = dy.Int64(min=0, description="hulls that would get its step this week")


@dataclass(frozen=True)
class _Week:
    """What every policy is laid out on."""

    options: pl.DataFrame
    planned: Mapping[str, tuple[str, str]]
    """Own option and way of the hulls no policy decides on."""
    limits: WeekLimits
    spare_day_worth: float
    n_other: int

    def rows(self) -> dict[tuple[str, str, str], int]:
        """The row of each hull, own option and way."""
        keys = self.options.select("hull_id", "own_option", "fuel_way").iter_rows()
        return {key: at for at, key in enumerate(keys)}

    def can_order(self, dock: str, way: str) -> bool:
        """Whether every hull of the dock no policy decides on can be given its own with it."""
        rows = self.rows()
        hulls = self.options.filter(pl.col("dock_id") == dock)["hull_id"].unique()
        fixed = [hull for hull in hulls if hull in self.planned]
        return all((hull, self.planned[hull][0], way) in rows for hull in fixed)


def alternatives(
    plan: WeekPlan,
    options: pl.DataFrame,
    running: pl.DataFrame,
    limits: WeekLimits,
    *,
    spare_day_worth: float,
    catalogue: Catalogue,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """What each simple policy would cost.

    Args:
        plan: the week's.
        options: `WeekOptions` it was made from.
        running: one row per hull in service: age_h, fuel_age_25h_d, is_raised_calibration.
        limits: the room there is.
        spare_day_worth: as the plan was made with.
        catalogue: what can be done; a policy whose step is not offered is left out.
        assumptions: settings.

    Returns:
        `Alternatives`, the cheapest first.
    """
    fixed = plan.rows.filter(pl.col("is_bound") | pl.col("is_pinned"))
    own = options.select("hull_id", "option", "fuel_way", "own_option")
    held = {
        hull: (option, way)
        for hull, option, way in fixed.join(
            own, on=["hull_id", "option", "fuel_way"], maintain_order="left"
        )
        .select("hull_id", "own_option", "fuel_way")
        .iter_rows()
    }
    n_other = len(plan.not_assessed)
    week = _Week(options, held, limits, spare_day_worth, n_other)
    raised = pl.col("is_raised_calibration").cast(pl.Float64) > 0
    age_h = assumptions.number("planning.simple_age_h")
    old_d = assumptions.number("fuel.old_after_d")
    old = running.filter(pl.col("fuel_age_25h_d") > old_d)["hull_id"].to_list()
    old_first = running.sort("age_h", descending=True, nulls_last=True)
    everybody = running["hull_id"].to_list()
    is_raised = running.filter(raised)["hull_id"].to_list()
    put_back = dict.fromkeys(is_raised, MILD_CALIBRATION)
    aged = old_first.filter(pl.col("age_h") >= age_h)["hull_id"].to_list()
    wanted: dict[str, Mapping[str, str]] = {
        NONE: {},
        FUEL_ALL: dict.fromkeys(everybody, FUEL_RULE),
        FUEL_RAISED: dict.fromkeys(is_raised, FUEL_RULE),
        DOCKS_RAISED: {},
        MILD: put_back,
        READ_AND_MILD: dict.fromkeys(everybody, READING) | put_back,
        BY_HOURS: dict.fromkeys(aged, TOP_END),
        DRAIN: dict.fromkeys(old, DRAIN_REFILL),
    }
    orders = {FUEL_ALL: _cheapest_orders(week), DOCKS_RAISED: _orders_for_raised(week, assumptions)}
    offered = catalogue.bundles()
    rows = [
        {"policy": name} | _priced(week, steps, orders.get(name, {}))
        for name, steps in wanted.items()
        if all(step in offered for step in steps.values())
    ]
    types = {column: spec.dtype for column, spec in Alternatives.columns().items()}
    return Alternatives.validate(pl.DataFrame(rows, schema=types).sort("cost"))


def _priced(
    week: _Week, steps: Mapping[str, str], orders: Mapping[str, str]
) -> dict[str, float | int]:
    """The cost of giving hulls their steps, in order, as far as there is room.

    `orders` are the ways of the docks that order a grade for all of their hulls.
    """
    options = week.options
    choice = choice_from(options, week.spare_day_worth, week.n_other)
    rows = week.rows()
    dock_of = dict(options.select("hull_id", "dock_id").iter_rows())
    names = options["hull_id"].unique().sort()

    def row_of(hull: str, option: str, way: str = NO_FUEL) -> int:
        way = orders.get(dock_of[hull] or "", way)
        return rows.get((hull, option, way), rows[hull, NOTHING, NO_FUEL])

    taken = {}
    for hull in names:
        option, way = week.planned.get(hull, (NOTHING, NO_FUEL))
        taken[hull] = row_of(hull, option, way if hull in week.planned else NO_FUEL)
    room = room_for(choice, week.limits)
    needs = {name: choice.needs.get(name, choice.needs[SPARE_DAYS]) for name in room}
    spare_d = 7.0 * week.limits.spare_hulls
    n = sum((dock_of[hull] or "") in orders for hull in taken if hull not in week.planned)
    for hull, step in steps.items():
        if hull in week.planned or hull not in taken:
            continue
        way = OUTSIDE if step == FUEL_RULE else NO_FUEL
        at = rows.get((hull, step, way))
        if at is None or (dock_of[hull] or "") in orders:
            continue
        trial = [*(row for name, row in taken.items() if name != hull), at]
        fits = all(
            needs[name][trial].sum() - (spare_d if name == RENTAL_DAYS else 0.0) <= limit + 1e-6
            for name, limit in room.items()
        )
        if fits:
            taken[hull] = at
            n += 1
    picked = np.array(list(taken.values()), dtype=int)
    spared = min(spare_d, float(choice.needs[SPARE_DAYS][picked].sum()))
    cost = float(choice.cost[picked].sum()) - week.spare_day_worth * spared
    return {"cost": cost, "n_hulls": n}


def _orders_for_raised(week: _Week, assumptions: Assumptions) -> dict[str, str]:
    """Every dock that can order the grade of the raised calibrations, with that way."""
    way = dock_way(assumptions.number("octane.need_raised_aki"))
    docks = week.options.filter(pl.col("fuel_way") == way)["dock_id"].unique().sort()
    return {dock: way for dock in docks if week.can_order(dock, way)}


def _cheapest_orders(week: _Week) -> dict[str, str]:
    found = {}
    rows, cost = week.rows(), choice_from(week.options, week.spare_day_worth, week.n_other).cost
    ordered = week.options.filter(~pl.col("fuel_way").is_in([NO_FUEL, OUTSIDE]))
    docks = ordered.group_by("dock_id", maintain_order=True).agg(pl.col("fuel_way").unique())
    for dock, ways in docks.sort("dock_id").iter_rows():
        hulls = week.options.filter(pl.col("dock_id") == dock)["hull_id"].unique().to_list()
        free = [hull for hull in hulls if hull not in week.planned]

        def total(option: str, way: str, among: Sequence[str]) -> float:
            at = [rows.get((hull, option, way)) for hull in among]
            return sum(np.inf if row is None else float(cost[row]) for row in at)

        costs = {OUTSIDE: total(FUEL_RULE, OUTSIDE, free)}
        for way in sorted(ways):
            costs[way] = total(NOTHING, way, free) if week.can_order(dock, way) else np.inf
        best = min(costs, key=lambda way: costs[way])
        if best != OUTSIDE:
            found[dock] = best
    return found
