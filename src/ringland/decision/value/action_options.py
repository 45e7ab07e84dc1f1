"""What each option would cost on each hull: the table the weekly plan chooses from.

How one option's cost comes about stands in `option_outcome`.  Here it meets what a fuel
rule's litres cost (filled elsewhere, or by what the dock orders for all of its hulls), and what
it takes to begin or end a rule, and what is not known of the fuel burned of late.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.contracts.plan_tables import NO_FUEL, OUTSIDE, WeekOptions
from ringland.decision.actions.action_catalogue import (
    FUEL_RULE,
    NOTHING,
    Catalogue,
    CatalogueError,
)
from ringland.decision.actions.action_prices import ITEMS, Prices
from ringland.decision.actions.action_terms import (
    DONE,
    Actions,
    is_meant_for,
    job_days_off,
    outside_per_l,
)
from ringland.decision.actions.fuel_offers import FuelOffers, by_order, dock_way
from ringland.decision.actions.standing_rules import Standing
from ringland.decision.actions.week_limits import WEEK_D
from ringland.decision.value.hazard_ahead import CumulativeHazard, Floats
from ringland.decision.value.option_outcome import Outcome, Season
from ringland.decision.value.priced_world import World
from ringland.settings.assumptions import Assumptions


@dataclass(frozen=True)
class _Column:
    """One option filled in one way, on every set."""

    option: str
    own_option: str
    way: str
    actions: Actions
    outcome: Outcome
    per_l: Floats


def option_table(
    running: pl.DataFrame,
    hazard: CumulativeHazard,
    *,
    catalogue: Catalogue,
    prices: Prices,
    horizon_d: float,
    assumptions: Assumptions,
    standing: pl.DataFrame | None = None,
    offers: pl.DataFrame | None = None,
    n_failures: int = 0,
) -> pl.DataFrame:
    """The expected cost of every option on every hull whose chance can be told.

    Args:
        running: one row per hull in service, as `running_sets` returns it; rows with
            `why_not` are left aside.  May hold `usual_<covariate>` (see `hazard_ahead`),
            `later_use_h_d` and `tested_d_ago`: a test whose last reading still stands is not
            offered again.
        hazard: the fleet's hazard, as the shop believes it.
        catalogue: what can be done.
        prices: what things cost this season.
        horizon_d: days looked ahead: those left of the season.
        assumptions: settings.
        standing: `Standing`, the rules in force and the looks that still hold; None: none.
        offers: `FuelOffers`, better grades that docks can order; None: none.
        n_failures: of the modes at stake on record: the fewer, the more a new set is doubted.

    Returns:
        `WeekOptions`, hull by hull, the cheapest option first; a bundle that is not meant
        for a hull has no row there.

    Raises:
        CatalogueError: an action is priced by an item that is not on the price list.
    """
    told = running.filter(pl.col("why_not").is_null()).sort("hull_id")
    if told.is_empty():
        return WeekOptions.create_empty()
    if horizon_d <= 0:
        raise ValueError(f"horizon_d is {horizon_d}; give the days to look ahead, above zero.")
    _check_prices(catalogue)
    held = Standing.create_empty() if standing is None else standing
    told = _with_looks(told, held)
    world = World.of(hazard, catalogue, prices, assumptions, n_failures=n_failures)
    season = Season(told, world, horizon_d)
    season.foresee(catalogue.bundles().values())
    columns = [
        *_by_hull(season, catalogue),
        *_by_dock(
            season, catalogue, FuelOffers.create_empty() if offers is None else offers, assumptions
        ),
    ]
    nothing = next(column for column in columns if column.option == NOTHING)
    least_per_l = _least_per_l(columns, told.height)
    changing = _ChangeCosts(season, held, catalogue, least_per_l, assumptions)
    level = assumptions.number("survival.confidence")
    table = pl.concat(
        told.select(
            "hull_id",
            "dock_id",
            option=pl.lit(column.option),
            own_option=pl.lit(column.own_option),
            fuel_way=pl.lit(column.way),
            fuel_per_l=pl.Series(column.per_l, dtype=pl.Float64).fill_nan(None),
            **changing.of(column),
        )
        .with_columns(_what_it_costs(column, nothing, horizon_d, level))
        .with_columns(**what_it_takes(column.actions, prices))
        .filter(is_meant_for(column.actions, told) & ~pl.col("fuel_per_l").is_null())
        for column in columns
    ).select(WeekOptions.column_names())
    return WeekOptions.validate(table.sort("hull_id", "expected_cost", maintain_order=True))


def _by_hull(season: Season, catalogue: Catalogue) -> list[_Column]:
    """Every option of the catalogue, a fuel rule filled outside at its price there."""
    n = season.sets.height
    found = []
    for name, actions in catalogue.bundles().items():
        rule = next((a for a in actions if a.name == FUEL_RULE), None)
        docks, prices = season.sets["dock_id"], season.world.prices
        per_l = np.zeros(n) if rule is None else outside_per_l(rule, docks, prices)
        way = NO_FUEL if rule is None else OUTSIDE
        found.append(_Column(name, name, way, actions, season.outcome(actions), per_l))
    return found


def _by_dock(
    season: Season, catalogue: Catalogue, offers: pl.DataFrame, assumptions: Assumptions
) -> list[_Column]:
    """Every option again under each grade a dock can order for all of its hulls.

    Until the dock's next delivery the hull burns what it would without.  A raised calibration
    whose need the grade does not meet stays that much short.  Fuel gets no fresher for it.
    """
    rule = catalogue.actions.get(FUEL_RULE)
    if rule is None or offers.is_empty():
        return []
    sets, days = season.sets, season.days
    bundles = catalogue.bundles()
    name_of = {frozenset(a.name for a in actions): name for name, actions in bundles.items()}
    is_raised = sets["is_raised_calibration"].cast(pl.Float64).to_numpy() > 0
    found = []
    for grade in offers["grade_aki"].unique().sort():
        offered = offers.filter(pl.col("grade_aki") == grade)
        here = sets.select("dock_id").join(offered, on="dock_id", how="left", maintain_order="left")
        share = 1 - (here["next_delivery_d"] / days).clip(0, 1).fill_null(0.0).to_numpy()
        per_l = here["per_l"].fill_null(np.nan).to_numpy()
        short = assumptions.number("octane.need_raised_aki") - float(grade)
        is_short = short > 0 and bool(is_raised.any())
        orders = [by_order(rule), *([by_order(rule, short)] if is_short else [])]
        beside = [actions for actions in bundles.values() if rule not in actions]
        season.foresee([order, *actions] for order in orders for actions in beside)
        for name, actions in bundles.items():
            if rule in actions:
                continue
            plain = season.outcome(actions)
            better = season.outcome([by_order(rule), *actions])
            if is_short:
                still = season.outcome([by_order(rule, short), *actions])
                better = Outcome.where(is_raised, still, better)
            outcome = better.then(plain, share)
            both = frozenset({FUEL_RULE, *(a.name for a in actions)})
            way, both_name = dock_way(float(grade)), name_of.get(both, name)
            found.append(_Column(both_name, name, way, (rule, *actions), outcome, per_l))
    return found


class _ChangeCosts:
    """What must be gained beyond the price before a rule is begun or ended, or a set renewed.

    A rule takes a sum to begin, and to end the sum and a share of its cost from here on: so
    small moves of the estimate from week to week do not switch it on and off, and one that is
    worth its price is not put off for want of more.  A renewal cannot be taken
    back, and the sets that seem to gain most by one are those whose hazard is most overrated
    (the optimiser's curse: Smith and Winkler 2006, from memory): it takes a share of its price,
    the smaller the more failures the hazard rests on, unless a failed test asks for it.
    """

    def __init__(
        self,
        season: Season,
        held: pl.DataFrame,
        catalogue: Catalogue,
        least_per_l: Floats,
        assumptions: Assumptions,
    ) -> None:
        share = assumptions.number("planning.change_share")
        once = assumptions.number("planning.change_once")
        sets = season.sets
        self._season = season
        self._once = once
        self._stands: dict[str, Floats] = {}
        self._to_end: dict[str, Floats] = {}
        for name in catalogue.rules():
            rule = catalogue.actions[name]
            hulls = held.filter(pl.col("action") == name)["hull_id"]
            self._stands[name] = sets["hull_id"].is_in(hulls.implode()).to_numpy()
            per_l = least_per_l if name == FUEL_RULE else np.full(sets.height, rule.cost_per_l)
            ahead = per_l * season.litres(rule) + rule.cost_per_d * season.days
            self._to_end[name] = once + share * ahead

    def of(self, column: _Column) -> dict[str, pl.Series]:
        """Of one option, hull by hull: change_cost, and the rules it begins and ends."""
        given = {action.name for action in column.actions}
        n = len(column.per_l)
        total = np.zeros(n)
        begins: list[list[str]] = [[] for _ in range(n)]
        ends: list[list[str]] = [[] for _ in range(n)]
        for name, stands in self._stands.items():
            changes = stands != (name in given)
            price = np.where(stands, self._to_end[name], self._once)
            total = total + np.where(changes, price, 0.0)
            for at in np.flatnonzero(changes):
                (ends if stands[at] else begins)[at].append(name)
        renewals = [action for action in column.actions if action.renews_age]
        total = total + sum(map(self._season.doubt, renewals), np.zeros(n))
        if not renewals:  # what counts for a renewal now counts for one put off
            total = total + column.outcome.later_doubt
        names = pl.List(pl.String)
        return {
            "change_cost": pl.Series(total, dtype=pl.Float64),
            "begins": pl.Series(begins, dtype=names),
            "ends": pl.Series(ends, dtype=names),
        }


def _least_per_l(columns: Sequence[_Column], n: int) -> Floats:
    ways = [c.per_l for c in columns if any(a.name == FUEL_RULE for a in c.actions)]
    return np.nanmin(ways, axis=0) if ways else np.zeros(n)


def _with_looks(told: pl.DataFrame, held: pl.DataFrame) -> pl.DataFrame:
    """The sets with the looks at the record that still stand."""
    looks = (
        held.filter(~pl.col("is_rule"))
        .group_by("hull_id", maintain_order=True)
        .agg(pl.col("action").alias(DONE))
    )
    return told.join(looks, on="hull_id", how="left", maintain_order="left").with_columns(
        pl.col(DONE).fill_null(pl.lit([], dtype=pl.List(pl.String)))
    )


def spare_day_worth(options: pl.DataFrame, prices: Prices, horizon_d: float) -> float:
    """Money a spare hull earns back on a day another is off the water.

    The lost rental, less the fleet's middle expected cost of a failure in a day of running,
    which the spare takes on; not below zero.
    """
    chance = options.filter(pl.col("option") == NOTHING)["chance"].median()
    middle = 0.0 if chance is None else float(chance)  # type: ignore[arg-type]
    return max(0.0, prices.lost_rental_day - middle * prices.unplanned / horizon_d)


def _check_prices(catalogue: Catalogue) -> None:
    for action in catalogue.actions.values():
        for item in (action.cost_item, action.days_off_item):
            if item is not None and item not in ITEMS:
                raise CatalogueError(
                    f"action catalogue: action.{action.name} is priced by {item!r}, which is not "
                    f"on the price list; use one of {', '.join(ITEMS)}."
                )


def _what_it_costs(column: _Column, nothing: _Column, days: float, level: float) -> list[pl.Series]:
    """Means and ranges over the draws; savings draw by draw, against doing without all along.

    A rule put off by a week does a week's part of nothing.
    """
    now, first = column.outcome, nothing.outcome
    litres = column.per_l * now.bought_l
    cost = now.cost + litres
    saving = first.cost - cost
    numbers: dict[str, Floats] = {}
    for name, draws in {"cost": cost, "saving": saving, "chance": now.chance}.items():
        middle = draws.mean(axis=0)
        low, high = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2], axis=0)
        numbers["expected_cost" if name == "cost" else name] = middle
        # A mean of few, skewed draws may leave its own quantiles; the range must hold it.
        numbers[f"{name}_low"] = np.minimum(low, middle)
        numbers[f"{name}_high"] = np.maximum(high, middle)
    put_off = now.later.mean(axis=0) + litres
    week = min(1.0, WEEK_D / days)
    renews = any(action.renews_age for action in column.actions)
    numbers |= {
        "planned_cost": numbers["expected_cost"] if renews else put_off,
        "week_later": week * first.later.mean(axis=0) + (1 - week) * put_off,
        "chance_it_saves": (saving > 0).mean(axis=0),
        "sure_cost": now.sure + litres,
        "follow_up_chance": now.reads_badly,
    }
    return [pl.Series(name, values, dtype=pl.Float64) for name, values in numbers.items()]


def what_it_takes(actions: Actions, prices: Prices) -> dict[str, pl.Expr]:
    """Hours, slots, days off and kits of the actions together, as columns of `WeekOptions`."""
    parts = [part for a in actions for part, count in a.parts.items() for _ in range(count)]
    return {
        "mechanic_h": pl.lit(sum(a.mechanic_h for a in actions), dtype=pl.Float64),
        "lift_slots": pl.lit(sum(a.lift_slots for a in actions), dtype=pl.Int64),
        "days_off": pl.lit(sum(job_days_off(a, prices) for a in actions), dtype=pl.Float64),
        "parts": pl.lit(parts, dtype=pl.List(pl.String)),
    }
