"""The fuel a hull has at hand, its dock's tank and its own, against what its engine needs now.

The need is that of the calibration in force, which a ride need not have followed yet.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import dataframely as dy
import polars as pl

from ringland.contracts.fuel_tables import FuelAtHand, TanksNow
from ringland.contracts.records import Calibrations, Installations
from ringland.exposure.octane_margin import with_octane_need
from ringland.fuel.session_fuel import SessionFuelResult
from ringland.history.engine_history import installed_engines
from ringland.settings.assumptions import Assumptions

FALLS_SHORT = ("may miss", "misses")
"""The standings at which fuel must not be filled, or run on as it is."""

LEAST_L = 0.5
"""Fewer litres print as none: the tank counts as empty."""

PRINTED_ON = 0.05
"""Octane within this of the need prints as the need, and is taken to meet it."""


def tanks_now(fuel: SessionFuelResult, as_of: datetime) -> dy.DataFrame[TanksNow]:
    """Every tank as the ledger leaves it.

    Args:
        fuel: the ledger.
        as_of: the moment of the ledger.
    """
    since_d = (pl.lit(as_of) - pl.col("at")).dt.total_seconds() / 86_400
    tanks = [
        events.group_by(name, maintain_order=True)
        .last()
        .select(
            "octane_low_aki",
            "octane_high_aki",
            "unknown_share",
            tank=name,
            kind=pl.lit(name.removesuffix("_id")),
            level_l=pl.col("after_l").clip(lower_bound=0.0),
            octane_aki=pl.when(pl.col("unknown_share") < 1 - 1e-9).then("octane_aki"),
            fuel_age_d=pl.col("fuel_age_d") + since_d,
        )
        for events, name in ((fuel.dock_events, "dock_id"), (fuel.tank_events, "hull_id"))
    ]
    return TanksNow.validate(pl.concat(tanks).sort("kind", "tank"), cast=True)


def fuel_at_hand(
    tanks: pl.DataFrame,
    exposure: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
    assumptions: Assumptions,
) -> dy.DataFrame[FuelAtHand]:
    """What each hull needs and what its dock's tank and its own hold.

    A tank "misses" a need when its best estimate is below it, "may miss" when what the record
    leaves open could bring it below, has "no margin" when only octane.label_spread_on could,
    which every label bears, so that no other pump of that grade would be surer.

    Args:
        tanks: `TanksNow`.
        exposure: `SessionExposure`; its last ride gives the need where no calibration does.
        records: hulls are read; installations and calibrations if there.
        as_of: the moment of the tanks.
        assumptions: the needs by class, octane.label_spread_on, fuel.old_after_d, how far a
            level may lie off, the best grade sold.
    """
    left = pl.col("out_of_service_at")
    hulls = (
        records["hulls"]
        .filter(left.is_null() | (left > as_of))
        .select("hull_id", "dock_id", "tank_l")
    )
    needs = hulls.join(_needs(exposure, records, as_of, assumptions), on="hull_id", how="left")
    old_d = assumptions.number("fuel.old_after_d")
    found = needs
    for whose, key in (("dock", "dock_id"), ("own", "hull_id")):
        kind = key.removesuffix("_id")
        mine = tanks.filter(pl.col("kind") == kind).drop("kind", "unknown_share")
        mine = mine.rename({name: f"{whose}_{name}" for name in mine.columns})
        found = (
            found.join(
                mine, left_on=key, right_on=f"{whose}_tank", how="left", maintain_order="left"
            )
            .with_columns(_standing(whose, assumptions).alias(f"{whose}_standing"))
            .with_columns(
                pl.col(f"{whose}_standing").is_in(list(FALLS_SHORT)).alias(f"is_{whose}_short"),
                _way(whose, assumptions).alias(f"{whose}_way"),
                ((pl.col(f"{whose}_level_l") >= LEAST_L) & (pl.col(f"{whose}_fuel_age_d") > old_d))
                .fill_null(value=False)
                .alias(f"is_{whose}_old"),
            )
        )
    dock = pl.col("dock_octane_low_aki") + assumptions.number("octane.label_spread_on")
    found = found.with_columns(own_fill_aki=_fill_up(assumptions)).with_columns(
        can_fill_at_dock=(
            (dock + PRINTED_ON >= pl.col("own_fill_aki"))
            & ~pl.col("is_dock_old")
            & (pl.col("dock_standing") != "empty")
        ).fill_null(value=False)
    )
    return FuelAtHand.validate(found.select(FuelAtHand.column_names()).sort("hull_id"), cast=True)


def _standing(whose: str, assumptions: Assumptions) -> pl.Expr:
    need = pl.col("need_aki") - PRINTED_ON
    low, high = pl.col(f"{whose}_octane_low_aki"), pl.col(f"{whose}_octane_high_aki")
    best, level = pl.col(f"{whose}_octane_aki").fill_null(high), pl.col(f"{whose}_level_l")
    return (
        pl.when(level < LEAST_L)
        .then(pl.lit("empty"))
        .when(need.is_null() | low.is_null() | best.is_null())
        .then(pl.lit("not known"))
        .when(best < need)
        .then(pl.lit("misses"))
        .when(low + assumptions.number("octane.label_spread_on") < need)
        .then(pl.lit("may miss"))
        .when(low < need)
        .then(pl.lit("no margin"))
        .otherwise(pl.lit("meets"))
    )


def _way(whose: str, assumptions: Assumptions) -> pl.Expr:
    """What makes fuel that falls short do, by the lowest grade its labels may stand for."""
    labelled = (
        pl.col(f"{whose}_octane_low_aki")
        + assumptions.number("octane.label_spread_on")
        + PRINTED_ON
    )
    need, stock = pl.col("need_aki"), assumptions.number("octane.need_stock_aki")
    return (
        pl.when(~pl.col(f"{whose}_standing").is_in(list(FALLS_SHORT)))
        .then(None)
        .when((need > stock) & (labelled >= stock))
        .then(pl.lit("stock"))
        .when((need <= stock) & (labelled >= assumptions.number("octane.part_throttle_need_aki")))
        .then(pl.lit("throttle"))
    )


def _fill_up(assumptions: Assumptions) -> pl.Expr:
    """The grade that makes a tank do, filled to the brim: blended by volume with what is in it.

    By the lowest grade the labels in it may stand for, and a level as high as it may be.  Never
    for fuel that is too old, nor for a need above the stock one: a raised calibration takes
    fuel that meets its need and no other.
    """
    need, tank = pl.col("need_aki"), pl.col("tank_l")
    off = assumptions.number("fuel.level_off_share") * tank
    level = pl.min_horizontal(pl.col("own_level_l") + off, tank)
    labelled = pl.col("own_octane_low_aki") + assumptions.number("octane.label_spread_on")
    asked = ((need * tank - labelled * level) / (tank - level) - PRINTED_ON).ceil()
    grade = pl.max_horizontal(asked, need.ceil())
    may = (
        pl.col("is_own_short")
        & ~pl.col("is_own_old")
        & (need <= assumptions.number("octane.need_stock_aki"))
        & (level < tank)
        & (grade <= assumptions.number("fuel.outside_high_aki"))
    )
    return pl.when(may).then(grade)


def _needs(
    exposure: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """hull_id, calibration, need_aki: of the engine in the hull, else of its last ride."""
    in_force = (
        records.get("calibrations", Calibrations.create_empty())
        .filter(pl.col("in_force_at") <= as_of)
        .sort("engine_id", "in_force_at")
        .group_by("engine_id", maintain_order=True)
        .last()
    )
    engines = installed_engines(records.get("installations", Installations.create_empty()), as_of)
    now = with_octane_need(
        engines.join(in_force, on="engine_id", maintain_order="left"), assumptions
    )
    ridden = exposure.sort("started_at").group_by("hull_id", maintain_order=True).last()
    columns = {"calibration": "calibration", "need_aki": "octane_need_aki"}
    both = pl.concat(
        [ridden.select("hull_id", **columns), now.select("hull_id", **columns)],
        how="vertical_relaxed",
    )
    return (
        both.filter(pl.col("need_aki").is_not_null())
        .group_by("hull_id", maintain_order=True)
        .last()
    )
