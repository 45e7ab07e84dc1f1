"""The weekly plan: which hull gets what, at least expected cost, and why.

Hand changes are kept: a pin gives a hull an option whatever it costs, a forbid takes one
away.  Each is priced by solving again without it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.assumptions import Assumptions
from ringland.service_week.action_catalogue import NOTHING
from ringland.service_week.plan_tables import PlanRows
from ringland.service_week.week_limits import RENTAL_DAYS, SPARE_DAYS, LimitError, WeekLimits
from ringland.service_week.week_solver import (
    SOLVER_TOLERANCE,
    Choice,
    Solution,
    choice_from,
    room_for,
    solve,
)


@dataclass(frozen=True)
class HandChanges:
    """What the user wants kept: pins, an option by hull; forbids, options it is not to get."""

    pins: Mapping[str, str] = field(default_factory=dict)
    forbids: Mapping[str, Sequence[str]] = field(default_factory=dict)

    def without(self, hull_id: str) -> HandChanges:
        """The same, without what speaks of one hull."""
        return HandChanges(
            {hull: option for hull, option in self.pins.items() if hull != hull_id},
            {hull: names for hull, names in self.forbids.items() if hull != hull_id},
        )

    def with_pin(self, hull_id: str, option: str) -> HandChanges:
        """The same, with one more pin."""
        return replace(self, pins={**self.pins, hull_id: option})


NO_CHANGES = HandChanges()


@dataclass(frozen=True)
class WeekPlan:
    """The plan of a week, proven to cost least, and what its limits and hand changes cost.

    `used` and `room` are by limit; `worth_of_one_more` is what the plan would cost less
    with one more slot, hour, kit or spare, or one rental day fewer to have ready.
    `hand_changes` maps 'hull: option' to what the plan costs more for it.
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
class _Week:
    """What a plan is made from, beside limits and hand changes."""

    options: pl.DataFrame
    choice: Choice
    least_chance: float

    def allowed(self, limits: WeekLimits, changes: HandChanges) -> NDArray[np.bool_]:
        """Options that hand changes leave and that are more likely than not to save."""
        is_likely = self.options.select(
            (pl.col("option") == NOTHING)
            | (pl.col("chance_it_saves") >= self.least_chance)
            # A spare makes days off cheaper than the chance was worked out for.
            | ((pl.col("days_off") > 0) & pl.lit(limits.spare_hulls > 0))
        ).to_series()
        hulls, names = self.options["hull_id"], self.options["option"]
        kept = []
        for hull, option, likely in zip(hulls, names, is_likely, strict=True):
            forbidden = changes.forbids.get(hull, ())
            if hull in changes.pins:
                kept.append(changes.pins[hull] == option)
            else:
                kept.append(option not in forbidden and (likely or NOTHING in forbidden))
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
    not_assessed: Sequence[str] = (),
) -> WeekPlan:
    """The plan of least expected cost for the week.

    Options less likely to save than `planning.least_chance_it_saves` are offered only by
    a pin.

    Args:
        options: `WeekOptions` as `option_table` returns it.
        limits: the room there is.
        spare_day_worth: money a spare hull earns back in a day off of another.
        assumptions: settings.
        changes: pins and forbids, kept whatever they cost.
        not_assessed: hulls in service without options; they count as ready for rent.

    Raises:
        LimitError: a hand change names no known hull or option, a limit is missing, or no
            plan keeps to the limits (the message names the limit).
    """
    _check_changes(options, changes)
    week = _Week(
        options,
        choice_from(options, spare_day_worth, len(not_assessed)),
        assumptions.number("planning.least_chance_it_saves"),
    )
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
            hull: _saved(best, week.solve(limits, changes.without(hull)))
            for hull in [*changes.pins, *(h for h in changes.forbids if h not in changes.pins)]
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
    not_assessed: Sequence[str] = (),
) -> dict[str, float | None]:
    """What the whole week would cost more if this hull were given each of its options.

    Zero for the option of the plan; None where no plan keeps to the limits with it.  The
    other arguments are those of `plan_week`; hand changes to this hull are set aside.

    Raises:
        LimitError: as `plan_week`.
    """
    _check_changes(options, changes)
    week = _Week(
        options,
        choice_from(options, spare_day_worth, len(not_assessed)),
        assumptions.number("planning.least_chance_it_saves"),
    )
    others = changes.without(hull_id)
    best = week.solve(limits, others)
    prices: dict[str, float | None] = {}
    for option in options.filter(pl.col("hull_id") == hull_id)["option"]:
        try:
            prices[option] = _saved(week.solve(limits, others.with_pin(hull_id, option)), best)
        except LimitError:
            prices[option] = None
    return prices


def _check_changes(options: pl.DataFrame, changes: HandChanges) -> None:
    known: dict[str, list[str]] = {}
    for hull, option in options.select("hull_id", "option").iter_rows():
        known.setdefault(hull, []).append(option)
    forbidden = [(hull, name) for hull, names in changes.forbids.items() for name in names]
    for hull, option in [*changes.pins.items(), *forbidden]:
        if hull not in known:
            raise LimitError(f"hand changes: {hull} has no options this week; take it back.")
        if option not in known[hull]:
            raise LimitError(
                f"hand changes: {hull} has no option {option!r}; it has {', '.join(known[hull])}."
            )
    for hull, option in changes.pins.items():
        if option in changes.forbids.get(hull, ()):
            raise LimitError(f"hand changes: {option!r} is pinned and forbidden on {hull}.")


def _saved(now: Solution, then: Solution) -> float:
    """What `then` costs less than `now`; solver noise below a cent counts as nothing."""
    return round(now.cost - then.cost, 2) + 0.0


def _plan_rows(
    week: _Week, best: Solution, limits: WeekLimits, changes: HandChanges
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
    reasons = [_reason(row, week, best, limits, changes) for row in chosen.iter_rows(named=True)]
    rows = chosen.select(
        "hull_id",
        "option",
        "expected_cost",
        "saving",
        "wanted",
        given_up=pl.col("expected_cost") - pl.col("wanted_cost"),
        is_pinned=pl.col("hull_id").is_in(list(changes.pins)),
        reason=pl.Series(reasons, dtype=pl.String),
    )
    return PlanRows.validate(
        rows.sort("given_up", "saving", "hull_id", descending=[True, True, False])
    )


def _reason(
    row: Mapping[str, Any], week: _Week, best: Solution, limits: WeekLimits, changes: HandChanges
) -> str:
    if row["hull_id"] in changes.pins:
        return "pinned by hand"
    if row["option"] == row["wanted"]:
        if row["option"] == NOTHING:
            return "nothing on the list is likely to cost less than leaving it this week"
        return f"costs {row['saving']:,.0f} less than leaving it this week"
    short = []
    for name, limit in room_for(week.choice, limits).items():
        need = week.choice.needs.get(name, week.choice.needs[SPARE_DAYS])
        others = need[best.taken].sum() - need[row["row"]]
        spared = best.spare_days if name == RENTAL_DAYS else 0.0
        if others + need[row["wanted_row"]] - spared > limit + SOLVER_TOLERANCE:
            short.append(name)
    given_up = row["expected_cost"] - row["wanted_cost"]
    if given_up < 0 or not short:
        return "takes days off that a spare hull makes good"
    return f"'{row['wanted']}' costs {given_up:,.0f} less but finds no room: {', '.join(short)}"
