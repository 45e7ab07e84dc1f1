"""The weekly choice as a mixed-integer programme, solved to proven optimum by HiGHS.

One binary for each hull and option, exactly one option a hull; a variable for the spare
days used.  Costs hold lost rental for every day off; a spare that runs instead earns it
back, less the risk it runs itself.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack, vstack

from ringland.decision.week_limits import (
    LIFT_SLOTS,
    MECHANIC_H,
    RENTAL_DAYS,
    SPARE_DAYS,
    WEEK_D,
    LimitError,
    WeekLimits,
)

Floats = NDArray[np.float64]

SOLVER_TOLERANCE = 1e-6
"""By how much HiGHS, at its defaults, lets a row go beyond its limit."""


@dataclass(frozen=True)
class Choice:
    """The options a plan chooses from, as arrays: one entry per hull and option."""

    hull: NDArray[np.int64]
    cost: Floats
    needs: Mapping[str, Floats]
    """What each option takes of each limit; days off this week under `SPARE_DAYS`."""
    spare_day_worth: float
    n_other_hulls: int
    """Hulls ready for rent that are not in the choice."""

    @property
    def n_hulls(self) -> int:
        """Hulls in the choice."""
        return int(self.hull.max(initial=-1)) + 1

    def kept(self, rows: NDArray[np.bool_]) -> Choice:
        """Only some of the options; every hull must keep one."""
        return Choice(
            self.hull[rows],
            self.cost[rows],
            {name: need[rows] for name, need in self.needs.items()},
            self.spare_day_worth,
            self.n_other_hulls,
        )


@dataclass(frozen=True)
class Solution:
    """Which options were taken, the spare days used and the cost: proven least."""

    taken: NDArray[np.bool_]
    spare_days: float
    cost: float


def choice_from(options: pl.DataFrame, spare_day_worth: float, n_other_hulls: int) -> Choice:
    """The choice in a `WeekOptions` table, entries in the order of its rows."""
    _, hull = np.unique(options["hull_id"].to_numpy(), return_inverse=True)
    parts = sorted(set(options["parts"].explode(empty_as_null=False).to_list()))
    needs = {
        LIFT_SLOTS: options["lift_slots"].to_numpy().astype(float),
        MECHANIC_H: options["mechanic_h"].to_numpy(),
        SPARE_DAYS: np.minimum(options["days_off"].to_numpy(), WEEK_D),
    } | {part: options["parts"].list.count_matches(part).to_numpy().astype(float) for part in parts}
    cost = options["expected_cost"].to_numpy()
    return Choice(hull.astype(np.int64), cost, needs, spare_day_worth, n_other_hulls)


def room_for(choice: Choice, limits: WeekLimits) -> dict[str, float]:
    """The room under each limit: needs added up may not exceed it.

    Days off less spare days may not exceed the days that can be spared from rental.

    Raises:
        LimitError: the limits do not count a kit that an option uses.
    """
    parts = [name for name in choice.needs if name not in (LIFT_SLOTS, MECHANIC_H, SPARE_DAYS)]
    kits = {part: float(limits.kits(part)) for part in parts}
    all_days = WEEK_D * (choice.n_hulls + choice.n_other_hulls)
    return {
        LIFT_SLOTS: float(limits.lift_slots),
        MECHANIC_H: limits.mechanic_h,
        RENTAL_DAYS: all_days - limits.rental_days_needed,
        **{part: kits[part] for part in parts if not limits.can_order(part)},
    }


def solve(choice: Choice, limits: WeekLimits) -> Solution:
    """The options of least total cost under the limits.

    Raises:
        LimitError: no choice keeps to the limits; names each that falls short, and by
            how much.
        RuntimeError: the solver stopped without a proof.
    """
    room = room_for(choice, limits)
    found = _solve(choice, limits, room, is_elastic=False)
    if found is None:
        raise LimitError(_what_falls_short(choice, limits, room))
    taken = found[: len(choice.cost)] > 0.5
    spare_days = float(found[len(choice.cost)])
    cost = float(choice.cost[taken].sum() - choice.spare_day_worth * spare_days)
    return Solution(taken, spare_days, cost)


def _solve(
    choice: Choice, limits: WeekLimits, room: Mapping[str, float], is_elastic: bool
) -> Floats | None:
    """Values of the options, the spare days and, if elastic, the shortfall of each limit."""
    n = len(choice.cost)
    names = list(room)
    one_each = csr_array((np.ones(n), (choice.hull, np.arange(n))), shape=(choice.n_hulls, n))
    days_off = choice.needs[SPARE_DAYS]
    rows = [choice.needs.get(name, days_off) for name in names]
    spare_column = [-float(name == RENTAL_DAYS) for name in names]
    limit_rows = hstack([csr_array(np.array(rows)), csr_array(np.array([spare_column]).T)])
    spare_row = csr_array(np.append(-days_off, 1.0)[None, :])
    equal = hstack([one_each, csr_array((choice.n_hulls, 1))])
    cost = np.append(choice.cost, -choice.spare_day_worth)
    upper = np.append(np.ones(n), WEEK_D * limits.spare_hulls)
    if is_elastic:
        k = len(names)
        limit_rows = hstack([limit_rows, -np.eye(k)])
        spare_row = hstack([spare_row, csr_array((1, k))])
        equal = hstack([equal, csr_array((choice.n_hulls, k))])
        scale = np.array([max(1.0, abs(room[name])) for name in names])
        cost = np.concatenate([np.zeros(n + 1), 1 / scale])
        upper = np.append(upper, np.full(k, np.inf))
    found = milp(
        cost,
        integrality=np.append(np.ones(n), np.zeros(len(cost) - n)),
        bounds=Bounds(np.zeros(len(cost)), upper),
        constraints=[
            LinearConstraint(equal, 1, 1),
            LinearConstraint(
                vstack([limit_rows, spare_row]), -np.inf, [*[room[name] for name in names], 0.0]
            ),
        ],
        options={"mip_rel_gap": 0.0},  # the least cost, not one within 0.01 % of it
    )
    if found.status == 2:  # HiGHS: no feasible point
        return None
    if found.status != 0:
        raise RuntimeError(f"the solver stopped without a proof: {found.message}")
    return np.asarray(found.x)


def _what_falls_short(choice: Choice, limits: WeekLimits, room: Mapping[str, float]) -> str:
    found = _solve(choice, limits, room, is_elastic=True)
    if found is None:
        return "No plan: a hull is left without any option; take back a hand change."
    short = dict(zip(room, found[len(choice.cost) + 1 :], strict=True))
    words = "; ".join(
        f"{name}: short by {lack:.4g}" for name, lack in short.items() if lack > SOLVER_TOLERANCE
    )
    return f"No plan keeps to the limits. {words}. Raise the limit or take back a hand change."
