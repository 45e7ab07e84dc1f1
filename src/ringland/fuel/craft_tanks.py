"""The craft's tanks made possible: what is usual at each, and the events that follow from it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.fuel.explain_levels import TankHabits, opening_levels
from ringland.fuel.order_doubts import OtherOrders, other_orders
from ringland.fuel.tank_events import TankEvents, median_by, possible_events
from ringland.fuel.tank_kernel import DIP, FILL
from ringland.fuel.tank_levels import TankLimits
from ringland.settings.assumptions import Assumptions

_WIDE = 1.96
"""Two-sided 95 % of a normal spread."""


@dataclass(frozen=True)
class CraftTanks:
    """The events of all craft's tanks, the limits of their levels, their other orders."""

    events: TankEvents
    limits: TankLimits
    orders: OtherOrders


def craft_tanks(
    record: pl.DataFrame, hulls: pl.DataFrame, factors: pl.DataFrame, assumptions: Assumptions
) -> CraftTanks:
    """The record of the craft's tanks made possible.

    A level that varies by sd about its mean and never overflows has its mean at least about
    sqrt(3) sd below the brim (the uniform spread that just touches it); that mean is taken
    as the level filled to.  On hand before a first fill is what it left room for up to that
    level; before a first session, a full tank; before a first emptying, nothing is made up;
    never more or less than the record after it leaves possible.

    Args:
        record: from `craft_record`, with burns.
        hulls: the contract's frame.
        factors: from `burn_factors`; one row per hull, in the order of their numbers.
        assumptions: when a level is steady, when a fill is missing.
    """
    capacity = (
        factors.select("hull_id")
        .join(hulls.select("hull_id", "tank_l"), on="hull_id", how="left", maintain_order="left")
        .get_column("tank_l")
        .to_numpy()
        .astype(float)
    )
    number = len(capacity)
    filled = record.filter((pl.col("kind") == FILL) & (pl.col("fill_row") >= 0))
    medians = median_by(filled, "tank", "volume_l", number)
    usual = np.minimum(np.where(np.isnan(medians), capacity / 2, medians), capacity)
    sd = factors.get_column("fill_level_sd_l").fill_null(np.nan).to_numpy()
    is_steady = sd <= assumptions.number("fuel.steady_fill_sd") * capacity
    filled_to = np.where(is_steady, capacity - np.sqrt(3) * sd, np.nan)
    tank = record.get_column("tank").to_numpy()
    starts = np.searchsorted(tank, np.arange(number + 1)).astype(np.int64)
    kind = record.get_column("kind").to_numpy().copy()
    volume = record.get_column("volume_l").fill_null(np.nan).to_numpy().copy()
    stretch = record.get_column("stretch").to_numpy().copy()
    low, high = opening_levels(starts, kind, stretch, volume, capacity)
    some = starts[1:] > starts[:-1]
    first = starts[:-1][some]
    first_fill, is_emptied = np.zeros(number), np.zeros(number, bool)
    first_fill[some] = np.where(kind[first] == FILL, volume[first], 0.0)
    is_emptied[some] = np.isnan(volume[first]) & (kind[first] != DIP)
    room = np.maximum(np.where(is_steady, filled_to, capacity) - first_fill, 0.0)
    opening = np.where(is_emptied, 0.0, np.clip(room, low, high))
    habits = TankHabits(
        capacity, usual, opening, filled_to, usual * assumptions.number("fuel.missing_fill_share")
    )
    events = possible_events(record, habits, assumptions.number("fuel.level_gain"))
    limits = TankLimits(
        capacity,
        filled_to,
        np.where(is_steady, _WIDE * sd, np.nan),
        np.where(is_emptied, 0.0, opening - low),
        np.where(is_emptied, 0.0, high - opening),
        capacity.copy(),
        usual,
    )
    row = events.row
    orders = other_orders(
        events,
        record.get_column("off_us").to_numpy()[row],
        record.get_column("session_row").to_numpy()[row],
    )
    return CraftTanks(events, limits, orders)
