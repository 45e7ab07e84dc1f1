"""What each option would cost on each hull: the table the weekly plan chooses from.

Cost is what is paid for sure plus the chance of an unplanned failure times its price,
over the time looked ahead; the first failure only, since a second within it is rare.  A
hull left this week can still get the best thing next week, so leaving is priced as the
cheaper of never acting and acting a week on (the one-stage look-ahead rule: where the
hazard rises, what is better now than a week on is best now).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import polars as pl

from ringland.assumptions import Assumptions
from ringland.service_week.action_catalogue import (
    NOTHING,
    Action,
    Catalogue,
    CatalogueError,
    Test,
)
from ringland.service_week.action_prices import ITEMS, Prices
from ringland.service_week.hazard_ahead import CumulativeHazard, Floats, hazard_ahead
from ringland.service_week.plan_tables import WeekOptions

WEEK_D = 7.0

TESTED = "tested_d_ago"
"""Optional column: days since the last compression or leak-down test, null where none."""

Actions = Sequence[Action]


@dataclass(frozen=True)
class _Ahead:
    """The running sets and the time ahead of them."""

    sets: pl.DataFrame
    age_h: Floats
    use_h_d: Floats
    burn_l_h: Floats
    days: float


@dataclass(frozen=True)
class _World:
    """What an option's outcome depends on beside the sets."""

    hazard: CumulativeHazard
    catalogue: Catalogue
    prices: Prices
    window_h: float

    def chance(self, ahead: _Ahead, age_h: Floats, hours: Floats, actions: Actions) -> Floats:
        """Chance of failing within `hours` by draw, the actions done at their start."""
        summed = hazard_ahead(
            self.hazard, ahead.sets, age_h, hours, actions=actions, window_h=self.window_h
        )
        return np.asarray(-np.expm1(-summed))


@dataclass(frozen=True)
class _Outcome:
    """Cost and chance of an option by draw, shape (draws, sets), and what is paid for sure."""

    cost: Floats
    chance: Floats
    sure: Floats
    reads_badly: Floats


