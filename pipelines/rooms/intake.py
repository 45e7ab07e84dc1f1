"""Assets of the room `intake`: record files into the tables of the warehouse."""

import dagster as dg

from pipelines.asset_figures import rows, table
from pipelines.duckdb_warehouse import DuckDBWarehouse
from pipelines.mend_files import write_mend_book
from pipelines.mended_loading import load_corrections, load_mended
from pipelines.record_loading import load_kind
from pipelines.record_writing import FileCount
from pipelines.resources import ShopFolders
from pipelines.row_accounting import (
    all_set_aside,
    inert,
    rows_unaccounted,
    set_aside_rows,
)
from pipelines.source_files import record_files, unread_files
from pipelines.weekly.assets import on_page
from pipelines.whole_files import InUseError, free_name, write_whole
from ringland.contracts.record_kinds import CORRECTIONS, RECORD_KINDS, RecordKind
from ringland.intake.mend_book import mend_workbook

ROOM = "intake"
Warehouse = dg.ResourceParam[DuckDBWarehouse]


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
    def load(warehouse: Warehouse, shop: ShopFolders) -> dg.MaterializeResult:
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
def corrections(warehouse: Warehouse, shop: ShopFolders) -> dg.MaterializeResult:
    """Records put right or taken back later, one row per corrected cell."""
    counts = load_corrections(warehouse, shop.raw, shop.incoming)
    mended = load_mended(warehouse, shop.raw, CORRECTIONS.name, shop.incoming)
    return _result([*counts, *mended])


@dg.asset(key_prefix=ROOM, group_name=ROOM, kinds={"csv", "xlsx"}, deps=ALL_RECORDS)
def set_aside(warehouse: Warehouse, shop: ShopFolders) -> dg.MaterializeResult:
    """Rows to mend, one per fault, with the remedy; also as set-aside.csv and set-aside.xlsx."""
    aside = set_aside_rows(warehouse)
    book = write_mend_book(shop.mend_book, shop.raw, mend_workbook(all_set_aside(warehouse)))
    table_file = inert(aside).write_csv().encode()
    try:
        write_whole(shop.set_aside_file, table_file)
    except InUseError:  # open in a spreadsheet program; the workbook holds the same rows
        write_whole(free_name(shop.set_aside_file), table_file)
    by_fault = (
        aside.group_by("kind", "fault", maintain_order=True)
        .len()
        .sort("len", "fault", descending=[True, False])
    )
    return dg.MaterializeResult(
        metadata={
            **on_page(rows(aside.select("source_file", "source_row").n_unique())),
            "file": dg.MetadataValue.path(str(shop.set_aside_file)),
            "workbook": dg.MetadataValue.path(str(book)),
            **on_page({"commonest": table(by_fault)}),
        }
    )


@dg.asset_check(asset=set_aside, blocking=True)
def every_row_is_loaded_or_set_aside(warehouse: Warehouse) -> dg.AssetCheckResult:
    """Each file's rows in equal rows loaded plus rows set aside, in the tables themselves."""
    wrong = rows_unaccounted(warehouse)
    return dg.AssetCheckResult(passed=not wrong, metadata={"wrong": "; ".join(wrong) or "none"})


@dg.asset_check(asset=set_aside)
def every_record_file_can_be_read(shop: ShopFolders) -> dg.AssetCheckResult:
    """No file in the records folder was passed over because of its form."""
    unread = unread_files(shop.incoming)
    return dg.AssetCheckResult(
        passed=not unread,
        severity=dg.AssetCheckSeverity.WARN,
        metadata={name: dg.MetadataValue.text(why) for name, why in unread.items()},
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
