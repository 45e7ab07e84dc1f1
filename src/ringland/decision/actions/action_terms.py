"""What an action asks and takes on a hull: whether it is meant for it, its price, its days off."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.actions.action_catalogue import Action
from ringland.decision.actions.action_prices import Prices

Actions = Sequence[Action]

TESTED = "tested_d_ago"
"""Optional column: days since the last compression or leak-down test, null where none."""

FAILED = "failed_measures"
"""Optional column: measures of the failed tests that stand against the engine, by hull."""

FOUND_OUT = "looked_further"
"""Optional column: names of what was done since a test failed, by hull."""

DONE = "looked_at"
"""Optional column: names of the looks at the record that still stand, by hull."""


def is_meant_for(actions: Actions, told: pl.DataFrame) -> pl.Series:
    """Whether each hull can be given the actions: it is one they are for, and a look is due."""
    wanted = [
        pl.col(covariate).cast(pl.Float64) == value
        for action in actions
        for covariate, value in action.only_where.items()
    ]
    if TESTED in told.columns:
        wanted += [
            pl.col(TESTED).is_null() | (pl.col(TESTED) >= action.test.reach_d.value)
            for action in actions
            if action.test
        ]
    failed = pl.col(FAILED) if FAILED in told.columns else pl.lit([], pl.List(pl.String))
    for action in actions:
        if action.after_failed:  # it tells more
            wanted += [_has_any(failed, action.after_failed)]
        elif action.test:  # what failed is not read again before something else was tried
            wanted += [~_has_any(failed, action.test.measures)]
        if action.test and FAILED in told.columns:  # nor what was done since it failed
            wanted += [(failed.list.len() == 0) | ~pl.col(FOUND_OUT).list.contains(action.name)]
    if DONE in told.columns:
        wanted += [~pl.col(DONE).list.contains(a.name) for a in actions if a.finding]
    always = pl.repeat(True, pl.len())  # a literal alone would give one row
    return told.select(pl.all_horizontal(always, *wanted).alias("meant"))["meant"]


def _has_any(listed: pl.Expr, names: Sequence[str]) -> pl.Expr:
    return listed.list.set_intersection(list(names)).list.len() > 0


def job_price(action: Action, prices: Prices) -> float:
    """Money for the job itself, without lost rental."""
    return float(getattr(prices, action.cost_item)) if action.cost_item else action.cost


def job_days_off(action: Action, prices: Prices) -> float:
    """Days the hull is off the water for it."""
    if action.days_off_item:
        return float(getattr(prices, action.days_off_item))
    return action.days_off


def outside_per_l(rule: Action, docks: pl.Series, prices: Prices) -> NDArray[np.float64]:
    """What a litre under a fuel rule costs a hull filled outside, beyond what it fills else.

    As paid on record where that tells; else the catalogue's, as is what stands in the shop's own
    file of actions.

    Args:
        rule: priced by the litre.
        docks: the dock of each hull.
        prices: what things cost this season.
    """
    is_own = "cost_per_l" in rule.numbers and rule.numbers["cost_per_l"].is_shops_own
    paid = {} if is_own else prices.outside_per_l
    return np.array([paid.get(dock, rule.cost_per_l) for dock in docks], dtype=np.float64)


def sure_price(actions: Actions, prices: Prices, horizon_d: float) -> float:
    """Money for jobs with the rental they lose within the days looked ahead."""
    return sum(
        job_price(a, prices) + min(job_days_off(a, prices), horizon_d) * prices.lost_rental_day
        for a in actions
    )


def repair_price(prices: Prices, horizon_d: float, begun_d: float = 0.0) -> float:
    """Money for a repair in season with the rental lost within the days looked ahead.

    Args:
        prices: what things cost this season.
        horizon_d: days looked ahead.
        begun_d: days until it is begun, the hull ashore.
    """
    lost_d = min(begun_d + prices.days_lost_unplanned, horizon_d)
    return prices.full_rebuild_unplanned + lost_d * prices.lost_rental_day
