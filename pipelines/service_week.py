"""Assets of the room `service_week`: chances, calls and the plan of the week."""

from datetime import datetime
from pathlib import Path

import dagster as dg
import numpy as np
import polars as pl

from pipelines.asset_figures import rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import current_exposure, session_exposure, session_fuel
from pipelines.home import Home
from pipelines.resources import ShopFolders
from pipelines.shop_records import bench_verdicts, piston_lives
from pipelines.shop_week import shop_catalogue, shop_week
from pipelines.weeks import WEEKS
from ringland.contracts.decision_tables import HullCalls
from ringland.contracts.fuel_tables import CurrentExposure, SessionExposure, TanksNow
from ringland.contracts.record_tables import BenchVerdicts, PistonLives
from ringland.contracts.risk_tables import HullChances, HullDrivers
from ringland.decision.action_catalogue import NOTHING
from ringland.decision.horizons import season_end
from ringland.decision.standing_rules import GivenOut, standing_from
from ringland.decision.week_decisions import WeekDecisions, make_week_decisions
from ringland.decision.week_tables import WeekTables, make_week_tables
from ringland.history.known_then import known_by
from ringland.risk.fleet_hazard import FleetFits
from ringland.words.manner import in_manner

ROOM = "service_week"
PLAY_SEED = 19140629  # any fixed number: the same week must play the same season


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[session_fuel, session_exposure, current_exposure, bench_verdicts],
    ins={"fleet_fits": dg.AssetIn(key_prefix="fleet_risk")},
)
def week_tables(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[WeekTables]:
    """Where each hull in service stands: its set, chance and drivers, one row per hull."""
    as_of = shop.as_of(context.partition_key)
    exposure_now = warehouse.read_week("fuel_exposure.current_exposure", CurrentExposure, as_of)
    with in_manner(shop.manner()):  # its sentences carry figures
        tables = make_week_tables(
            records=known_by(warehouse.read_records(), as_of),
            exposure=warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
            exposure_now=exposure_now,
            tanks=warehouse.read_week("fuel_exposure.tanks_now", TanksNow, as_of),
            bench=warehouse.read_week("shop_records.bench_verdicts", BenchVerdicts, as_of),
            fits=fleet_fits,
            as_of=as_of,
            assumptions=shop.assumptions(),
        )
    warehouse.write_week(f"{ROOM}.hull_chances", HullChances, tables.chances, as_of)
    warehouse.write_week(f"{ROOM}.hull_drivers", HullDrivers, tables.drivers, as_of)
    return dg.Output(
        tables,
        metadata={
            **rows(tables.running.height),
            "with_a_chance": tables.running["why_not"].null_count(),
        },
    )


def given_out(warehouse: DuckDBWarehouse, as_of: datetime) -> pl.DataFrame:
    """`GivenOut`: what the list of every earlier week gave each hull."""
    rows = warehouse.read_earlier(f"{ROOM}.hull_calls", HullCalls, as_of, ["hull_id", "action"])
    rows = rows.rename({"action": "option"})
    return GivenOut.validate(rows, cast=True)


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[piston_lives],
    ins={
        "fleet_fits": dg.AssetIn(key_prefix="fleet_risk"),
        "week_tables": dg.AssetIn(key_prefix=ROOM),
    },
)
def week_decisions(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
    week_tables: WeekTables,
) -> dg.Output[WeekDecisions]:
    """The week's plan within its room, and from it one call and one action per hull.

    What earlier weeks' lists gave out and still holds is known to it.
    """
    as_of = shop.as_of(context.partition_key)
    settings = shop.assumptions()
    home = Home(Path(shop.home))
    catalogue = shop_catalogue(home, settings)
    own = shop_week(
        home,
        shop.on_our_clock(as_of).date(),
        catalogue=catalogue,
        hulls=warehouse.read_records()["hulls"]["hull_id"].to_list(),
        settings=settings,
    )
    with in_manner(shop.manner()):  # the plan gives its reasons with figures
        decisions = make_week_decisions(
            tables=week_tables,
            fits=fleet_fits,
            lives=warehouse.read_week("shop_records.piston_lives", PistonLives, as_of),
            catalogue=catalogue,
            limits=own.limits,
            changes=own.changes,
            as_of=as_of,
            season_ends_at=season_end(shop.on_our_clock(as_of), settings),
            assumptions=settings,
            rng=np.random.default_rng(PLAY_SEED),
            standing=standing_from(given_out(warehouse, as_of), catalogue, as_of),
        )
    warehouse.write_week(f"{ROOM}.hull_calls", HullCalls, decisions.calls, as_of)
    facts = rows(decisions.calls.height)
    facts["calls"] = table(decisions.calls["call"].value_counts(sort=True))
    if decisions.plan is not None:
        plan = decisions.plan
        facts |= {
            "planned": dg.MetadataValue.int(plan.rows.filter(pl.col("option") != NOTHING).height),
            "total_cost": dg.MetadataValue.float(plan.total_cost),
            "cost_of_nothing": dg.MetadataValue.float(plan.cost_of_nothing),
            "to_order": dg.MetadataValue.json(dict(plan.to_order)),
            "jobs": table(
                plan.rows.filter(pl.col("option") != NOTHING).select(
                    "hull_id", "option", "expected_cost", "saving", "given_up"
                )
            ),
        }
    return dg.Output(decisions, metadata=facts)
