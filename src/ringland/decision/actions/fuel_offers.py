"""Better fuel a dock can order: which grade, what a litre costs more, when it comes.

Fuel is decided as it is bought: a dock's tank gives all of its hulls what was delivered.
Prices are those paid on record: the better grade where the dock bought it, else at the
cheapest dock that did, less what the dock pays for its own.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

import dataframely as dy
import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import Action, Effect, MarkedNumber
from ringland.risk.expected_use import DAY_S
from ringland.settings.assumptions import Assumptions

DOCK_WAY = "dock@"
"""How the ways begin in which a dock orders a grade for all of its hulls."""


class FuelOffers(dy.Schema):
    """One row per dock and better grade it could order for all of its hulls."""

    dock_id = dy.String(primary_key=True)
    grade_aki = dy.Float64(primary_key=True)
    own_aki = dy.Float64(description="mean of what was delivered of late, by litres")
    per_l = dy.Float64(min=0, description="money a litre above the dock's own, over all it burns")
    next_delivery_d = dy.Float64(min=0, description="days to the next delivery, by its habit")


def fuel_offers(
    deliveries: pl.DataFrame,
    running: pl.DataFrame,
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The grades that meet the need of the stock and of the raised calibrations, dock by dock.

    A dock whose deliveries meet a need already, or for which no price tells the difference,
    has no row for it; the grade of raised calibrations is offered where there is one.

    Args:
        deliveries: the `deliveries` records as known at `as_of`.
        running: one row per hull in service: dock_id, is_raised_calibration.
        as_of: the instant the plan speaks of.
        assumptions: settings.

    Returns:
        `FuelOffers`.
    """
    since = as_of - timedelta(days=assumptions.number("record.rule_season_d"))
    bought = with_aki(
        deliveries.filter(pl.col("delivered_at").is_between(since, as_of)), assumptions
    )
    grades = {
        "stock": assumptions.number("octane.need_stock_aki"),
        "raised": assumptions.number("octane.need_raised_aki"),
    }
    raised = running.filter(pl.col("is_raised_calibration").cast(pl.Boolean))["dock_id"].unique()
    rows = []
    for dock in running["dock_id"].drop_nulls().unique().sort():
        here = bought.filter(pl.col("dock_id") == dock)
        for kind, grade in grades.items():
            if kind == "raised" and dock not in raised:
                continue
            step = price_step(bought, dock, grade)
            if step is None:
                continue
            litres = pl.col("volume_l")
            own, below = here.select(
                (pl.col("aki") * litres).sum() / litres.sum(),
                litres.filter(pl.col("aki") < grade).sum() / litres.sum(),
            ).row(0)
            rows.append((dock, grade, own, max(0.0, step) * below, _next_delivery_d(here, as_of)))
    types = {column: spec.dtype for column, spec in FuelOffers.columns().items()}
    return FuelOffers.validate(pl.DataFrame(rows, schema=types, orient="row"))


def outside_steps(
    fills: pl.DataFrame, deliveries: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> dict[str, float]:
    """What a good litre filled outside costs beyond what each dock pays, as paid of late.

    Args:
        fills: the `fills` records as known at `as_of`.
        deliveries: the `deliveries` records as known at `as_of`.
        as_of: the instant the plan speaks of.
        assumptions: settings.

    Returns:
        Per dock, money a litre, not below zero.  No dock where fewer priced fills than
        `planning.outside_fills` meet the stock need; none without a priced delivery.
    """
    since = as_of - timedelta(days=assumptions.number("record.rule_season_d"))
    paid = (pl.col("price_per_l") * pl.col("volume_l")).sum() / pl.col("volume_l").sum()
    outside = with_aki(
        fills.filter(
            pl.col("filled_at").is_between(since, as_of)
            & (pl.col("source") == "outside")
            & pl.col("price_per_l").is_not_null()
        ),
        assumptions,
    ).filter(pl.col("aki") >= assumptions.number("octane.need_stock_aki"))
    if outside.height < max(1.0, assumptions.number("planning.outside_fills")):
        return {}
    good: float = outside.select(paid).item()
    own = (
        deliveries.filter(
            pl.col("delivered_at").is_between(since, as_of) & pl.col("price_per_l").is_not_null()
        )
        .group_by("dock_id", maintain_order=True)
        .agg(paid.alias("paid"))
        .sort("dock_id")
    )
    return {dock: max(0.0, good - at_dock) for dock, at_dock in own.iter_rows()}


def with_aki(deliveries: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """The deliveries with `aki`: as written, or from RON, MON or both; rows without are left out.

    A lone RON or MON is converted with the usual sensitivity.
    """
    half = assumptions.number("octane.sensitivity_on") / 2
    ron, mon = pl.col("octane_ron"), pl.col("octane_mon")
    aki = pl.coalesce(pl.col("octane_aki"), (ron + mon) / 2, ron - half, mon + half)
    return deliveries.with_columns(aki=aki).filter(pl.col("aki").is_not_null())


def price_step(bought: pl.DataFrame, dock: str, grade: float) -> float | None:
    """What a better litre costs over the dock's own; null where either price is not on record.

    Args:
        bought: deliveries with `aki`.
        dock: whose tank it goes into.
        grade: the least AKI of the better fuel.
    """
    priced = bought.filter(pl.col("price_per_l").is_not_null())
    paid = (pl.col("price_per_l") * pl.col("volume_l")).sum() / pl.col("volume_l").sum()
    here = priced.filter(pl.col("dock_id") == dock)
    low = here.filter(pl.col("aki") < grade)
    better = here.filter(pl.col("aki") >= grade)
    if better.is_empty():
        better = priced.filter(pl.col("aki") >= grade)
    if low.is_empty() or better.is_empty():
        return None
    by_dock: list[float] = (
        better.group_by("dock_id", maintain_order=True).agg(paid.alias("paid"))["paid"].to_list()
    )
    own: float = low.select(paid).item()
    return float(min(by_dock) - own)


def dock_way(grade_aki: float) -> str:
    """The name of the way in which a dock orders a grade for all, e.g. 'dock@91'."""
    return f"{DOCK_WAY}{grade_aki:g}"


def by_order(rule: Action, short_on: float = 0.0) -> Action:
    """What the fuel rule does where the dock orders a better grade: octane, not freshness.

    Args:
        rule: the catalogue's.
        short_on: octane numbers that the grade may still leave a hull below its need.
    """
    left = MarkedNumber(short_on, "C", "need less the grade")
    effects = tuple(
        Effect(effect.covariate, "cap", left) if short_on > 0 else effect
        for effect in rule.effects
        if effect.covariate == "shortfall_25h_on"
    )
    return replace(rule, effects=effects)


def _next_delivery_d(here: pl.DataFrame, as_of: datetime) -> float:
    """The usual time between deliveries less the time since the last; not below zero."""
    days = here["delivered_at"].sort()
    if len(days) < 2:
        return 0.0
    gaps_d = days.diff().dt.total_seconds() / DAY_S
    usual = gaps_d.filter(gaps_d >= 1.0).to_numpy()
    since_d = (as_of - days[-1]).total_seconds() / DAY_S
    return max(0.0, float(np.median(usual)) - since_d) if len(usual) else 0.0
