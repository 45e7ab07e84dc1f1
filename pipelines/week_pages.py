"""Assets of the room `week_pages`: the week's report as pages, list, tables and mail."""

import shutil
from datetime import datetime
from pathlib import Path, PurePosixPath

import dagster as dg
import polars as pl

from pipelines.asset_figures import table
from pipelines.duckdb_warehouse import DuckDBWarehouse, warehouse_at
from pipelines.fleet_risk import dock_comparison
from pipelines.fuel_exposure import session_exposure, session_fuel, spells
from pipelines.resources import ShopFolders
from pipelines.row_accounting import changes_since, row_accounting, set_aside_rows
from pipelines.shop_records import (
    bench_verdicts,
    hour_line,
    octane_scales,
    piston_lives,
    record_doubts,
    record_quality,
)
from pipelines.versions import report_versions
from pipelines.weeks import WEEKS
from ringland.contracts.fuel_tables import SessionExposure, Spells
from ringland.contracts.record_tables import (
    BenchVerdicts,
    HourLine,
    OctaneScaleChances,
    PistonLives,
    RecordFlags,
    RecordQuality,
)
from ringland.decision.horizons import season_end
from ringland.decision.season_rules import SeasonRules
from ringland.decision.week_decisions import (
    WeekDecisions,
)
from ringland.decision.week_tables import WeekTables
from ringland.exposure.week_fuel import WeekFuel
from ringland.history.known_then import known_by
from ringland.pages.lineage.effect_lineage import sets_behind
from ringland.pages.papers.week_bundle import week_bundle
from ringland.pages.site.proof_pages import FleetProof
from ringland.pages.site.report_page import build_site
from ringland.pages.week.past_calls import PastCalls
from ringland.pages.week.week_records import Restated, WeekRecords, left_out_readings
from ringland.pages.week.week_report import (
    WEEK_LIST_HEADINGS,
    WeekReport,
    make_week_report,
    week_list_lines,
)
from ringland.risk.dock_comparison import DockRows
from ringland.risk.fleet_evidence import FleetEvidence
from ringland.risk.fleet_hazard import FleetFits
from ringland.score.model_card import ModelCard
from ringland.score.score_history import ScoreHistory

ROOM = "week_pages"
BUNDLE = "ringland-week-{week}.zip"
"""All of a week's pages in one file, beside their folder: in it they would be there twice."""
RESTATED = "-restated"
"""What the folder of a restated week's pages ends in, so that the week as it was known stays."""


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"html"},
    deps=[
        session_fuel,
        session_exposure,
        bench_verdicts,
        record_quality,
        record_doubts,
        hour_line,
        octane_scales,
        spells,
        piston_lives,
        dock_comparison,
    ],
    ins={
        "fleet_fits": dg.AssetIn(key_prefix="fleet_risk"),
        "evidence": dg.AssetIn(key_prefix="fleet_risk"),
        "week_tables": dg.AssetIn(key_prefix="service_week"),
        "week_decisions": dg.AssetIn(key_prefix="service_week"),
        "week_fuel": dg.AssetIn(key_prefix="fuel_exposure"),
        "cause_pages": dg.AssetIn(key_prefix="failure_causes"),
        "score": dg.AssetIn(key_prefix="fleet_risk"),
        "model_card": dg.AssetIn(key_prefix="fleet_risk"),
        "fuel_rules": dg.AssetIn(key_prefix="service_week"),
    },
)
def report(
    context: dg.AssetExecutionContext,
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    fleet_fits: FleetFits,
    evidence: FleetEvidence,
    week_tables: WeekTables,
    week_decisions: WeekDecisions,
    week_fuel: WeekFuel,
    cause_pages: dict[str, bytes],
    score: ScoreHistory,
    model_card: ModelCard,
    fuel_rules: SeasonRules,
) -> dg.MaterializeResult:
    """The week's pages and its list."""
    as_of = shop.as_of(context.partition_key)
    records = known_by(warehouse.read_records(), as_of)
    made = report_of(
        warehouse,
        shop,
        as_of,
        records,
        fleet_fits=fleet_fits,
        evidence=evidence,
        week_tables=week_tables,
        week_decisions=week_decisions,
    )
    state = week_records(warehouse, as_of, records)
    folder = shop.site / (context.partition_key + (RESTATED if state.restated else ""))
    proof = FleetProof(
        rules=fuel_rules,
        docks=warehouse.read_week("fleet_risk.dock_comparison", DockRows, as_of),
        card=model_card,
        sets=sets_behind(
            warehouse.read_week("shop_records.piston_lives", PistonLives, as_of),
            warehouse.read_week("fuel_exposure.spells", Spells, as_of),
            records,
        ),
    )
    site = build_site(
        made, beside=cause_pages, fuel=week_fuel, score=score, records=state, proof=proof
    )
    write_site(folder, site)
    bundle = shop.site / BUNDLE.format(week=folder.name)
    write_whole(bundle, week_bundle(site))
    return dg.MaterializeResult(
        metadata={
            "report": dg.MetadataValue.path(str(folder / "index.html")),
            "bundle": dg.MetadataValue.path(str(bundle)),
            "hulls": len(made.hulls),
            "first_of_the_list": table(
                pl.DataFrame(week_list_lines(made), list(WEEK_LIST_HEADINGS), orient="row")
            ),
            "files": table(site_sizes(site)),
            "not_assessed": len(made.not_assessed),
            "list": dg.MetadataValue.json(
                {"headings": list(WEEK_LIST_HEADINGS), "rows": week_list_lines(made)}
            ),
        }
    )


