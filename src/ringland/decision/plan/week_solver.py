"""The weekly choice as a mixed-integer programme, solved to proven optimum by HiGHS.

One binary for each hull and option, exactly one option a hull; one for each grade a dock can
order, which then all of its hulls get; a variable for the spare days used.  An option that
costs more and takes no less than another of the same hull is left out beforehand.  Costs hold
lost rental for every day off; a spare that runs instead earns it back, less the risk it runs.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.sparse import csr_array, hstack

from ringland.contracts.plan_tables import NO_FUEL, OUTSIDE
from ringland.decision.actions.week_limits import (
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

NODE_LIMIT = 20_000
"""Nodes after which HiGHS gives the best plan found, with its gap."""


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
    order: NDArray[np.int64]
    """Which order of a dock an option goes with; -1: none."""
    dock_of_order: NDArray[np.int64]
    dock_of_hull: NDArray[np.int64]
    """-1: at a dock that can order nothing."""

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
            self.order[rows],
            self.dock_of_order,
            self.dock_of_hull,
        )

    def undominated(self) -> NDArray[np.bool_]:
        """Options no other of the same hull and order beats on cost and on every need."""
        kept = np.ones(len(self.cost), dtype=bool)
        needs = np.column_stack([need for name, need in self.needs.items() if name != SPARE_DAYS])
        days = self.needs[SPARE_DAYS]
        key = self.hull * (len(self.dock_of_order) + 1) + self.order + 1
        by_key = np.argsort(key, kind="stable")
        for rows in np.split(by_key, np.flatnonzero(np.diff(key[by_key])) + 1):
            more_d = np.maximum(0.0, days[rows, None] - days[rows])
            beaten = self.cost[rows] <= self.cost[rows, None] - self.spare_day_worth * more_d
            beaten &= (needs[rows] <= needs[rows, None]).all(axis=2)
            # Days off count against the rental days promised as well.
            beaten &= days[rows] <= days[rows, None]
            ties = beaten & beaten.T
            beaten &= ~ties | (np.arange(len(rows)) < np.arange(len(rows))[:, None])
            kept[rows] = ~beaten.any(axis=1)
        return kept


@dataclass(frozen=True)
class Solution:
    """Which options were taken, the spare days used and the cost: proven least."""

    taken: NDArray[np.bool_]
    spare_days: float
    cost: float
    gap: float = 0.0
    """Share of the cost by which a better choice might still be cheaper; 0: proven least."""


def choice_from(options: pl.DataFrame, spare_day_worth: float, n_other_hulls: int) -> Choice:
    """The choice in a `WeekOptions` table, entries in the order of its rows."""
    _, hull = np.unique(options["hull_id"].to_numpy(), return_inverse=True)
    parts = sorted(set(options["parts"].explode(empty_as_null=False).to_list()))
    needs = {
        LIFT_SLOTS: options["lift_slots"].to_numpy().astype(float),
        MECHANIC_H: options["mechanic_h"].to_numpy(),
        SPARE_DAYS: np.minimum(options["days_off"].to_numpy(), WEEK_D),
    } | {part: options["parts"].list.count_matches(part).to_numpy().astype(float) for part in parts}
    cost = options["planned_cost"].to_numpy() + options["change_cost"].to_numpy()
    orders = _orders(options)
    docks = {dock: at for at, dock in enumerate(sorted({dock for dock, _ in orders}))}
    home = dict(options.select("hull_id", "dock_id").iter_rows())
    ways = options.select("dock_id", "fuel_way").iter_rows()
    return Choice(
        hull.astype(np.int64),
        cost,
        needs,
        spare_day_worth,
        n_other_hulls,
        order=np.array([orders.get(way, -1) for way in ways], dtype=np.int64),
        dock_of_order=np.array([docks[dock] for dock, _ in orders], dtype=np.int64),
        dock_of_hull=np.array([docks.get(home[name], -1) for name in sorted(home)], dtype=np.int64),
    )


def _orders(options: pl.DataFrame) -> dict[tuple[str, str], int]:
    """A number for each dock and grade it can order."""
    ordered = options.filter(~pl.col("fuel_way").is_in([NO_FUEL, OUTSIDE]))
    pairs = ordered.select("dock_id", "fuel_way").unique().sort("dock_id", "fuel_way").iter_rows()
    return {(dock, way): at for at, (dock, way) in enumerate(pairs)}


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
    kept = choice.undominated()
    found = _solve(choice.kept(kept), limits, room, is_elastic=False)
    if found is None:
        raise LimitError(_what_falls_short(choice, limits, room))
    values, gap = found
    taken = np.zeros(len(kept), dtype=bool)
    taken[np.flatnonzero(kept)] = values[: kept.sum()] > 0.5
    spare_days = float(values[kept.sum()])
    cost = float(choice.cost[taken].sum() - choice.spare_day_worth * spare_days)
    return Solution(taken, spare_days, cost, gap)


def _solve(
    choice: Choice, limits: WeekLimits, room: Mapping[str, float], is_elastic: bool
) -> tuple[Floats, float] | None:
    """Values and gap: of the options, the spare days, if elastic the shortfalls, the orders."""
    n, names = len(choice.cost), list(room)
    days_off = choice.needs[SPARE_DAYS]
    needs = np.array([choice.needs.get(name, days_off) for name in names])
    spared = np.array([[-float(name == RENTAL_DAYS)] for name in names])
    cost = np.append(choice.cost, -choice.spare_day_worth)
    upper = np.append(np.ones(n), WEEK_D * limits.spare_hulls)
    slack = len(names) if is_elastic else 0
    if is_elastic:
        scale = np.array([max(1.0, abs(room[name])) for name in names])
        cost = np.concatenate([np.zeros(n + 1), 1 / scale])
        upper = np.append(upper, np.full(slack, np.inf))
    m = len(choice.dock_of_order)
    one_each = csr_array((np.ones(n), (choice.hull, np.arange(n))), shape=(choice.n_hulls, n))
    # A hull gets an order of its dock exactly when the dock makes it.
    members = [np.flatnonzero(choice.dock_of_hull == dock) for dock in choice.dock_of_order]
    pair = {
        (hull, order): at
        for at, (hull, order) in enumerate(
            (hull, order) for order in range(m) for hull in members[order]
        )
    }
    ordered = np.flatnonzero(choice.order >= 0)
    at = [pair[key] for key in zip(choice.hull[ordered], choice.order[ordered], strict=True)]
    gets = csr_array((np.ones(len(at)), (at, ordered)), shape=(len(pair), n))
    by_order = [order for _, order in pair]
    makes = csr_array((-np.ones(len(pair)), (np.arange(len(pair)), by_order)), shape=(len(pair), m))
    rest = csr_array((choice.n_hulls, 1 + slack + m))
    constraints = [
        LinearConstraint(hstack([one_each, rest]), 1, 1),
        LinearConstraint(
            hstack([csr_array(needs), csr_array(spared), *([-np.eye(slack)] if slack else []),
                    csr_array((len(names), m))]),
            -np.inf, [room[name] for name in names],
        ),
        LinearConstraint(
            hstack([csr_array(-days_off[None, :]), csr_array([[1.0]]), csr_array((1, slack + m))]),
            -np.inf, 0.0,
        ),
    ]  # fmt: skip
    if pair:
        between = csr_array((len(pair), 1 + slack))
        constraints.append(LinearConstraint(hstack([gets, between, makes]), 0, 0))
    whole = np.concatenate([np.ones(n), np.zeros(1 + slack), np.ones(m)])
    found = milp(
        np.append(cost, np.zeros(m)),
        integrality=whole,
        bounds=Bounds(np.zeros(len(whole)), np.append(upper, np.ones(m))),
        constraints=constraints,
        # The least cost, not one within 0.01 % of it; nodes, not seconds, end the search, so
        # that the same week gives the same plan on any machine.
        options={"mip_rel_gap": 0.0, "node_limit": NODE_LIMIT},
    )
    if found.status == 2:  # HiGHS: no feasible point
        return None
    if found.x is None:
        raise RuntimeError(f"the solver stopped without a plan: {found.message}")
    return np.asarray(found.x), 0.0 if found.status == 0 else float(found.mip_gap)


def _what_falls_short(choice: Choice, limits: WeekLimits, room: Mapping[str, float]) -> str:
    found = _solve(choice, limits, room, is_elastic=True)
    if found is None:
        return "No plan: a hull is left without any option; take back a hand change."
    shortfalls = found[0][len(choice.cost) + 1 : len(choice.cost) + 1 + len(room)]
    short = dict(zip(room, shortfalls, strict=True))
    words = "; ".join(
        f"{name}: short by {lack:.4g}" for name, lack in short.items() if lack > SOLVER_TOLERANCE
    )
    return f"No plan keeps to the limits. {words}. Raise the limit or take back a hand change."
