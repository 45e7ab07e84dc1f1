"""Does every row of every file stand in a table?  For the checks and for the report."""

from datetime import datetime

import duckdb
import polars as pl

from pipelines.duckdb_warehouse import DuckDBWarehouse, ensure_record_tables
from pipelines.refused_files import refused_files
from ringland.contracts.record_kinds import CORRECTIONS, RECORD_KINDS
from ringland.history.known_then import known_by, restated
from ringland.history.record_changes import what_changed


def rows_unaccounted(warehouse: DuckDBWarehouse) -> list[str]:
    """What does not add up between the files' counts and the tables, in words; empty: all does."""
    with warehouse.connect() as con:
        ensure_record_tables(con)
        return unaccounted(con)


def unaccounted(con: duckdb.DuckDBPyConnection) -> list[str]:
    """The same, of an open warehouse that has every table its files brought rows to."""
    loaded = con.sql(
        "select kind, sum(rows_new)::bigint from shop_records.files group by kind order by kind"
    ).fetchall()
    wrong = []
    for kind, counted in loaded:
        held = con.sql(f"select count(*) from shop_records.{kind}").fetchall()[0][0]
        if held != counted:
            wrong.append(f"{kind}: files brought {counted} rows, the table holds {held}")
    for name, counted, held in con.sql(
        "select file_name, rows_set_aside, "
        "count(distinct (source_file, source_row)) filter (source_row is not null) as held "
        "from shop_records.files left join shop_records.set_aside using (content_sha256, kind) "
        "group by all having rows_set_aside <> held order by file_name"
    ).fetchall():
        wrong.append(f"{name}: {counted} rows counted as set aside, {held} stand there")
    return wrong


def all_set_aside(warehouse: DuckDBWarehouse) -> pl.DataFrame:
    """The rows set aside as they stand: a `SetAside`, in the order of file and row."""
    with warehouse.connect() as con:
        ensure_record_tables(con)
    return warehouse.read(
        "select * exclude (content_sha256) from shop_records.set_aside "
        "order by kind, source_file, source_row, field, fault"
    )


def set_aside_rows(warehouse: DuckDBWarehouse, as_of: datetime | None = None) -> pl.DataFrame:
    """Rows and cells to mend, one per fault: kind, file, row, field, fault, remedy, value, ...

    The file and its row stand in source_file and source_row; `hull_id`, `filled_at` and
    `volume_l` are as written, null where the row names none.  A cell that its row was loaded
    without stands there until it is corrected.  A bad row that came with several exports
    stands once, at its last file.  Given `as_of`, a row whose own event time can be read and
    lies later is left out, as a loaded row would be.
    """
    with warehouse.connect() as con:
        ensure_record_tables(con)  # should nothing have been loaded
        refused = refused_files(con)
    rows = warehouse.read(
        "select distinct on (kind, raw_row, field, fault) "
        "kind, source_file, source_row, field, fault, remedy, value, raw_row "
        "from (select *, rowid as nth from shop_records.set_aside union all by name "
        "  select * exclude (record_key), rowid as nth from shop_records.lost_cells "
        "  anti join shop_records.corrections on record_kind = kind "
        "  and corrections.record_key = lost_cells.record_key "
        "  and coalesce(corrections.field, lost_cells.field) = lost_cells.field) "
        "order by kind, raw_row, field, fault, nth desc"
    ).sort("kind", "source_file", "source_row", "field", "fault")
    if as_of is not None:
        rows = rows.filter(_event_time().is_null() | (_event_time() <= as_of))
    is_whole = pl.col("raw_row").str.starts_with("{")  # a torn row is a list of its fields
    whole = pl.when(is_whole).then(pl.col("raw_row"))
    cells = {n: whole.str.json_path_match(f"$.{n}") for n in ("hull_id", "filled_at", "volume_l")}
    whole_files = refused.with_columns(source_row=pl.lit(0, pl.Int64)).select(
        "kind",
        pl.col("file_name").alias("source_file"),
        "source_row",
        field=pl.lit("the whole file"),
        fault="fault",
        remedy="remedy",
        value=pl.lit(None, pl.String),
        **dict.fromkeys(cells, pl.lit(None, pl.String)),
    )
    mendable: pl.DataFrame = rows.with_columns(**cells).drop("raw_row")
    return pl.concat([mendable, whole_files])


def _event_time() -> pl.Expr:
    """The event time written in a set-aside row; null where it cannot be read."""
    written = pl.lit(None, pl.String)
    for kind in RECORD_KINDS.values():
        if kind.event_time is not None:
            at = pl.col("raw_row").str.json_path_match(f"$.{kind.event_time}")
            written = pl.when(pl.col("kind") == kind.name).then(at).otherwise(written)
    return written.str.to_datetime("%+", time_zone="UTC", time_unit="us", strict=False)


def inert(rows: pl.DataFrame) -> pl.DataFrame:
    """The same with text that a spreadsheet would take for a formula marked as text."""
    return rows.with_columns(pl.col(pl.String).str.replace(r"^[=+\-@\t\r]", "'${0}"))


def changes_since(warehouse: DuckDBWarehouse, as_of: datetime, told_by: datetime) -> pl.DataFrame:
    """A `RecordChanges`: what is known at `told_by` of the time up to `as_of` that was not then."""
    records = warehouse.read_records()
    now = known_by(restated(records, told_by), as_of)
    return what_changed(known_by(records, as_of), now, records[CORRECTIONS.name])
