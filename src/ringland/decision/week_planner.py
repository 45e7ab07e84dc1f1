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

from ringland.contracts.plan_tables import PlanRows
from ringland.decision.action_catalogue import NOTHING
from ringland.decision.hand_changes import NO_CHANGES, HandChanges, check_changes
from ringland.decision.safety_rules import Bound
from ringland.decision.week_limits import RENTAL_DAYS, SPARE_DAYS, LimitError, WeekLimits
from ringland.decision.week_solver import (
    SOLVER_TOLERANCE,
    Choice,
    Solution,
    choice_from,
    room_for,
    solve,
)
from ringland.settings.assumptions import Assumptions

NOT_BOUND: Bound = {}


@dataclass(frozen=True)
class WeekPlan:
    """The plan of a week, proven to cost least, and what its limits and hand changes cost.

    `used` and `room` are by limit; `worth_of_one_more` is what the plan would cost less
    with one more slot, hour, kit or spare, or one rental day fewer to have ready.
    `hand_changes` maps a hull to what the plan costs more for what was decided on it by hand.
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


@dataclass(frozen=True)
class WeekChoice:
    """What a plan is made from, beside limits and hand changes."""

    options: pl.DataFrame
    choice: Choice
    least_chance: float
    bound: Bound

    @classmethod
    def of(
        cls,
        options: pl.DataFrame,
        spare_day_worth: float,
        assumptions: Assumptions,
        bound: Bound,
        not_assessed: Sequence[str],
    ) -> WeekChoice:
        """What `plan_week` chooses from, given what it is given."""
        return cls(
            options,
            choice_from(options, spare_day_worth, len(not_assessed)),
            assumptions.number("planning.least_chance_it_saves"),
            bound,
        )

    def allowed(self, limits: WeekLimits, changes: HandChanges) -> NDArray[np.bool_]:
        """Options that safety rules and hand changes leave.

        On a hull that no rule binds: those that are paid for and more likely than not to save.
        """
        is_likely = self.options.select(
            (pl.col("option") == NOTHING)
            | (pl.col("chance_it_saves") >= self.least_chance).fill_null(False)
            # A spare makes days off cheaper than the chance was worked out for.
            | ((pl.col("days_off") > 0) & pl.lit(limits.spare_hulls > 0))
        ).to_series()
        columns = (self.options["hull_id"], self.options["option"], self.options["is_paid_for"])
        kept = []
        for hull, option, paid_for, likely in zip(*columns, is_likely, strict=True):
            forbidden = changes.forbids.get(hull, ())
            if hull in changes.pins:
                kept.append(changes.pins[hull] == option)
            elif hull in self.bound:
                kept.append(option in self.bound[hull] and paid_for and option not in forbidden)
            else:
                is_offered = paid_for and (likely or NOTHING in forbidden)
                kept.append(option not in forbidden and is_offered)
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
    assumptions: Assumptions,
    changes: HandChanges = NO_CHANGES,
    bound: Bound = NOT_BOUND,
    not_assessed: Sequence[str] = (),
) -> WeekPlan:
    """The plan of least expected cost for the week.

    Options that are not paid for, or less likely to save than
    `planning.least_chance_it_saves`, are offered only by a pin.

    Args:
        options: `WeekOptions` as `option_table` returns it.
        limits: the room there is.
        spare_day_worth: money a spare hull earns back in a day off of another.
        assumptions: settings.
        changes: pins and forbids, kept whatever they cost.
        bound: the options that safety rules leave a hull, kept whatever they cost; a pin of
            the caller's is taken to keep to them.
        not_assessed: hulls in service without options; they count as ready for rent.

    Raises:
        LimitError: a hand change names no known hull or option, a limit is missing, or no
            plan keeps to the limits (the message names the limit).
    """
    check_changes(options, changes)
    week = WeekChoice.of(options, spare_day_worth, assumptions, bound, not_assessed)
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
    )


def price_every_option(
    hull_id: str,
    options: pl.DataFrame,
    limits: WeekLimits,
    *,
    spare_day_worth: float,
    assumptions: Assumptions,
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
    week = WeekChoice.of(options, spare_day_worth, assumptions, bound, not_assessed)
    others = changes.without(hull_id)
    best = week.solve(limits, others)
    prices: dict[str, float | None] = {}
    for option in options.filter(pl.col("hull_id") == hull_id)["option"]:
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
    options = week.options.with_row_index("row")
    free = HandChanges(forbids=changes.forbids)
    wanted = (
        options.filter(pl.Series(week.allowed(limits, free)))
        .sort("hull_id", "expected_cost", maintain_order=True)
        .group_by("hull_id", maintain_order=True)
        .first()
        .select("hull_id", wanted="option", wanted_row="row", wanted_cost="expected_cost")
    )
    chosen = options.filter(pl.Series(best.taken)).join(wanted, on="hull_id").sort("hull_id")
    short = [
        [] if row["hull_id"] in changes.pins else _short_of(row, week, best, limits)
        for row in chosen.iter_rows(named=True)
    ]
    rows = chosen.select(
        "hull_id",
        "option",
        "expected_cost",
        "saving",
        "wanted",
        given_up=pl.col("expected_cost") - pl.col("wanted_cost"),
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
    if row["expected_cost"] <= row["wanted_cost"]:
        return []
    short = []
    for name, limit in room_for(week.choice, limits).items():
        need = week.choice.needs.get(name, week.choice.needs[SPARE_DAYS])
        others = need[best.taken].sum() - need[row["row"]]
        spared = best.spare_days if name == RENTAL_DAYS else 0.0
        if others + need[row["wanted_row"]] - spared > limit + SOLVER_TOLERANCE:
            short.append(name)
    return short