def week_records(
    warehouse: DuckDBWarehouse, as_of: datetime, records: dict[str, pl.DataFrame]
) -> WeekRecords:
    """The state of the records known at a week, and what changed if it is restated."""
    doubts = [
        warehouse.read_week(table, RecordFlags, as_of)
        for table in (
            "shop_records.record_doubts",
            "shop_records.record_flags",
            "fuel_exposure.record_doubts",
        )
    ]
    line = warehouse.read_week("shop_records.hour_line", HourLine, as_of)
    restated = None
    if warehouse.told_by:
        told_by = datetime.fromisoformat(warehouse.told_by)
        as_known = warehouse_at(Path(warehouse.database))
        restated = Restated(told_by, changes_since(as_known, as_of, told_by))
    return WeekRecords(
        set_aside=set_aside_rows(warehouse, as_of),
        doubts=pl.concat(doubts).unique(maintain_order=True),
        hour_line=line,
        left_out=left_out_readings(records["hour_readings"], line),
        octane_scales=warehouse.read_week("shop_records.octane_scales", OctaneScaleChances, as_of),
        quality=warehouse.read_week("shop_records.record_quality", RecordQuality, as_of),
        restated=restated,
    )


def earlier_calls(warehouse: DuckDBWarehouse, as_of: datetime) -> pl.DataFrame:
    """`PastCalls` of every week before `as_of` that was reported."""
    rows = warehouse.read(
        "select as_of, hull_id, call, action, chance_30d from service_week.hull_calls "
        "join service_week.hull_chances using (as_of, hull_id) where as_of < ? "
        "order by as_of, hull_id",
        [as_of],
    )
    return PastCalls.validate(rows, cast=True)


def report_of(
    warehouse: DuckDBWarehouse,
    shop: ShopFolders,
    as_of: datetime,
    records: dict[str, pl.DataFrame],
    *,
    fleet_fits: FleetFits,
    evidence: FleetEvidence,
    week_tables: WeekTables,
    week_decisions: WeekDecisions,
) -> WeekReport:
    """The week's report from what the assets before it left and the records known then."""
    settings = shop.assumptions()
    return make_week_report(
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
        past=earlier_calls(warehouse, as_of),
        season_ends_at=season_end(shop.on_our_clock(as_of), settings),
        manner=shop.manner(),
    )


def site_sizes(site: dict[str, bytes]) -> pl.DataFrame:
    """Files and megabytes of a site by folder and ending, the largest first."""
    rows = [
        {"kind": f"{path.parent}/*{path.suffix}" if path.parent.name else path.name, "b": len(text)}
        for path, text in ((PurePosixPath(name), text) for name, text in site.items())
    ]
    return (
        pl.DataFrame(rows)
        .group_by("kind")
        .agg(files=pl.len(), mb=(pl.col("b").sum() / 1e6).round(2))
        .sort("mb", "kind", descending=[True, False])
    )


def write_whole(path: Path, content: bytes) -> None:
    """Put a whole file in the place of an earlier one."""
    partial = path.with_name(path.name + ".partial")
    partial.write_bytes(content)
    partial.replace(path)


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
