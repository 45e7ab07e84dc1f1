"""Checks on the weekly tables: each keeps its contract, and the records are not old."""

from datetime import datetime

import dagster as dg
import dataframely as dy
import polars as pl

from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.fleet_risk import dock_comparison
from pipelines.fuel_exposure import current_exposure, session_exposure, session_fuel, spells
from pipelines.fuel_rules import fuel_rules
from pipelines.resources import ShopFolders
from pipelines.score import challenger_chances
from pipelines.service_week import week_decisions, week_tables
from pipelines.shop_records import (
    bench_verdicts,
    engine_sessions,
    hour_line,
    octane_scales,
    piston_lives,
    record_doubts,
    record_quality,
)
from ringland.contracts.decision_tables import HullCalls
from ringland.contracts.fuel_tables import CurrentExposure, SessionExposure, SessionFuel, Spells
from ringland.contracts.record_tables import (
    BenchVerdicts,
    EngineSessions,
    HourLine,
    OctaneScaleChances,
    PistonLives,
    RecordFlags,
    RecordQuality,
)
from ringland.contracts.risk_tables import HullChances, HullDrivers
from ringland.decision.season_rules import SeasonRuleOutcomes
from ringland.risk.dock_comparison import DockRows
from ringland.score.challenger import ChallengerChances

CONTRACTS: list[tuple[dg.AssetsDefinition, str, type[dy.Schema]]] = [
    (engine_sessions, "shop_records.engine_sessions", EngineSessions),
    (piston_lives, "shop_records.piston_lives", PistonLives),
    (bench_verdicts, "shop_records.bench_verdicts", BenchVerdicts),
    (record_quality, "shop_records.record_quality", RecordQuality),
    (hour_line, "shop_records.hour_line", HourLine),
    (octane_scales, "shop_records.octane_scales", OctaneScaleChances),
    (record_doubts, "shop_records.record_doubts", RecordFlags),
    (session_fuel, "fuel_exposure.session_fuel", SessionFuel),
    (session_exposure, "fuel_exposure.session_exposure", SessionExposure),
    (spells, "fuel_exposure.spells", Spells),
    (current_exposure, "fuel_exposure.current_exposure", CurrentExposure),
    (week_tables, "service_week.hull_chances", HullChances),
    (week_tables, "service_week.hull_drivers", HullDrivers),
    (week_decisions, "service_week.hull_calls", HullCalls),
    (fuel_rules, "service_week.fuel_rules", SeasonRuleOutcomes),
    (dock_comparison, "fleet_risk.dock_comparison", DockRows),
    (challenger_chances, "fleet_risk.challenger_chances", ChallengerChances),
]
"""Which asset writes which table of the week, and what its rows keep to."""


def contract_result(
    warehouse: DuckDBWarehouse, table: str, schema: type[dy.Schema], as_of: datetime
) -> dg.AssetCheckResult:
    """Whether every row that a table holds for a week passes the rules of its contract."""
    rows = warehouse.week_rows(table, as_of)
    faults = schema.filter(rows.select(schema.column_names()), cast=True).failure.counts()
    return dg.AssetCheckResult(
        passed=not faults, metadata={"rows": rows.height, "faults": dg.MetadataValue.json(faults)}
    )


def freshness_result(
    warehouse: DuckDBWarehouse, as_of: datetime, limit_d: float
) -> dg.AssetCheckResult:
    """Whether the newest rental known at a week is at most `limit_d` days old."""
    rows = warehouse.week_rows("shop_records.engine_sessions", as_of)
    age_d = rows.select((pl.lit(as_of) - pl.col("ended_at").max()).dt.total_days()).item()
    return dg.AssetCheckResult(
        passed=age_d is not None and age_d <= limit_d,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={
            "days_since_newest_rental": -1 if age_d is None else age_d,
            "remedy": "load the newer records; outside the season this is as expected",
        },
    )


def _contract_check(
    asset: dg.AssetsDefinition, table: str, schema: type[dy.Schema]
) -> dg.AssetChecksDefinition:
    @dg.asset_check(
        asset=asset,
        name=f"{table.split('.')[1]}_keep_their_contract",
        description=f"Every row of {table} for the week passes the rules of its contract.",
        blocking=True,
    )
    def check(
        context: dg.AssetCheckExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
    ) -> dg.AssetCheckResult:
        return contract_result(warehouse, table, schema, shop.as_of(context.partition_key))

    return check


contract_checks = [_contract_check(*contract) for contract in CONTRACTS]


@dg.asset_check(asset=engine_sessions)
def records_are_fresh(
    context: dg.AssetCheckExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.AssetCheckResult:
    """The newest rental lies within the days over which expected use is looked back."""
    limit_d = shop.assumptions().number("record.recent_sessions_d")
    return freshness_result(warehouse, shop.as_of(context.partition_key), limit_d)
