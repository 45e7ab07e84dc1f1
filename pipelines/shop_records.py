"""Assets of the room `shop_records`: record files into tables, then engine hours and lives."""

import dagster as dg
import polars as pl

from pipelines.asset_figures import rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.mended_loading import load_corrections, load_mended
from pipelines.record_loading import FileCount, load_kind
from pipelines.resources import ShopFolders
from pipelines.row_accounting import (
    all_set_aside,
    inert,
    rows_unaccounted,
    set_aside_rows,
)
from pipelines.source_files import record_files
from pipelines.weeks import WEEKS
from ringland.bench.bench_station import station_pressures
from ringland.bench.bench_tests import judge_bench_tests
from ringland.contracts.record_kinds import CORRECTIONS, RECORD_KINDS, RecordKind
from ringland.contracts.record_tables import (
    BenchVerdicts,
    EngineSessions,
    HourLine,
    OctaneScaleChances,
    PistonLives,
    RecordFlags,
    RecordQuality,
)
from ringland.fuel.octane_scale import scale_chances
from ringland.history.engine_history import piston_lives as lives_of
from ringland.history.engine_history import unplaced_failures
from ringland.history.hour_line import hour_line as line_of
from ringland.history.hour_line import key_on_flags
from ringland.history.hour_meter import engine_sessions as sessions_of
from ringland.history.known_then import known_by
from ringland.history.record_doubts import record_doubts as doubts_of
from ringland.history.record_quality import record_quality as quality_of
from ringland.intake.mend_book import mend_workbook
from ringland.words.manner import in_manner

ROOM = "shop_records"


def _key(kind: str) -> dg.AssetKey:
    return dg.AssetKey([ROOM, kind])


def counts_table(counts: list[FileCount]) -> dg.MetadataValue:
    """The row accounting of some files as a Markdown table."""
    lines = [
        "| file | in | new | already there | set aside | mended | notes |",
        "|---|--:|--:|--:|--:|--:|---|",
    ]
    lines += [
        f"| {count.file_name} | {count.rows_in} | {count.rows_new} "
        f"| {count.rows_already_there} | {count.rows_set_aside} | {count.rows_mended} "
        f"| {count.notes} |"
        for count in counts
    ]
    return dg.MetadataValue.md("\n".join(lines))


def _record_asset(kind: RecordKind) -> dg.AssetsDefinition:
    @dg.asset(
        name=kind.name,
        key_prefix=ROOM,
        group_name=ROOM,
        kinds={"duckdb"},
        deps=sorted({_key(referred) for referred in kind.refers_to.values()}),
        description=(kind.schema.__doc__ or "").strip(),
    )
    def load(warehouse: DuckDBWarehouse, shop: ShopFolders) -> dg.MaterializeResult:
        counts = load_kind(warehouse, shop.raw, kind.name, shop.incoming, shop.mappings)
        return _result([*counts, *load_mended(warehouse, shop.raw, kind.name, shop.incoming)])

    return load


def _result(counts: list[FileCount]) -> dg.MaterializeResult:
    return dg.MaterializeResult(
        metadata={
            "files": counts_table(counts),
            "rows_in": sum(count.rows_in for count in counts),
            "rows_new": sum(count.rows_new for count in counts),
            "rows_already_there": sum(count.rows_already_there for count in counts),
            "rows_set_aside": sum(count.rows_set_aside for count in counts),
            "rows_mended": sum(count.rows_mended for count in counts),
            "counts": dg.MetadataValue.json([vars(count) for count in counts]),
        }
    )


record_assets = [_record_asset(kind) for kind in RECORD_KINDS.values()]


EVERY_KIND = [_key(kind) for kind in RECORD_KINDS]
ALL_RECORDS = [*EVERY_KIND, _key(CORRECTIONS.name)]


