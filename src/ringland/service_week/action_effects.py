"""What each action in the catalogue does to a hull's chance over the next 30 days, and its cost.

The catalogue: drain and refill, leak-down and compression check, both, planned top end,
nothing.  What a check finds is put right as planned work.
Costs are expected costs over 30 days only, so that a renewal's later gains do not count.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.assumptions import Assumptions
from ringland.fleet_risk.failure_risk import (
    HORIZONS_D,
    chances_of,
    cumulative_hazard,
    failure_chances,
)
from ringland.fleet_risk.fleet_hazard import FleetFits
from ringland.service_week.action_prices import Prices

Floats = NDArray[np.float64]

PIECES = 12
"""Stretches the 30 days are cut into while old fuel leaves the look-back window; the
expected cost moves by under 0.1 % from 12 to 48."""


def action_costs(
    fits: FleetFits,
    running: pl.DataFrame,
    prices: Prices,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """Expected cost over 30 days of each action on each hull with a chance.

    Args:
        fits: the fleet's fits.
        running: as `running_sets` returns it.
        prices: what things cost this season.
        assumptions: settings.

    Returns:
        One row per hull and action: hull_id, action, action_cost (paid for sure),
        chance_30d (of an unplanned failure if the action is done), expected_cost.
    """
    told = running.filter(pl.col("why_not").is_null())
    if told.is_empty():
        return pl.DataFrame(
            schema={
                "hull_id": pl.String,
                "action": pl.String,
                "action_cost": pl.Float64,
                "chance_30d": pl.Float64,
                "expected_cost": pl.Float64,
            }
        )
    hours = told["use_h_d"].to_numpy() * HORIZONS_D["30d"]
    age = told["age_h"].to_numpy()
    as_now = failure_chances(fits, age, age + hours, told).mean(axis=0)
    finds = assumptions.number("action.check_sensitivity")
    drain = prices.drain_refill
    check = check_cost(prices, assumptions)
    drained = _chance_after_drain(fits, told, age, hours, assumptions)
    renewed = failure_chances(fits, np.zeros_like(age), hours, told).mean(axis=0)
    # action: what it costs for sure, the chance of failing after it, the share a check finds
    options = {
        "nothing": (0.0, as_now, 0.0),
        "drain_refill": (drain, drained, 0.0),
        "check": (check, as_now, finds),
        "drain_and_check": (drain + check, drained, finds),
        "planned_top_end": (prices.planned_renewal, renewed, 0.0),
    }
    return pl.concat(
        told.select(
            "hull_id",
            action=pl.lit(action),
            action_cost=pl.lit(cost, dtype=pl.Float64),
            chance_30d=pl.Series(chance * (1 - found), dtype=pl.Float64),
            expected_cost=pl.Series(
                cost + chance * ((1 - found) * prices.unplanned + found * prices.planned_renewal),
                dtype=pl.Float64,
            ),
        )
        for action, (cost, chance, found) in options.items()
    ).sort("hull_id", "expected_cost", maintain_order=True)


def check_cost(prices: Prices, assumptions: Assumptions) -> float:
    """What a leak-down and compression check costs, the rental lost to it included."""
    return prices.check + assumptions.number("action.days_lost_check") * prices.lost_rental_day


def _chance_after_drain(
    fits: FleetFits, told: pl.DataFrame, age: Floats, hours: Floats, assumptions: Assumptions
) -> Floats:
    """The chance on good fuel from now on, as the bad leaves the look-back window."""
    window_h = assumptions.number("exposure.trailing_h")
    fresh_d = assumptions.number("fuel.outside_age_d")
    parts = []
    for piece in range(PIECES):
        start, stop = (age + hours * part / PIECES for part in (piece, piece + 1))
        run_h = hours * (piece + 0.5) / PIECES
        left = pl.Series(np.maximum(0.0, 1.0 - run_h / window_h))
        exposure = told.with_columns(
            shortfall_25h_on=pl.col("shortfall_25h_on") * left,
            fuel_age_25h_d=pl.min_horizontal(
                "fuel_age_25h_d", pl.col("fuel_age_25h_d") * left + fresh_d * (1 - left)
            ),
        )
        parts.append(cumulative_hazard(fits, start, stop, exposure))
    return np.asarray(chances_of(np.sum(parts, axis=0)).mean(axis=0))
