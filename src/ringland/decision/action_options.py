"""What each option would cost on each hull: the table the weekly plan chooses from.

An option that works on exposure alone stands in the table with its price whatever the
record says of it; `is_paid_for` says whether the plan may choose it.  Ranges hold what is
not known of the hazard and of the fuel burned of late.  How one option's cost comes about
stands in `option_outcome`.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from ringland.contracts.plan_tables import WeekOptions
from ringland.decision.action_catalogue import NOTHING, Catalogue, CatalogueError
from ringland.decision.action_prices import ITEMS, Prices
from ringland.decision.hazard_ahead import CumulativeHazard, Floats
from ringland.decision.option_outcome import (
    Actions,
    Outcome,
    World,
    is_meant_for,
    job_days_off,
    outcomes_by_option,
)
from ringland.exposure.factor_registry import BOUNDS
from ringland.risk.fleet_hazard import with_bound
from ringland.settings.assumptions import Assumptions


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
    world = World(hazard, catalogue, prices, assumptions.number("exposure.trailing_h"))
    fuels = [told, *_other_fuels(told)]
    by_fuel = [outcomes_by_option(sets, world, horizon_d, assumptions) for sets in fuels]
    shown = by_fuel[0].shown_chances()
    least = assumptions.number("planning.least_chance_shown")
    shown_by_option = {
        name: min((shown[a.name] for a in actions if a.name in shown), default=None)
        for name, actions in catalogue.bundles().items()
    }
    paid_for = {n for n, chance in shown_by_option.items() if chance is None or chance >= least}
    nothing = [outcomes.waiting(paid_for) for outcomes in by_fuel]
    level = assumptions.number("survival.confidence")
    table = pl.concat(
        told.select(
            "hull_id",
            option=pl.lit(name),
            shown_chance=pl.lit(shown_by_option[name], dtype=pl.Float64),
            is_paid_for=pl.lit(name in paid_for),
        )
        .with_columns(
            _what_it_costs(
                nothing if name == NOTHING else [o.by_option[name] for o in by_fuel],
                nothing,
                level,
            )
        )
        .with_columns(**what_it_takes(actions, prices))
        .filter(is_meant_for(actions, told))
        for name, actions in catalogue.bundles().items()
    ).select(WeekOptions.column_names())
    return WeekOptions.validate(table.sort("hull_id", "expected_cost", maintain_order=True))


def _other_fuels(told: pl.DataFrame) -> list[pl.DataFrame]:
    """The sets had the open part of the fuel record gone well or ill, where that differs."""
    found = []
    for bound, stands_in in BOUNDS.items():
        if not set(stands_in.values()) <= set(told.columns):
            continue
        other = with_bound(told, bound)
        if not other.equals(told):
            found.append(other)
    return found


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


def _what_it_costs(
    by_fuel: Sequence[Outcome], nothing: Sequence[Outcome], level: float
) -> list[pl.Series]:
    """Means on the fuel as recorded; ranges over the draws and what the fuel may have been.

    Savings are taken draw by draw, each against leaving the hull on the same fuel.
    """
    savings = [left.cost - outcome.cost for outcome, left in zip(by_fuel, nothing, strict=True)]
    sources = {
        "cost": [outcome.cost for outcome in by_fuel],
        "saving": savings,
        "chance": [outcome.chance for outcome in by_fuel],
    }
    numbers: dict[str, Floats] = {}
    for column, draws in sources.items():
        middle = draws[0].mean(axis=0)
        tails = [np.quantile(each, [(1 - level) / 2, (1 + level) / 2], axis=0) for each in draws]
        low, high = np.min(tails, axis=0)[0], np.max(tails, axis=0)[1]
        numbers["expected_cost" if column == "cost" else column] = middle
        # A mean of few, skewed draws may leave its own quantiles; the range must hold it.
        numbers[f"{column}_low"] = np.minimum(low, middle)
        numbers[f"{column}_high"] = np.maximum(high, middle)
    numbers |= {
        "chance_it_saves": (savings[0] > 0).mean(axis=0),
        "sure_cost": by_fuel[0].sure,
        "follow_up_chance": by_fuel[0].reads_badly,
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