@dg.asset(key_prefix=ROOM, group_name=ROOM, kinds={"duckdb"}, deps=EVERY_KIND)
def corrections(warehouse: DuckDBWarehouse, shop: ShopFolders) -> dg.MaterializeResult:
    """Records put right or taken back later, one row per corrected cell."""
    counts = load_corrections(warehouse, shop.raw, shop.incoming)
    mended = load_mended(warehouse, shop.raw, CORRECTIONS.name, shop.incoming)
    return _result([*counts, *mended])


@dg.asset(key_prefix=ROOM, group_name=ROOM, kinds={"csv", "xlsx"}, deps=ALL_RECORDS)
def set_aside(warehouse: DuckDBWarehouse, shop: ShopFolders) -> dg.MaterializeResult:
    """Rows to mend, one per fault, with the remedy; also as set-aside.csv and set-aside.xlsx."""
    aside = set_aside_rows(warehouse)
    shop.mend_book.write_bytes(mend_workbook(all_set_aside(warehouse)))
    inert(aside).write_csv(shop.set_aside_file)
    by_fault = aside.group_by("kind", "fault").len().sort("len", "fault", descending=[True, False])
    return dg.MaterializeResult(
        metadata={
            **rows(aside.select("source_file", "source_row").n_unique()),
            "file": dg.MetadataValue.path(str(shop.set_aside_file)),
            "commonest": table(by_fault),
        }
    )


@dg.asset_check(asset=set_aside, blocking=True)
def every_row_is_loaded_or_set_aside(warehouse: DuckDBWarehouse) -> dg.AssetCheckResult:
    """Each file's rows in equal rows loaded plus rows set aside, in the tables themselves."""
    wrong = rows_unaccounted(warehouse)
    return dg.AssetCheckResult(passed=not wrong, metadata={"wrong": "; ".join(wrong) or "none"})


_UNREAD_SHEETS = (".xls", ".xlsm", ".xlsb", ".ods", ".numbers", ".html", ".htm", ".zip", ".gz")
"""Endings of files that probably hold records but are not read."""


@dg.asset_check(asset=set_aside)
def every_record_file_can_be_read(shop: ShopFolders) -> dg.AssetCheckResult:
    """No spreadsheet in the records folder was passed over because of its format."""
    unread = sorted(
        path.name for path in shop.incoming.iterdir() if path.suffix.lower() in _UNREAD_SHEETS
    )
    return dg.AssetCheckResult(
        passed=not unread,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={
            "passed_over": ", ".join(unread) or "none",
            "remedy": "open it in a spreadsheet program and save it as .xlsx or CSV",
        },
    )


