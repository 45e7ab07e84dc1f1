"""Assets of the room `fuel_exposure`: what each engine burned, against what it needed."""

import dagster as dg
import polars as pl

from pipelines.asset_figures import below_need_picture, picture, rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.resources import ShopFolders
from pipelines.shop_records import engine_sessions, piston_lives
from pipelines.weeks import WEEKS
from ringland.contracts.fuel_tables import (
    CurrentExposure,
    SessionExposure,
    SessionFuel,
    Spells,
    TanksNow,
)
from ringland.contracts.record_tables import EngineSessions, PistonLives, RecordFlags
from ringland.exposure.exposure_spells import current_exposure as exposure_now
from ringland.exposure.exposure_spells import spells as spells_of
from ringland.exposure.fuel_at_hand import tanks_now
from ringland.exposure.octane_margin import session_exposure as exposure_of
from ringland.exposure.week_fuel import WeekFuel
from ringland.exposure.week_fuel import week_fuel as week_fuel_of
from ringland.fuel.balance_doubts import balance_doubts
from ringland.fuel.session_fuel import session_fuel as fuel_of
from ringland.history.known_then import known_by

ROOM = "fuel_exposure"


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=[engine_sessions]
)
def session_fuel(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """What was in the litres each rental burned, one row per rental."""
    as_of = shop.as_of(context.partition_key)
    sessions = warehouse.read_week("shop_records.engine_sessions", EngineSessions, as_of)
    ledger = fuel_of(known_by(warehouse.read_records(), as_of), sessions, shop.assumptions(), as_of)
    warehouse.write_week(f"{ROOM}.session_fuel", SessionFuel, ledger.sessions, as_of)
    warehouse.write_week(f"{ROOM}.tanks_now", TanksNow, tanks_now(ledger, as_of), as_of)
    doubts = balance_doubts(ledger.balance, as_of, shop.assumptions())
    warehouse.write_week(f"{ROOM}.record_doubts", RecordFlags, doubts, as_of)
    litres, unknown = ledger.sessions.select(
        pl.col("burn_l").sum(), unknown=(pl.col("burn_l") * pl.col("unknown_share")).sum()
    ).row(0)
    return dg.MaterializeResult(
        metadata={
            **rows(ledger.sessions.height),
            "litres_burned": round(litres),
            "litres_of_unknown_octane": round(unknown),
            "tanks": table(ledger.balance),
            "hulls_out_of_balance": doubts.height,
        }
    )


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=[session_fuel]
)
def session_exposure(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Octane supplied against octane needed in hard running, one row per rental."""
    as_of = shop.as_of(context.partition_key)
    exposure = exposure_of(
        warehouse.read_week(f"{ROOM}.session_fuel", SessionFuel, as_of),
        warehouse.read_week("shop_records.engine_sessions", EngineSessions, as_of),
        shop.assumptions(),
    )
    warehouse.write_week(f"{ROOM}.session_exposure", SessionExposure, exposure, as_of)
    below = exposure.filter(pl.col("shortfall_on") > 0).height
    return dg.MaterializeResult(
        metadata={
            **rows(exposure.height),
            "rentals_below_need": below,
            "below_need_by_month": picture(
                below_need_picture(exposure), "Share of rentals below need, month by month"
            ),
        }
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"python"},
    deps=[session_exposure, piston_lives],
)
def week_fuel(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.Output[WeekFuel]:
    """What each dock holds and sold and what each tank went through of late, for the pages.

    The ledger is run again: its events are many, and cheaper to make than to keep.
    """
    as_of = shop.as_of(context.partition_key)
    fuel = week_fuel_of(
        known_by(warehouse.read_records(), as_of),
        warehouse.read_week("shop_records.engine_sessions", EngineSessions, as_of),
        warehouse.read_week(f"{ROOM}.session_exposure", SessionExposure, as_of),
        warehouse.read_week("shop_records.piston_lives", PistonLives, as_of),
        as_of,
        shop.assumptions(),
    )
    sold, below = fuel.docks.select(pl.col("sold_l").sum(), pl.col("sold_below_need_l").sum()).row(
        0
    )
    return dg.Output(
        fuel,
        metadata={
            "litres_sold": round(sold),
            "litres_sold_below_need": round(below),
            "docks": table(fuel.docks.drop("below_need")),
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[session_exposure, piston_lives],
)
def spells(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Stretches of piston-set lives with the exposure before each, one row per stretch."""
    as_of = shop.as_of(context.partition_key)
    exposure = warehouse.read_week(f"{ROOM}.session_exposure", SessionExposure, as_of)
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    stretches = spells_of(exposure, lives, shop.assumptions())
    warehouse.write_week(f"{ROOM}.spells", Spells, stretches, as_of)
    return dg.MaterializeResult(
        metadata={
            **rows(stretches.height),
            "engine_hours": round((stretches["stop_h"] - stretches["start_h"]).sum()),
            "failures": stretches["mode"].count(),
        }
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[session_exposure, piston_lives],
)
def current_exposure(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """The exposure of each running piston set as it stands, one row per set."""
    as_of = shop.as_of(context.partition_key)
    exposure = warehouse.read_week(f"{ROOM}.session_exposure", SessionExposure, as_of)
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    now = exposure_now(exposure, lives, shop.assumptions())
    warehouse.write_week(f"{ROOM}.current_exposure", CurrentExposure, now, as_of)
    return dg.MaterializeResult(metadata=rows(now.height))
