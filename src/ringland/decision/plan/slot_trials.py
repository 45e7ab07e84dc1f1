"""The week's plan solved again for a few more and a few fewer lift slots.

Each is the plan of `week_planner` under the same safety rules, hand changes and other
limits; only the slots differ.  So the operator sees what another slot buys, and whom.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import polars as pl

from ringland.decision.actions.safety_rules import Bound
from ringland.decision.actions.week_limits import LimitError, WeekLimits
from ringland.decision.plan.hand_changes import NO_CHANGES, HandChanges
from ringland.decision.plan.week_planner import NOT_BOUND, WeekChoice
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class SlotTrial:
    """The plan with a number of lift slots.

    `options` maps each hull to what the plan gives it.  `failures` is the expected number of
    unplanned failures over the time looked ahead, of the hulls whose chance can be told.
    """

    lift_slots: int
    total_cost: float
    failures: float
    options: Mapping[str, str]


def slot_trials(
    options: pl.DataFrame,
    limits: WeekLimits,
    *,
    spare_day_worth: float,
    assumptions: Assumptions,
    changes: HandChanges = NO_CHANGES,
    bound: Bound = NOT_BOUND,
    not_assessed: Sequence[str] = (),
) -> tuple[SlotTrial, ...]:
    """One trial per number of slots up to `planning.slots_tried` from the week's own, in order.

    The arguments are those of `plan_week`.  A number of slots with which no plan keeps to
    the limits and the safety rules is left out.
    """
    week = WeekChoice.of(options, spare_day_worth, bound, not_assessed)
    reach = int(assumptions.number("planning.slots_tried"))
    trials = []
    for slots in range(max(0, limits.lift_slots - reach), limits.lift_slots + reach + 1):
        try:
            found = week.solve(replace(limits, lift_slots=slots), changes)
        except LimitError:
            continue
        given = options.filter(pl.Series(found.taken))
        trials.append(
            SlotTrial(
                slots,
                found.cost,
                float(given["chance"].fill_null(0.0).to_numpy().sum()),
                dict(given.select("hull_id", "option").sort("hull_id").iter_rows()),
            )
        )
    return tuple(trials)