@dg.asset_check(asset=set_aside)
def every_file_has_a_known_kind(shop: ShopFolders) -> dg.AssetCheckResult:
    """No file in the records folder was passed over because of its name."""
    strangers = [path.name for path in record_files(shop.incoming, None, shop.mappings)]
    return dg.AssetCheckResult(
        passed=not strangers,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={
            "passed_over": ", ".join(strangers) or "none",
            "remedy": f"begin the file name with one of: {', '.join(RECORD_KINDS)}; "
            f"or describe the file: ringland draft FILE",
        },
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=ALL_RECORDS,
)
def engine_sessions(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Rentals known at the as-of week with their engine and its hours, one row per rental."""
    as_of = shop.as_of(context.partition_key)
    sessions, flags = sessions_of(known_by(warehouse.read_records(), as_of), shop.assumptions())
    warehouse.write_week(f"{ROOM}.engine_sessions", EngineSessions, sessions, as_of)
    warehouse.write_week(f"{ROOM}.record_flags", RecordFlags, flags, as_of)
    return dg.MaterializeResult(
        metadata={
            **rows(sessions.height),
            "flags": flags.height,
            "newest_session": str(sessions["ended_at"].max()),
        }
    )


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=[engine_sessions]
)
def piston_lives(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Lives known at the as-of week, one row per piston set."""
    as_of = shop.as_of(context.partition_key)
    sessions = warehouse.read_week(f"{ROOM}.engine_sessions", EngineSessions, as_of)
    lives = lives_of(known_by(warehouse.read_records(), as_of), sessions, as_of)
    warehouse.write_week(f"{ROOM}.piston_lives", PistonLives, lives, as_of)
    return dg.MaterializeResult(
        metadata={
            **rows(lives.height),
            "failures": int((lives["state"] == "failed").sum()),
            "by_mode": table(lives["mode"].drop_nulls().value_counts(sort=True)),
        }
    )


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=ALL_RECORDS
)
def bench_verdicts(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Each inspection reading against its limit, one row per reading."""
    as_of = shop.as_of(context.partition_key)
    records = known_by(warehouse.read_records(), as_of)
    station = station_pressures(
        records["inspections"], records["installations"], records["hulls"], records["docks"]
    )
    with in_manner(shop.manner()):  # verdicts give their reasons with figures
        verdicts = judge_bench_tests(records["inspections"], records["engines"], station)
    warehouse.write_week(f"{ROOM}.bench_verdicts", BenchVerdicts, verdicts, as_of)
    counted = verdicts.group_by("measure", "verdict").len().sort("measure", "verdict")
    return dg.MaterializeResult(metadata={**rows(verdicts.height), "verdicts": table(counted)})


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=ALL_RECORDS
)
def hour_line(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Hours of each hull along its meters and by its rentals, one row per good reading."""
    as_of = shop.as_of(context.partition_key)
    line = line_of(known_by(warehouse.read_records(), as_of))
    warehouse.write_week(f"{ROOM}.hour_line", HourLine, line, as_of)
    return dg.MaterializeResult(
        metadata={**rows(line.height), "repairs": line["repair"].drop_nulls().len()}
    )


@dg.asset(
    key_prefix=ROOM,
    group_name=ROOM,
    partitions_def=WEEKS,
    kinds={"duckdb"},
    deps=[hour_line, bench_verdicts, engine_sessions],
)
def record_doubts(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Records that do not fit each other, one row per doubt."""
    as_of = shop.as_of(context.partition_key)
    line = warehouse.read_week(f"{ROOM}.hour_line", HourLine, as_of)
    verdicts = warehouse.read_week(f"{ROOM}.bench_verdicts", BenchVerdicts, as_of)
    sessions = warehouse.read_week(f"{ROOM}.engine_sessions", EngineSessions, as_of)
    records = known_by(warehouse.read_records(), as_of)
    doubts = pl.concat(
        [
            doubts_of(records, verdicts, shop.assumptions()),
            key_on_flags(line, shop.assumptions()),
            unplaced_failures(records, sessions),
        ]
    )
    warehouse.write_week(f"{ROOM}.record_doubts", RecordFlags, doubts, as_of)
    by_flag = doubts["flag"].value_counts(sort=True)
    return dg.MaterializeResult(metadata={**rows(doubts.height), "by_flag": table(by_flag)})


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=ALL_RECORDS
)
def octane_scales(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """Octane numbers without a scale and the chance of each, one row per fill or delivery."""
    as_of = shop.as_of(context.partition_key)
    chances = scale_chances(known_by(warehouse.read_records(), as_of), shop.assumptions())
    warehouse.write_week(f"{ROOM}.octane_scales", OctaneScaleChances, chances, as_of)
    return dg.MaterializeResult(metadata=rows(chances.height))


@dg.asset(
    key_prefix=ROOM, group_name=ROOM, partitions_def=WEEKS, kinds={"duckdb"}, deps=[engine_sessions]
)
def record_quality(
    context: dg.AssetExecutionContext, warehouse: DuckDBWarehouse, shop: ShopFolders
) -> dg.MaterializeResult:
    """How much of what each hull did is on record, one row per hull in service."""
    as_of = shop.as_of(context.partition_key)
    sessions = warehouse.read_week(f"{ROOM}.engine_sessions", EngineSessions, as_of)
    quality = quality_of(known_by(warehouse.read_records(), as_of), sessions, as_of)
    warehouse.write_week(f"{ROOM}.record_quality", RecordQuality, quality, as_of)
    return dg.MaterializeResult(metadata=rows(quality.height))
