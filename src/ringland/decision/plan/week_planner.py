"""The weekly plan: which hull gets what, at least expected cost, and why.

Safety rules come first: a hull they bind gets one of the options they leave it, whatever it
costs.  Hand changes are kept: a pin gives a hull an option whatever it costs, a forbid takes
one away.  Each is priced by solving again without it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.contracts.plan_tables import NO_FUEL, OUTSIDE, PlanRows
from ringland.decision.actions.action_catalogue import NOTHING
from ringland.decision.actions.safety_rules import Bound
from ringland.decision.actions.week_limits import RENTAL_DAYS, SPARE_DAYS, LimitError, WeekLimits
from ringland.decision.plan.hand_changes import NO_CHANGES, HandChanges, check_changes
from ringland.decision.plan.week_solver import (
    SOLVER_TOLERANCE,
    Choice,
    Solution,
    choice_from,
    room_for,
    solve,
)

NOT_BOUND: Bound = {}


@dataclass(frozen=True)
class WeekPlan:
    """The plan of a week, what it costs, and what its limits and hand changes cost.

    `total_cost` is to the season's end, what it takes to change rules included; no other plan
    costs less by more than the share `gap` of it.  `used` and `room` are by limit;
    `worth_of_one_more` is what the plan would cost less with one more slot, hour, kit or spare,
    or one rental day fewer to have ready.  `hand_changes` maps a hull to what
    the plan costs more for what was decided on it by hand.
    """

    rows: pl.DataFrame
    total_cost: float
    cost_of_nothing: float
    spare_days: float
    used: Mapping[str, float]
    room: Mapping[str, float]
    worth_of_one_more: Mapping[str, float]
    hand_changes: Mapping[str, float]
    to_order: Mapping[str, int]
    not_assessed: tuple[str, ...]
    gap: float = 0.0


@dataclass(frozen=True)
class WeekChoice:
    """What a plan is made from, beside limits and hand changes."""

    options: pl.DataFrame
    choice: Choice
    bound: Bound

    @classmethod
    def of(
        cls,
        options: pl.DataFrame,
        spare_day_worth: float,
        bound: Bound,
        not_assessed: Sequence[str],
    ) -> WeekChoice:
        """What `plan_week` chooses from, given what it is given."""
        return cls(
            options,
            choice_from(options, spare_day_worth, len(not_assessed)),
            bound,
        )

    def allowed(self, limits: WeekLimits, changes: HandChanges) -> NDArray[np.bool_]:
        """Options that safety rules and hand changes leave.

        What a dock orders for all of its hulls is no decision on one of them: there, what
        the hull itself gets is looked at.
        """
        kept = []
        for hull, option in self.options.select("hull_id", "own_option").iter_rows():
            if hull in changes.pins:
                kept.append(changes.pins[hull] == option)
            else:
                may = option in self.bound.get(hull, (option,))
                kept.append(may and option not in changes.forbids.get(hull, ()))
        return np.array(kept, dtype=bool)

    def solve(self, limits: WeekLimits, changes: HandChanges) -> Solution:
        """The least cost; `taken` is over all rows of `options`."""
        kept = self.allowed(limits, changes)
        left = set(self.options["hull_id"].filter(pl.Series(kept)).to_list())
        if bare := sorted(set(self.options["hull_id"].to_list()) - left):
            raise LimitError(
                f"hand changes: every option of {', '.join(bare)} is forbidden; allow one."
            )
        found = solve(self.choice.kept(kept), limits)
        taken = np.zeros(len(kept), dtype=bool)
        taken[np.flatnonzero(kept)[found.taken]] = True
        return replace(found, taken=taken)


def plan_week(
    options: pl.DataFrame,
    limits: WeekLimits,
    *,
    spare_day_worth: float,
    changes: HandChanges = NO_CHANGES,
    bound: Bound = NOT_BOUND,
    not_assessed: Sequence[str] = (),
) -> WeekPlan:
    """The plan of least expected cost.

    Args:
        options: `WeekOptions` as `option_table` returns it.
        limits: the room there is.
        spare_day_worth: money a spare hull earns back in a day off of another.
        changes: pins and forbids, kept whatever they cost.
        bound: the options that safety rules leave a hull, kept whatever they cost; a pin of
            the caller's is taken to keep to them.
        not_assessed: hulls in service without options; they count as ready for rent.

    Raises:
        LimitError: a hand change names no known hull or option, a limit is missing, or no
            plan keeps to the limits (the message names the limit).
    """
    check_changes(options, changes)
    week = WeekChoice.of(options, spare_day_worth, bound, not_assessed)
    best = week.solve(limits, changes)
    room = room_for(week.choice, limits)
    used = {name: float(need[best.taken].sum()) for name, need in week.choice.needs.items()}
    used[RENTAL_DAYS] = used[SPARE_DAYS] - best.spare_days
    names = [*[name for name in room if name != RENTAL_DAYS], SPARE_DAYS]
    if limits.rental_days_needed > 0:
        names.append(RENTAL_DAYS)
    return WeekPlan(
        rows=_plan_rows(week, best, limits, changes),
        total_cost=best.cost,
        cost_of_nothing=float(options.filter(pl.col("option") == NOTHING)["expected_cost"].sum()),
        spare_days=best.spare_days,
        used=used,
        room=room,
        worth_of_one_more={
            name: _saved(best, week.solve(limits.with_one_more(name), changes)) for name in names
        },
        hand_changes={
            hull: _saved(best, week.solve(limits, changes.without(hull))) for hull in changes.hulls
        },
        to_order={
            part: max(0, round(used[part]) - limits.kits(part))
            for part in used
            if limits.can_order(part)
        },
        not_assessed=tuple(not_assessed),
        gap=best.gap,
    )


def price_every_option(
    hull_id: str,
    options: pl.DataFrame,
    limits: WeekLimits,
    *,
    spare_day_worth: float,
    changes: HandChanges = NO_CHANGES,
    bound: Bound = NOT_BOUND,
    not_assessed: Sequence[str] = (),
) -> dict[str, float | None]:
    """What the whole week would cost more if this hull were given each of its options.

    Zero for the option of the plan; None where no plan keeps to the limits with it.  The
    other arguments are those of `plan_week`; hand changes to this hull are set aside.

    Raises:
        LimitError: as `plan_week`.
    """
    check_changes(options, changes)
    week = WeekChoice.of(options, spare_day_worth, bound, not_assessed)
    others = changes.without(hull_id)
    best = week.solve(limits, others)
    prices: dict[str, float | None] = {}
    own = options.filter(pl.col("hull_id") == hull_id)["own_option"].unique(maintain_order=True)
    for option in own:
        try:
            prices[option] = _saved(week.solve(limits, others.with_pin(hull_id, option)), best)
        except LimitError:
            prices[option] = None
    return prices


def _saved(now: Solution, then: Solution) -> float:
    """What `then` costs less than `now`; solver noise below a cent counts as nothing."""
    return round(now.cost - then.cost, 2) + 0.0


def _plan_rows(
    week: WeekChoice, best: Solution, limits: WeekLimits, changes: HandChanges
) -> pl.DataFrame:
    options = week.options.with_row_index("row").with_columns(_cost=pl.Series(week.choice.cost))
    chosen = options.filter(pl.Series(best.taken))
    is_order = ~pl.col("fuel_way").is_in([NO_FUEL, OUTSIDE])
    free = HandChanges(forbids=changes.forbids)
    # What its dock orders is not one hull's to want.
    wanted = (
        options.filter(pl.Series(week.allowed(limits, free)))
        .join(
            chosen.select("hull_id", ordered=is_order, way="fuel_way"),
            on="hull_id",
            maintain_order="left",
        )
        .filter(pl.when("ordered").then(pl.col("fuel_way") == pl.col("way")).otherwise(~is_order))
        .sort("hull_id", "_cost", "row", maintain_order=True)
        .group_by("hull_id", maintain_order=True)
        .first()
        .select("hull_id", wanted="option", wanted_row="row", wanted_cost="_cost")
    )
    chosen = chosen.join(wanted, on="hull_id", maintain_order="left").sort("hull_id")
    short = [
        [] if row["hull_id"] in changes.pins else _short_of(row, week, best, limits)
        for row in chosen.iter_rows(named=True)
    ]
    rows = chosen.select(
        "hull_id",
        "option",
        "fuel_way",
        "fuel_per_l",
        "expected_cost",
        "saving",
        "begins",
        "ends",
        "wanted",
        given_up=pl.col("_cost") - pl.col("wanted_cost"),
        is_pinned=pl.col("hull_id").is_in(list(changes.pins)),
        is_bound=pl.col("hull_id").is_in(list(week.bound)),
        short_of=pl.Series(short, dtype=pl.List(pl.String)),
    )
    return PlanRows.validate(
        rows.sort("given_up", "saving", "hull_id", descending=[True, True, False])
    )


def _short_of(
    row: Mapping[str, Any], week: WeekChoice, best: Solution, limits: WeekLimits
) -> list[str]:
    """The limits in which the option a hull wants finds no room; none where it has it.

    None either where another option costs less because a spare makes its days off good.
    """
    if row["_cost"] <= row["wanted_cost"]:
        return []
    short = []
    for name, limit in room_for(week.choice, limits).items():
        need = week.choice.needs.get(name, week.choice.needs[SPARE_DAYS])
        others = need[best.taken].sum() - need[row["row"]]
        spared = best.spare_days if name == RENTAL_DAYS else 0.0
        if others + need[row["wanted_row"]] - spared > limit + SOLVER_TOLERANCE:
            short.append(name)
    return short