def option_table(
    running: pl.DataFrame,
    hazard: CumulativeHazard,
    *,
    catalogue: Catalogue,
    prices: Prices,
    horizon_d: float,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The expected cost of every option on every hull whose chance can be told.

    Args:
        running: one row per hull in service, as `running_sets` returns it; rows with
            `why_not` are left aside.  May hold `usual_<covariate>` (see `hazard_ahead`) and
            `tested_d_ago`: a test whose last reading still stands is not offered again.
        hazard: the fleet's hazard.
        catalogue: what can be done.
        prices: what things cost this season.
        horizon_d: days looked ahead, e.g. 30, or those left of the season.
        assumptions: settings.

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
    now = _Ahead(
        sets=told,
        age_h=told["age_h"].to_numpy().astype(float),
        use_h_d=told["use_h_d"].to_numpy().astype(float),
        burn_l_h=_burn_l_h(told, assumptions),
        days=horizon_d,
    )
    world = _World(hazard, catalogue, prices, assumptions.number("exposure.trailing_h"))
    bundles = catalogue.bundles()
    meant = {name: _is_meant_for(actions, told) for name, actions in bundles.items()}
    outcomes = {name: _outcome(actions, now, world) for name, actions in bundles.items()}
    outcomes[NOTHING] = _left_this_week(outcomes[NOTHING], now, world, meant)
    level = assumptions.number("survival.confidence")
    table = pl.concat(
        told.select("hull_id", option=pl.lit(name))
        .with_columns(_what_it_costs(outcome, outcomes[NOTHING], level))
        .with_columns(**_what_it_takes(bundles[name], prices))
        .filter(meant[name])
        for name, outcome in outcomes.items()
    ).select(WeekOptions.column_names())
    return WeekOptions.validate(table.sort("hull_id", "expected_cost", maintain_order=True))


def spare_day_worth(options: pl.DataFrame, prices: Prices, horizon_d: float) -> float:
    """Money a spare hull earns back on a day another is off the water.

    The lost rental, less the fleet's middle expected cost of a failure in a day of running,
    which the spare takes on; not below zero.
    """
    chance = options.filter(pl.col("option") == NOTHING)["chance"].median()
    middle = 0.0 if chance is None else float(chance)  # type: ignore[arg-type]
    return max(0.0, prices.lost_rental_day - middle * prices.unplanned / horizon_d)


def job_price(action: Action, prices: Prices) -> float:
    """Money for the job itself, without lost rental."""
    return float(getattr(prices, action.cost_item)) if action.cost_item else action.cost


def job_days_off(action: Action, prices: Prices) -> float:
    """Days the hull is off the water for it."""
    if action.days_off_item:
        return float(getattr(prices, action.days_off_item))
    return action.days_off


def _check_prices(catalogue: Catalogue) -> None:
    for action in catalogue.actions.values():
        for item in (action.cost_item, action.days_off_item):
            if item is not None and item not in ITEMS:
                raise CatalogueError(
                    f"action catalogue: action.{action.name} is priced by {item!r}, which is not "
                    f"on the price list; use one of {', '.join(ITEMS)}."
                )


def _burn_l_h(told: pl.DataFrame, assumptions: Assumptions) -> Floats:
    """Litres an hour at each hull's share of full throttle, from the rated figures."""
    cruise = assumptions.number("fuel.cruise_burn_l_h")
    full = assumptions.number("fuel.full_burn_l_h")
    share = told["full_throttle_25h"].to_numpy().astype(float)
    return np.asarray(cruise + (full - cruise) * share)


def _is_meant_for(actions: Actions, told: pl.DataFrame) -> pl.Series:
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
    return told.select(pl.all_horizontal(pl.lit(True), *wanted).alias("meant"))["meant"]


def _outcome(actions: Actions, ahead: _Ahead, world: _World) -> _Outcome:
    prices = world.prices
    hours, sure = _hours_and_sure_cost(actions, ahead, prices)
    age_h = np.zeros_like(hours) if any(a.renews_age for a in actions) else ahead.age_h
    chance = world.chance(ahead, age_h, hours, actions)
    test = next((action.test for action in actions if action.test), None)
    if test is None:
        return _Outcome(sure + chance * prices.unplanned, chance, sure, np.zeros_like(hours))
    others = [action for action in actions if action.test is None]
    renewed = _outcome([*others, world.catalogue.actions[test.follow_up]], ahead, world)
    already_paid = _hours_and_sure_cost(others, ahead, prices)[1]
    reach_h = np.minimum(hours, ahead.use_h_d * test.reach_d.value)
    return _tested(
        test,
        within=world.chance(ahead, age_h, reach_h, actions),
        chance=chance,
        sure=sure,
        renewed=replace(renewed, cost=renewed.cost - already_paid),
        unplanned=prices.unplanned,
    )


def _hours_and_sure_cost(actions: Actions, ahead: _Ahead, prices: Prices) -> tuple[Floats, Floats]:
    """Hours left to run beside the days off, and what is paid whatever happens."""
    days_off = min(sum(job_days_off(action, prices) for action in actions), ahead.days)
    hours = ahead.use_h_d * (ahead.days - days_off)
    sure = np.full_like(hours, days_off * prices.lost_rental_day)
    for action in actions:
        held_h = hours if action.lasts_h is None else np.minimum(hours, action.lasts_h)
        sure = sure + job_price(action, prices) + action.cost_per_d * ahead.days
        sure = sure + action.cost_per_l * ahead.burn_l_h * held_h
    return hours, sure


def _tested(
    test: Test,
    *,
    within: Floats,
    chance: Floats,
    sure: Floats,
    renewed: _Outcome,
    unplanned: float,
) -> _Outcome:
    """Cost and chance when a test is done first and a bad reading acted on where that pays.

    By Bayes, with p the chance of failing `within` the test's reach, a bad reading comes
    with probability se p + (1 - sp)(1 - p).  After a good one, (1 - se) p fail unwarned
    within the reach; of the sp (1 - p) others, some fail later.  Acting pays where the
    renewals then cost less than the failures they avert.
    """
    se, sp = test.sensitivity.value, test.specificity.value
    sound = 1 - within
    reads_badly = se * within + (1 - sp) * sound
    # Where none is sound after the reach, none is left to fail later.
    later = 1 - np.divide(1 - chance, sound, out=np.ones_like(sound), where=sound > 0)
    missed = (1 - se) * within + sp * sound * later
    acted = reads_badly * renewed.cost + missed * unplanned
    left = chance * unplanned
    pays = acted.mean(axis=0) < left.mean(axis=0)
    return _Outcome(
        cost=sure + np.where(pays, acted, left),
        chance=np.where(pays, missed + reads_badly * renewed.chance, chance),
        sure=sure,
        reads_badly=reads_badly.mean(axis=0),
    )


def _left_this_week(
    never: _Outcome, now: _Ahead, world: _World, meant: Mapping[str, pl.Series]
) -> _Outcome:
    """Leaving a hull this week, and next week doing what then costs least."""
    if now.days <= WEEK_D:
        return never
    wait_h = now.use_h_d * WEEK_D
    waited = world.chance(now, now.age_h, wait_h, ())
    later = replace(now, age_h=now.age_h + wait_h, days=now.days - WEEK_D)
    best = never
    for name, actions in world.catalogue.bundles().items():
        if name == NOTHING:
            continue
        then = _outcome(actions, later, world)
        cost = waited * world.prices.unplanned + (1 - waited) * then.cost
        better = meant[name].to_numpy() & (cost.mean(axis=0) < best.cost.mean(axis=0))
        chance = waited + (1 - waited) * then.chance
        best = replace(
            best,
            cost=np.where(better, cost, best.cost),
            chance=np.where(better, chance, best.chance),
        )
    return best


def _what_it_costs(outcome: _Outcome, nothing: _Outcome, level: float) -> list[pl.Series]:
    """Means and ranges over the draws; savings are taken draw by draw."""
    saving = nothing.cost - outcome.cost
    numbers: dict[str, Floats] = {}
    for column, draws in (("cost", outcome.cost), ("saving", saving), ("chance", outcome.chance)):
        middle = draws.mean(axis=0)
        tails = np.quantile(draws, [(1 - level) / 2, (1 + level) / 2], axis=0)
        numbers["expected_cost" if column == "cost" else column] = middle
        # A mean of few, skewed draws may leave its own quantiles; the range must hold it.
        numbers[f"{column}_low"] = np.minimum(tails[0], middle)
        numbers[f"{column}_high"] = np.maximum(tails[1], middle)
    numbers |= {
        "chance_it_saves": (saving > 0).mean(axis=0),
        "sure_cost": outcome.sure,
        "follow_up_chance": outcome.reads_badly,
    }
    return [pl.Series(name, values, dtype=pl.Float64) for name, values in numbers.items()]


def _what_it_takes(actions: Actions, prices: Prices) -> dict[str, pl.Expr]:
    parts = [part for a in actions for part, count in a.parts.items() for _ in range(count)]
    return {
        "mechanic_h": pl.lit(sum(a.mechanic_h for a in actions), dtype=pl.Float64),
        "lift_slots": pl.lit(sum(a.lift_slots for a in actions), dtype=pl.Int64),
        "days_off": pl.lit(sum(job_days_off(a, prices) for a in actions), dtype=pl.Float64),
        "parts": pl.lit(parts, dtype=pl.List(pl.String)),
    }
