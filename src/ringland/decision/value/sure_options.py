"""Options of hulls without a chance that must be dealt with all the same: priced, not guessed.

A broken hull is repaired now or a week later; a hull whose chance cannot be told, but whose
last bench test failed, is tested again or stays ashore.  They share the week's room with the
hulls that have a chance.
"""

from __future__ import annotations

from collections.abc import Sequence

import polars as pl

from ringland.contracts.plan_tables import NO_FUEL, WeekOptions
from ringland.decision.actions.action_catalogue import (
    NOTHING,
    REBUILD,
    REPAIR,
    Catalogue,
    CatalogueError,
)
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import TESTED, is_meant_for, repair_price, sure_price
from ringland.decision.actions.safety_rules import (
    FAILED_TEST,
    OPEN_FAILURE,
    answering_options,
    week_ashore,
)
from ringland.decision.actions.week_limits import WEEK_D
from ringland.decision.value.action_options import what_it_takes


def sure_options(
    running: pl.DataFrame,
    rules: pl.DataFrame,
    *,
    catalogue: Catalogue,
    prices: Prices,
    horizon_d: float,
) -> pl.DataFrame:
    """`WeekOptions` of broken hulls, and of hulls that only a failed test speaks of.

    Args:
        running: one row per hull in service, as `running_sets` returns it.
        rules: `SafetyRules` of the same hulls.
        catalogue: what can be done.
        prices: what things cost this season.
        horizon_d: days looked ahead: rental lost beyond them is not counted.

    Raises:
        CatalogueError: the catalogue lacks the action a repair takes its hours from, or one
            that keeps a hull ashore.
    """
    unknown = running.filter(pl.col("why_not").is_not_null())["hull_id"].to_list()
    bound = rules.filter(pl.col("hull_id").is_in(unknown))
    ashore = week_ashore(catalogue, prices)
    bundles = catalogue.bundles()
    parts = [
        *_rows(_repair_costs(prices, horizon_d, ashore), _of(bound, OPEN_FAILURE), 1.0),
        *_rows(_test_costs(catalogue, prices, horizon_d, ashore), _of(bound, FAILED_TEST), None),
    ]
    if not parts:
        return WeekOptions.create_empty()
    takes = _what_each_takes(catalogue, prices)
    # A test that failed is not read again next: what tells more is, whenever the last one passed.
    due = running.with_columns(pl.lit(None, dtype=pl.Float64).alias(TESTED))
    meant = {
        option: due.filter(is_meant_for(bundles.get(option, ()), due))["hull_id"]
        for option in {part["option"][0] for part in parts}
    }
    table = pl.concat(
        part.with_columns(**takes[option]).filter(pl.col("hull_id").is_in(meant[option].implode()))
        for part in parts
        for option in [part["option"][0]]
    )
    return WeekOptions.validate(
        table.select(WeekOptions.column_names()).sort(
            "hull_id", "expected_cost", maintain_order=True
        )
    )


def _of(bound: pl.DataFrame, rule: str) -> list[str]:
    return bound.filter(pl.col("rule") == rule)["hull_id"].to_list()


def _repair_costs(prices: Prices, horizon_d: float, ashore: str) -> dict[str, tuple[float, float]]:
    """Expected cost and what is sure of a repair begun now, and of standing a week first.

    Its price and the rental lost within the horizon; of standing, the week's rental is sure.
    """
    now, next_week = (repair_price(prices, horizon_d, begun_d) for begun_d in (0.0, WEEK_D))
    week = min(WEEK_D, horizon_d) * prices.lost_rental_day
    return {
        REPAIR: (now, now),
        ashore: (next_week, week),
        NOTHING: (next_week, week),
    }


def _test_costs(
    catalogue: Catalogue, prices: Prices, horizon_d: float, ashore: str
) -> dict[str, tuple[float, float]]:
    """A test, or the week ashore: what is paid for sure; what a bad reading leads to is open."""
    bundles = catalogue.bundles()
    tests = [
        name
        for name in answering_options(catalogue)
        if len(bundles[name]) == 1 and bundles[name][0].test is not None
    ]
    paid = {name: sure_price(bundles[name], prices, horizon_d) for name in (*tests, ashore)}
    return {name: (cost, cost) for name, cost in paid.items()} | {NOTHING: (0.0, 0.0)}


def _rows(
    costs: dict[str, tuple[float, float]], hulls: Sequence[str], chance_it_saves: float | None
) -> list[pl.DataFrame]:
    """One frame per option, without what it takes."""
    if not hulls:
        return []
    nothing, _ = costs[NOTHING]
    found = []
    for option, (cost, sure) in costs.items():
        numbers = dict.fromkeys(("expected_cost", "cost_low", "cost_high"), cost)
        numbers |= {"sure_cost": sure, "planned_cost": cost, "week_later": nothing}
        numbers |= {"change_cost": 0.0, "fuel_per_l": 0.0}
        numbers |= dict.fromkeys(("saving", "saving_low", "saving_high"), nothing - cost)
        found.append(
            pl.DataFrame({"hull_id": list(hulls)}).with_columns(
                option=pl.lit(option),
                own_option=pl.lit(option),
                **{name: pl.lit(float(value)) for name, value in numbers.items()},
                **{
                    name: pl.lit(None, dtype=pl.Float64)
                    for name in ("chance", "chance_low", "chance_high")
                },
                chance_it_saves=pl.lit(
                    chance_it_saves if option == REPAIR else None, dtype=pl.Float64
                ),
                follow_up_chance=pl.lit(0.0),
                fuel_way=pl.lit(NO_FUEL),
                dock_id=pl.lit(None, dtype=pl.String),
                begins=pl.lit([], dtype=pl.List(pl.String)),
                ends=pl.lit([], dtype=pl.List(pl.String)),
            )
        )
    return found


def _what_each_takes(catalogue: Catalogue, prices: Prices) -> dict[str, dict[str, pl.Expr]]:
    if REBUILD not in catalogue.actions:
        raise CatalogueError(
            f"action catalogue: no action {REBUILD}; a repair takes its hours, lift slots and "
            f"kits from it. Add it, with offered = false if it is not to be planned."
        )
    takes = {name: what_it_takes(actions, prices) for name, actions in catalogue.bundles().items()}
    off_d = pl.lit(WEEK_D)  # a broken hull is not ready this week, repaired or not
    repair = what_it_takes((catalogue.actions[REBUILD],), prices)
    return takes | {REPAIR: repair | {"days_off": off_d}}
