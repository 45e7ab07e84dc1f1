"""Assets of the room `failure_causes`: why each engine broke, and what it must pass."""

import dagster as dg
import numpy as np
import polars as pl

from pipelines.asset_figures import table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fuel_exposure import session_exposure, spells
from pipelines.resources import ShopFolders
from pipelines.shop_records import bench_verdicts, piston_lives
from pipelines.versions import report_versions
from pipelines.weeks import WEEKS
from ringland.bench.bench_verdicts import default_bench_limits
from ringland.causes.cause_case import ShopRecord
from ringland.causes.cause_report import cause_reports
from ringland.causes.cause_table import default_cause_table
from ringland.causes.rebuild_comparison import builds_after_rebuild, compare_rebuilds
from ringland.contracts.fuel_tables import SessionExposure, Spells
from ringland.contracts.record_tables import BenchVerdicts, PistonLives
from ringland.decision.action_prices import prices
from ringland.history.known_then import known_by
from ringland.pages.causes.cause_pages import build_cause_site
from ringland.risk.fleet_hazard import FleetFits
from ringland.words.manner import in_manner

ROOM = "failure_causes"
DRAW_SEED = 19140628  # any fixed number: the same records must give the same draws


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"html"},
    deps=[piston_lives, session_exposure, spells, bench_verdicts],
    ins={"fleet_fits": dg.AssetIn(key_prefix="fleet_risk")},
)
def cause_pages(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
) -> dg.Output[dict[str, bytes]]:
    """A cause report and a rebuild sheet per failed engine, the bench form, does it pay."""
    as_of = shop.as_of(context.partition_key)
    records = known_by(warehouse.read_records(), as_of)
    assumptions = shop.assumptions()
    lives = warehouse.read_week("shop_records.piston_lives", PistonLives, as_of)
    shown = shop.manner()
    record = ShopRecord(
        as_of=as_of,
        is_demo=shop.is_demo,
        records=records,
        lives=lives,
        exposure=warehouse.read_week("fuel_exposure.session_exposure", SessionExposure, as_of),
        bench=warehouse.read_week("shop_records.bench_verdicts", BenchVerdicts, as_of),
        effects=fleet_fits.ring_land.effects(assumptions.number("survival.confidence")),
        prices=prices(records["costs"], as_of.year, assumptions),
        table=default_cause_table(),
        limits=default_bench_limits(),
        assumptions=assumptions,
        photos=shop.photos(),
        versions=report_versions(records),
    )
    builds, left_out = builds_after_rebuild(lives, records["rebuilds"], assumptions)
    comparison = compare_rebuilds(
        builds,
        warehouse.read_week("fuel_exposure.spells", Spells, as_of),
        assumptions,
        np.random.default_rng(DRAW_SEED),
    )
    with in_manner(shown):
        reports = cause_reports(record)
        pages = build_cause_site(record, reports, comparison, shown.paper)
    return dg.Output(
        pages,
        metadata={
            "reports": len(reports),
            "rebuilds_compared": builds.height,
            "rebuilds_left_out": dg.MetadataValue.json(list(left_out)),
            "newest": table(
                pl.DataFrame(
                    [
                        {
                            "engine": one.engine_id,
                            "found": f"{one.found_at:%Y-%m-%d}",
                            "in short": one.summary[1],
                        }
                        for one in sorted(reports, key=lambda one: one.found_at, reverse=True)
                    ],
                    schema={"engine": pl.String, "found": pl.String, "in short": pl.String},
                )
            ),
        },
    )
