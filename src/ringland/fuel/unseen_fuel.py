"""How likely it is that fuel came or went without being written down, and what that leaves open.

A tank's own record says how often a fill was missing from it; with few fills behind it the
record of all tanks of its kind speaks.  A dock's tank that stands lower than ever before a
load is overdue for one: then it is likely that one came unseen.  Where an unseen fill is less
likely than fuel.unseen_ignored the bounds, which hold the truth nineteen times in twenty, leave
it out; the unknown share counts it always.
"""

from __future__ import annotations

import numpy as np

from ringland.fuel.order_doubts import OtherOrders
from ringland.fuel.tank_events import RECORDED, UNRECORDED_FILL, TankEvents
from ringland.fuel.tank_kernel import FILL, Floats, Unseen, compiled
from ringland.fuel.tank_levels import TankLevels, TankLimits, tank_levels
from ringland.settings.assumptions import Assumptions

_WELL_BELOW = 0.8


def unseen_of(
    events: TankEvents, limits: TankLimits, orders: OtherOrders, reach: Floats,
    assumptions: Assumptions, *, is_dock: bool,
) -> Unseen:  # fmt: skip
    """What may have happened unseen in each tank.

    Args:
        events: of the tanks.
        limits: of their levels.
        orders: other orders of the events.
        reach: lowest and highest octane an unseen fill may have brought; shape (events, 2).
        assumptions: how likely unseen fills are.
        is_dock: the tanks are the docks'.
    """
    levels = tank_levels(events.starts, events.is_fill, events.volume_l, events.slack_l, limits)
    chance = unseen_chance(events, limits.usual_l, assumptions)[events.tank_of]
    if is_dock:
        is_low = levels.before_l < overdue_levels(events, levels, limits, assumptions)
        chance = np.where(is_low, assumptions.number("fuel.overdue_chance"), chance)
    return Unseen(
        low_gap_l=levels.low_gap_l + orders.lower_l,
        high_gap_l=levels.high_gap_l + orders.higher_l,
        slack_l=events.slack_l,
        unseen_l=levels.unseen_l,
        chance=chance,
        is_bounded=(chance > assumptions.number("fuel.unseen_ignored")).astype(np.uint8),
        lowest_aki=compiled(reach[:, 0], np.float64),
        highest_aki=compiled(reach[:, 1], np.float64),
        oldest_d=assumptions.number("fuel.unrecorded_age_high_d"),
    )


def overdue_levels(
    events: TankEvents, levels: TankLevels, limits: TankLimits, assumptions: Assumptions
) -> Floats:
    """Per event, the level of its tank below which a load is overdue.

    Well below the lowest at which one on record came, the first apart; with fewer than
    fuel.overdue_loads of them, at most the share fuel.overdue_share of what it holds.  Until
    the first load none is.
    """
    tanks = len(events.starts) - 1
    loads = np.flatnonzero((events.is_fill == FILL) & (events.role == RECORDED))
    later = loads[np.diff(events.tank_of[loads], prepend=-1) == 0]
    lowest = np.full(tanks, np.inf)
    np.minimum.at(lowest, events.tank_of[later], _WELL_BELOW * levels.before_l[later])
    count = np.bincount(events.tank_of[later], minlength=tanks)
    known = np.where(np.isinf(limits.capacity_l), limits.most_l, limits.capacity_l)
    usual = assumptions.number("fuel.overdue_share") * known
    few = count < assumptions.number("fuel.overdue_loads")
    level = np.where(few, np.minimum(lowest, usual), lowest)[events.tank_of]
    first = np.full(tanks, len(events.row))
    np.minimum.at(first, events.tank_of[loads], loads)
    return np.asarray(np.where(np.arange(len(events.row)) > first[events.tank_of], level, 0.0))


def unseen_chance(events: TankEvents, usual_l: Floats, assumptions: Assumptions) -> Floats:
    """Per tank, the chance that a fill between two on record was not written down.

    A missing fill smaller than the usual one counts as that part of one.
    Counted twice over: of all tanks (missing + m p) / (fills + m) with p = fuel.unseen_prior and
    m = fuel.unseen_weight, and of each tank the same with that in the place of p.
    """
    tanks = len(events.starts) - 1
    fills = np.bincount(
        events.tank_of[(events.is_fill == FILL) & (events.role == RECORDED)], minlength=tanks
    )
    added = events.role == UNRECORDED_FILL
    whose = events.tank_of[added]
    size = np.minimum(events.volume_l[added] / np.maximum(usual_l[whose], 1e-9), 1.0)
    missing = np.bincount(whose, weights=size, minlength=tanks)
    weight, prior = (assumptions.number(f"fuel.unseen_{name}") for name in ("weight", "prior"))
    gaps = fills + missing
    overall = (missing.sum() + weight * prior) / (gaps.sum() + weight)
    return np.asarray((missing + weight * overall) / (gaps + weight))
