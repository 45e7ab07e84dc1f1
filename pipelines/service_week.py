"""Assets of the room `service_week`: chances, calls and the pages."""

import shutil
from datetime import datetime
from pathlib import Path

import dagster as dg
import numpy as np
import polars as pl

from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import current_exposure, session_exposure
from pipelines.resources import ShopFolders
from pipelines.row_accounting import row_accounting
from pipelines.shop_records import bench_verdicts, piston_lives, record_quality
from pipelines.versions import report_versions
from pipelines.weeks import WEEKS, as_of_week
from ringland.fuel_exposure.tables import CurrentExposure, SessionExposure
from ringland.fuel_exposure.week_fuel import WeekFuel
from ringland.service_week.action_catalogue import NOTHING
from ringland.service_week.catalogue_file import default_catalogue
from ringland.service_week.fleet_evidence import FleetEvidence
from ringland.service_week.fleet_hazard import FleetFits
from ringland.service_week.horizons import season_end
from ringland.service_week.past_calls import PastCalls
from ringland.service_week.report_page import build_site
from ringland.service_week.tables import HullCalls, HullChances, HullDrivers
from ringland.service_week.week_bundle import week_bundle
from ringland.service_week.week_decisions import (
    WeekDecisions,
    default_limits,
    make_week_decisions,
)
from ringland.service_week.week_report import (
    WEEK_LIST_HEADINGS,
    make_week_report,
    week_list_lines,
)
from ringland.service_week.week_tables import WeekTables, make_week_tables
from ringland.shop_records.known_then import known_by
from ringland.shop_records.tables import BenchVerdicts, PistonLives, RecordQuality

ROOM = "service_week"
PLAY_SEED = 19140629  # any fixed number: the same week must play the same season
BUNDLE = "ringland-week.zip"


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[session_exposure, current_exposure, bench_verdicts],
    ins={"fleet_fits": dg.AssetIn(key_prefix="ring_survival")},
)
def week_tables(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[WeekTables]:
    """Chance, drivers and call of each hull in service, one row per hull."""
    as_of = as_of_week(context.partition_key)
    tables = make_week_tables(
        records=known_by(warehouse.read_records(), as_of),
        exposure=warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
        exposure_now=warehouse.read_week("fuel_exposure.current_exposure", CurrentExposure, as_of),
        bench=warehouse.read_week("shop_records.bench_verdicts", BenchVerdicts, as_of),
        fits=fleet_fits,
        as_of=as_of,
        assumptions=shop.assumptions(),
    )
    warehouse.write_week(f"{ROOM}.hull_chances", HullChances, tables.chances, as_of)
    warehouse.write_week(f"{ROOM}.hull_drivers", HullDrivers, tables.drivers, as_of)
    warehouse.write_week(f"{ROOM}.hull_calls", HullCalls, tables.calls, as_of)
    return dg.Output(
        tables,
        metadata={
            "hulls": tables.calls.height,
            "calls": dg.MetadataValue.json(tables.calls["call"].value_counts(sort=True).to_dicts()),
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"python"},
    deps=[piston_lives],
    ins={
        "fleet_fits": dg.AssetIn(key_prefix="ring_survival"),
        "week_tables": dg.AssetIn(key_prefix=ROOM),
    },
)
def week_decisions(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
    week_tables: WeekTables,
) -> dg.Output[WeekDecisions | None]:
    """Options, plan within the week's room, season's outlook and advice; none without a chance."""
    as_of = as_of_week(context.partition_key)
    settings = shop.assumptions()
    catalogue = default_catalogue(settings)
    decisions = make_week_decisions(
        running=week_tables.running,
        fits=fleet_fits,
        lives=warehouse.read_week("shop_records.piston_lives", PistonLives, as_of),
        inspections=known_by(warehouse.read_records(), as_of)["inspections"],
        prices=week_tables.prices,
        catalogue=catalogue,
        limits=default_limits(catalogue, settings),
        as_of=as_of,
        season_ends_at=season_end(as_of, settings),
        assumptions=settings,
        rng=np.random.default_rng(PLAY_SEED),
    )
    if decisions is None:
        return dg.Output(None, metadata={"plan": "none: no hull has a chance to plan on"})
    return dg.Output(
        decisions,
        metadata={
            "planned": decisions.plan.rows.filter(pl.col("option") != NOTHING).height,
            "total_cost": decisions.plan.total_cost,
            "cost_of_nothing": decisions.plan.cost_of_nothing,
            "to_order": dg.MetadataValue.json(dict(decisions.plan.to_order)),
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"html"},
    deps=[session_exposure, bench_verdicts, record_quality],
    ins={
        "fleet_fits": dg.AssetIn(key_prefix="ring_survival"),
        "evidence": dg.AssetIn(key_prefix="ring_survival"),
        "week_tables": dg.AssetIn(key_prefix=ROOM),
        "week_decisions": dg.AssetIn(key_prefix=ROOM),
        "week_fuel": dg.AssetIn(key_prefix="fuel_exposure"),
        "cause_pages": dg.AssetIn(key_prefix="failure_causes"),
    },
)
def report(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
    evidence: FleetEvidence,
    week_tables: WeekTables,
    week_decisions: WeekDecisions | None,
    week_fuel: WeekFuel,
    cause_pages: dict[str, bytes],
) -> dg.MaterializeResult:
    """The week's pages and its list."""
    as_of = as_of_week(context.partition_key)
    records = known_by(warehouse.read_records(), as_of)
    settings = shop.assumptions()
    made = make_week_report(
        as_of=as_of,
        is_demo=shop.is_demo,
        records=records,
        exposure=warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
        bench=warehouse.read_week("shop_records.bench_verdicts", BenchVerdicts, as_of),
        record_quality=warehouse.read_week("shop_records.record_quality", RecordQuality, as_of),
        tables=week_tables,
        fits=fleet_fits,
        evidence=evidence,
        row_accounting=row_accounting(warehouse, as_of),
        versions=report_versions(records),
        assumptions=settings,
        decisions=week_decisions,
        catalogue=default_catalogue(settings),
        past=earlier_calls(warehouse, as_of),
        season_ends_at=season_end(as_of, settings),
    )
    folder = shop.site / context.partition_key
    site = build_site(made, beside=cause_pages, fuel=week_fuel)
    write_site(folder, site | {BUNDLE: week_bundle(site)})
    return dg.MaterializeResult(
        metadata={
            "report": dg.MetadataValue.path(str(folder / "index.html")),
            "hulls": len(made.hulls),
            "not_assessed": len(made.not_assessed),
            "list": dg.MetadataValue.json(
                {"headings": list(WEEK_LIST_HEADINGS), "rows": week_list_lines(made)}
            ),
        }
    )


def earlier_calls(warehouse: DuckDBWarehouse, as_of: datetime) -> pl.DataFrame:
    """`PastCalls` of every week before `as_of` that was reported."""
    rows = warehouse.read(
        f"select as_of, hull_id, call, action, chance_30d from {ROOM}.hull_calls "
        f"join {ROOM}.hull_chances using (as_of, hull_id) where as_of < ? order by as_of, hull_id",
        [as_of],
    )
    return PastCalls.validate(rows, cast=True)


def write_site(folder: Path, site: dict[str, bytes]) -> None:
    """Put a whole site in the place of an earlier one."""
    fresh = folder.with_name(folder.name + ".new")
    shutil.rmtree(fresh, ignore_errors=True)
    for name, content in site.items():
        path = fresh / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    shutil.rmtree(folder, ignore_errors=True)
    fresh.rename(folder)
