"""The records' state for a spreadsheet: doubts with their remedies, rows set aside, changes."""

from __future__ import annotations

import polars as pl

from ringland.pages.exports.week_exports import as_shown, csv_bytes, workbook
from ringland.pages.week.week_records import WeekRecords
from ringland.pages.week.week_report import WeekReport
from ringland.words.doubt_words import DOUBT_LABELS


def record_exports(report: WeekReport, records: WeekRecords) -> dict[str, bytes]:
    """Every export by its path: each table as CSV, all of them as one workbook."""
    tables = {name: as_shown(table) for name, table in record_tables(report, records).items()}
    exports = {f"tables/{name}.csv": csv_bytes(table) for name, table in tables.items()}
    return exports | {"tables/records.xlsx": workbook(tables, report)}


def record_tables(report: WeekReport, records: WeekRecords) -> dict[str, pl.DataFrame]:
    """The tables by name; `record-changes` only for a restated week."""
    doubts = records.doubts.sort("noted_at", "flag", "sentence", descending=[True, False, False])
    tables = {
        "record-doubts": doubts.select(
            pl.col("noted_at").alias("when (UTC)"),
            pl.col("hull_id").alias("hull"),
            pl.col("engine_id").alias("engine"),
            pl.col("flag").replace_strict(DOUBT_LABELS).alias("doubt"),
            pl.col("sentence").alias("what does not fit"),
            pl.col("remedy").alias("what to do"),
            "record_kind",
            "record_key",
        ),
        "set-aside-rows": records.set_aside.select(
            "kind",
            pl.col("source_file").alias("file"),
            pl.col("source_row").alias("row"),
            pl.col("hull_id").alias("hull"),
            "field",
            "fault",
            "remedy",
            "value",
        ),
        "octane-scales": records.octane_scales.select(
            pl.col("kind"),
            pl.col("hull_id").alias("hull"),
            pl.col("dock_id").alias("dock"),
            pl.col("at").alias("when (UTC)"),
            pl.col("octane_unlabelled").alias("octane number, scale not known (ON)"),
            *(
                pl.col(f"chance_{scale}").alias(f"chance of {scale.upper()} (share of 1)")
                for scale in ("aki", "ron", "mon")
            ),
        ),
    }
    if report.restated is not None:
        tables["record-changes"] = report.restated.changes
    return tables
