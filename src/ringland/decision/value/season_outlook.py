"""The rest of the season played through many times: failures, lost rental, shop load, kits.

Each play takes one parameter draw of the hazard and goes week by week.  A set that fails
is out for the days of an unplanned repair and comes back new.  Fuel, throttle and calibration
are as usual for the hull, changed by what the plan puts in force; hours follow the season.
So the spread holds both what is not known of the hazard and plain luck.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from math import ceil

import dataframely as dy
import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.actions.action_catalogue import Action, Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import job_days_off
from ringland.decision.actions.week_limits import WEEK_D
from ringland.decision.value.hazard_ahead import (
    CumulativeHazard,
    Floats,
    after_actions,
    as_usual,
)
from ringland.risk.expected_use import hours_ahead
from ringland.settings.assumptions import Assumptions

REPAIR, RENEWAL = "full_rebuild", "planned_top_end"
"""Actions of the catalogue whose hours and kits a failure and a planned renewal take."""

NOTHING_PLANNED: Mapping[str, Sequence[Action]] = {}


class SeasonOutlook(dy.Schema):
    """One row per quantity of the rest of the season, over the plays."""

    quantity = dy.String(primary_key=True, description="'kits: <name>' for each kit")
    unit = dy.String()
    mean = dy.Float64()
    q05 = dy.Float64(description="less than this in one play of twenty")
    q50 = dy.Float64()
    q80 = dy.Float64()
    q95 = dy.Float64(description="more than this in one play of twenty")


class WeeklyLoad(dy.Schema):
    """One row per week ahead: what comes into the shop."""

    week = dy.Int64(primary_key=True, min=1)
    failures = dy.Float64(description="mean over the plays")
    failures_q80 = dy.Float64()
    mechanic_h = dy.Float64()
    mechanic_h_q80 = dy.Float64()


def season_outlook(
    running: pl.DataFrame,
    hazard: CumulativeHazard,
    *,
    days_left: float,
    planned: Mapping[str, Sequence[Action]] = NOTHING_PLANNED,
    catalogue: Catalogue,
    prices: Prices,
    assumptions: Assumptions,
    rng: np.random.Generator,
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """What the rest of the season brings, over `planning.plays` plays.

    Args:
        running: one row per hull in service, as `running_sets` returns it; rows with
            `why_not` are left out of the outlook.  `rest_turn_sd_log`, the same for every
            hull, is how far the log of the season's hours may be off.
        hazard: the fleet's hazard.
        days_left: days to the end of the season.
        planned: what the plan gives each hull; rules are kept to the end.
        catalogue: hours and kits of a repair and of a renewal.
        prices: days lost and rental a day.
        assumptions: settings.
        rng: source of randomness.

    Returns:
        `SeasonOutlook` and `WeeklyLoad`.

    Raises:
        ValueError: no hull has a chance, or no day is left.
    """
    told = running.filter(pl.col("why_not").is_null()).sort("hull_id")
    if told.is_empty() or days_left <= 0:
        raise ValueError("no outlook: no hull has a chance this week, or the season is over.")
    plays = int(assumptions.number("planning.plays"))
    given = [planned.get(hull, ()) for hull in told["hull_id"]]
    renewed = np.array([any(a.renews_age for a in actions) for actions in given], dtype=bool)
    repair, renewal = catalogue.actions[REPAIR], catalogue.actions[RENEWAL]
    ahead = as_usual(told)
    for action in catalogue.actions.values():
        ahead = after_actions(
            ahead, [action], where=np.array([action in a for a in given], dtype=bool)
        )
    failed = _play(
        ahead,
        hazard,
        rng,
        repair=repair,
        renewed=renewed,
        days_left=days_left,
        days_out=prices.days_lost_unplanned,
        plays=plays,
        level_sd=float(told["rest_turn_sd_log"].to_numpy().max()),
    )
    failures = failed.sum(axis=(0, 2)).astype(float)
    n_renewed = float(renewed.sum())
    week_ends = WEEK_D * np.arange(1, failed.shape[0] + 1)
    # A repair runs no longer than the season; of a week its middle is taken.
    lost_each = np.minimum(prices.days_lost_unplanned, days_left - week_ends + WEEK_D / 2).clip(0)
    lost_d = np.einsum("wpn,w->p", failed, lost_each) + n_renewed * job_days_off(renewal, prices)
    hours = failures * repair.mechanic_h + n_renewed * renewal.mechanic_h
    quantities: dict[str, tuple[str, Floats]] = {
        "failures": ("failures", failures),
        "hulls that fail": ("hulls", failed.any(axis=0).sum(axis=1).astype(float)),
        "rental days lost": ("d", lost_d),
        "rental lost": (prices.currency, lost_d * prices.lost_rental_day),
        "mechanic hours": ("h", hours),
    }
    for part in sorted({*repair.parts, *renewal.parts}):
        kits = failures * repair.parts.get(part, 0) + n_renewed * renewal.parts.get(part, 0)
        quantities[f"kits: {part}"] = ("kits", kits)
    by_week = failed.sum(axis=2).astype(float)
    hours_by_week = by_week * repair.mechanic_h
    hours_by_week[0] += n_renewed * renewal.mechanic_h
    load = pl.DataFrame(
        {
            "week": np.arange(1, failed.shape[0] + 1),
            "failures": by_week.mean(axis=1),
            "failures_q80": _quantile(by_week, 0.8),
            "mechanic_h": hours_by_week.mean(axis=1),
            "mechanic_h_q80": _quantile(hours_by_week, 0.8),
        }
    )
    return _summary(quantities), WeeklyLoad.validate(load)


def _play(
    told: pl.DataFrame,
    hazard: CumulativeHazard,
    rng: np.random.Generator,
    *,
    repair: Action,
    renewed: NDArray[np.bool_],
    days_left: float,
    days_out: float,
    plays: int,
    level_sd: float,
) -> NDArray[np.bool_]:
    """Whether each hull fails in each week of each play: shape (weeks, plays, hulls)."""
    age_h = np.where(renewed, 0.0, told["age_h"].to_numpy().astype(float))
    weeks = ceil(days_left / WEEK_D)
    edges = np.minimum(WEEK_D * np.arange(weeks + 1), days_left)
    draw: NDArray[np.int64] | None = None
    refitted = after_actions(told, [repair], where=np.ones_like(renewed))
    # Seasons run more or less than earlier ones did: hours, and with them failures.
    level = np.exp(level_sd * rng.standard_normal((plays, 1)) - level_sd**2 / 2)
    week_h = told["use_h_d"].to_numpy().astype(float) * WEEK_D
    as_now: list[Floats] = []
    as_new: list[Floats] = []
    for start, stop in pairwise(edges):
        from_h, to_h = hours_ahead(told, start), hours_ahead(told, stop)
        now = hazard(age_h + from_h, age_h + to_h, told)
        new = hazard(week_h * len(as_new), week_h * (len(as_new) + 1), refitted)
        draw = rng.integers(now.shape[0], size=plays) if draw is None else draw
        as_now.append(now[draw])
        as_new.append(new[draw])
    new_by_age = np.stack(as_new)
    out_weeks = ceil(days_out / WEEK_D)
    shape = (plays, told.height)
    back_in = np.zeros(shape, dtype=np.int64)
    is_first = np.ones(shape, dtype=bool)
    failed = np.zeros((weeks, *shape), dtype=bool)
    for week in range(weeks):
        weeks_run = np.clip(week - back_in, 0, None)
        of_new = np.take_along_axis(new_by_age, weeks_run[None], axis=0)[0]
        # A new set's weeks are full ones at today's pace; this week may be slow, or cut short.
        ran_h = hours_ahead(told, edges[week + 1]) - hours_ahead(told, edges[week])
        share = np.divide(ran_h, week_h, out=np.zeros_like(week_h), where=week_h > 0)
        chance = -np.expm1(-level * np.where(is_first, as_now[week], of_new * share))
        fails = (rng.random(shape) < chance) & (week >= back_in)
        failed[week] = fails
        is_first &= ~fails
        back_in = np.where(fails, week + out_weeks, back_in)
    return failed


def _summary(quantities: dict[str, tuple[str, Floats]]) -> pl.DataFrame:
    rows = [
        {
            "quantity": name,
            "unit": unit,
            "mean": float(values.mean()),
            **{f"q{q:02d}": float(_quantile(values, q / 100)) for q in (5, 50, 80, 95)},
        }
        for name, (unit, values) in quantities.items()
    ]
    return SeasonOutlook.validate(pl.DataFrame(rows))


def _quantile(values: Floats, share: float) -> Floats:
    """The least value that `share` of the plays do not exceed: whole failures stay whole."""
    return np.asarray(np.quantile(values, share, axis=-1, method="inverted_cdf"))
