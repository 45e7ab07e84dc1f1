"""The week's tables for a spreadsheet or another program: CSV, Parquet, XLSX.

Headings carry their units.  CSV and XLSX are for people: units, dates and decimal mark are
the shop's, and text that a spreadsheet would take for a formula is kept as text.  Parquet
is for programs: litres, UTC, values as they are.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Mapping
from datetime import datetime

import polars as pl
import xlsxwriter

from ringland.decision.jobs.call_lines import ahead_text, room_line
from ringland.pages.week.week_listing import jobs_text
from ringland.pages.week.week_report import WeekReport
from ringland.units import UNIT_NAMES
from ringland.words.fixed_words import DEMO_LABEL, FACTOR_LABELS
from ringland.words.manner import in_manner, manner
from ringland.words.shown_units import shown_factor, shown_unit
from ringland.words.state_words import STATE_SHORT

FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
"""What a spreadsheet takes for the start of a formula (after OWASP, 'CSV Injection')."""

COLUMN_W, HEADING_H = 18, 48

SHOWN_FIGURES = 9
"""Figures of a number in a table for people; Parquet holds what a double holds."""

HEADING_UNIT = re.compile(r"\(([^()]+)\)$")

SHEET_DATES = {
    "Mon 17 Aug 2026": "ddd d mmm yyyy",
    "Mon, Aug 17, 2026": "ddd, mmm d, yyyy",
    "Aug 17, 2026": "mmm d, yyyy",
    "17.08.2026": "dd.mm.yyyy",
    "2026-08-17": "yyyy-mm-dd",
}
INSTANT = pl.Datetime("us", "UTC")
SHEET_CLOCKS = {"14:05": "hh:mm", "2:05 pm": "h:mm AM/PM"}
"""The manner's forms of a day and a time in a spreadsheet's letters."""


def week_exports(
    report: WeekReport, more: Mapping[str, pl.DataFrame] | None = None
) -> dict[str, bytes]:
    """Every export by its path: each table as CSV and Parquet, all of them as one workbook.

    The same report gives the same bytes.

    Args:
        report: the week.
        more: tables made elsewhere that join the report's own, by name.
    """
    tables = export_tables(report) | dict(more or {})
    with in_manner(report.manner):
        for_people = {name: as_shown(table) for name, table in tables.items()}
        exports: dict[str, bytes] = {"tables/week.xlsx": workbook(for_people, report)}
        for name, table in for_people.items():
            exports[f"tables/{name}.csv"] = csv_bytes(table)
    for name, table in tables.items():
        exports[f"tables/{name}.parquet"] = _parquet(table)
    return exports


def as_shown(table: pl.DataFrame) -> pl.DataFrame:
    """The table in the units and on the clock of the manner in force, by its headings.

    A heading ends in its unit between brackets: litres become what is shown for litres,
    'UTC' the manner's zone; other units stay.  A number is written to `SHOWN_FIGURES` figures.
    """
    columns = []
    for name in table.columns:
        column, told = pl.col(name), HEADING_UNIT.search(name)
        unit = told[1] if told else ""
        if unit == "UTC":
            zone = manner().time_zone
            column = column.dt.convert_time_zone(zone).alias(HEADING_UNIT.sub(f"({zone})", name))
        elif unit in UNIT_NAMES and shown_unit(unit).unit != unit:
            other = shown_unit(unit).unit
            column = (column * shown_factor(unit)).alias(HEADING_UNIT.sub(f"({other})", name))
        if table.schema[name].is_float():
            column = column.round_sig_figs(SHOWN_FIGURES)
        columns.append(column)
    return table.select(columns)


def export_tables(report: WeekReport) -> dict[str, pl.DataFrame]:
    """The tables by name, headings with units."""
    return {
        "hulls": hull_table(report),
        "drivers": driver_table(report),
        "docks": dock_table(report),
        "options": option_prices(report),
    }


def hull_table(report: WeekReport) -> pl.DataFrame:
    """One row per hull: call, action, prices and chances; those not assessed last."""
    money, ahead = report.prices.currency, ahead_text(report.decisions.horizon_d)
    restated = report.restated
    rows = [
        {
            "as of (UTC)": report.as_of,
            "told by (UTC)": report.as_of if restated is None else restated.told_by,
            "data": DEMO_LABEL if report.is_demo else "records of the shop",
            "rank": sheet.call["rank"],
            "hull": sheet.hull_id,
            "dock": sheet.dock_id,
            "engine": sheet.state["engine_id"],
            "piston set": sheet.chance["piston_set_id"],
            "this week": STATE_SHORT[str(sheet.call["call"])],
            "state": sheet.call["says"],
            "reason": sheet.call["reason"],
            "do": None
            if sheet.call["action"] is None and not sheet.call["do"]
            else jobs_text(sheet, report),
            "let go by name": " ".join(sheet.released) or None,
            "octane need now (AKI)": sheet.at_hand.get("need_aki"),
            "in its dock's tank (AKI)": sheet.at_hand.get("dock_octane_aki"),
            "in its dock's tank, low (AKI)": sheet.at_hand.get("dock_octane_low_aki"),
            "in its own tank (AKI)": sheet.at_hand.get("own_octane_aki"),
            "in its own tank, low (AKI)": sheet.at_hand.get("own_octane_low_aki"),
            "in its own tank, mean age (d)": sheet.at_hand.get("own_fuel_age_d"),
            "waits for room": room_line(sheet.call, report.catalogue) or None,
            "decided by": sheet.call["decided_by"],
            f"cost of doing ({money})": sheet.call["action_cost"],
            f"cost of leaving it over {ahead} ({money})": sheet.call["cost_of_waiting"],
            f"expected saving ({money})": sheet.call["saving"],
            "engine hours on the set (h)": sheet.chance["age_h"],
            "expected use in 30 days (h)": sheet.chance["expected_h_30d"],
            **{
                f"chance of failure in {days} days{end} (share of 1)": sheet.chance[
                    f"chance_{days}d{column}"
                ]
                for days in (7, 30)
                for end, column in (("", ""), (", low", "_low"), (", high", "_high"))
            },
            "why no chance": sheet.chance["why_not"],
        }
        for sheet in report.hulls
    ]
    text, number = pl.String(), pl.Float64()
    kinds: dict[str, pl.DataType] = {
        "as of (UTC)": INSTANT,
        "told by (UTC)": INSTANT,
        "rank": pl.Int64(),
    }
    names = list(rows[0]) if rows else []
    schema = {name: kinds.get(name, number if "(" in name else text) for name in names}
    return pl.DataFrame(rows, schema=schema)


def driver_table(report: WeekReport) -> pl.DataFrame:
    """One row per hull and factor: its value, the fleet's middle, its part of the log hazard."""
    drivers = [row for sheet in report.hulls for row in sheet.drivers]
    schema = {
        "hull": pl.String(),
        "factor": pl.String(),
        "value (unit of the factor)": pl.Float64(),
        "fleet middle (unit of the factor)": pl.Float64(),
        "part of log hazard (natural log)": pl.Float64(),
        "rests on assumptions": pl.Boolean(),
    }
    rows = [
        (
            row["hull_id"],
            FACTOR_LABELS[str(row["factor"])],
            row["value"],
            row["fleet_middle"],
            row["log_hazard_part"],
            row["is_assumed"],
        )
        for row in drivers
    ]
    return pl.DataFrame(rows, schema=schema, orient="row")


def dock_table(report: WeekReport) -> pl.DataFrame:
    """One row per dock: the fuel its hulls burned of late against what they need."""
    return report.dock_fuel.select(
        pl.col("dock_id").alias("dock"),
        pl.col("n_hulls").alias("hulls that ran (count)"),
        pl.col("burned_l").alias("burned (l)"),
        pl.col("need_high_aki").alias("highest need (AKI)"),
        pl.col("below_need_share").alias("below need (share of 1)"),
        pl.col("shortfall_on").alias("mean shortfall below need (octane numbers)"),
        pl.col("fuel_age_d").alias("mean fuel age (d)"),
        pl.col("over_28d_share").alias("older than 28 d (share of 1)"),
        pl.col("oldest_fuel_d").alias("oldest mean age of a rental (d)"),
        pl.col("unknown_share").alias("not on record (share of 1)"),
        pl.col("level_l").alias("in the tank now (l)"),
        pl.col("octane_aki").alias("in the tank now (AKI)"),
        pl.col("octane_low_aki").alias("in the tank now, low (AKI)"),
        pl.col("octane_high_aki").alias("in the tank now, high (AKI)"),
        pl.col("fuel_age_now_d").alias("in the tank now, mean age (d)"),
    )


def option_prices(report: WeekReport) -> pl.DataFrame:
    """One row per hull and option: what the week's choice was made from."""
    money, short = report.prices.currency, report.catalogue.short
    plan = report.decisions.plan
    given = () if plan is None else plan.rows.select("hull_id", "option", "fuel_way").iter_rows()
    chosen = set(given)
    rows = report.decisions.options.with_columns(
        step=pl.col("option").map_elements(short, return_dtype=pl.String),
        is_chosen=pl.struct("hull_id", "option", "fuel_way").map_elements(
            lambda row: tuple(row.values()) in chosen, return_dtype=pl.Boolean
        ),
    )
    return rows.select(
        pl.col("hull_id").alias("hull"),
        "step",
        pl.col("is_chosen").alias("is this week's action"),
        pl.col("sure_cost").alias(f"paid for sure ({money})"),
        pl.col("expected_cost").alias(f"expected cost ({money})"),
        pl.col("cost_low").alias(f"expected cost, low ({money})"),
        pl.col("cost_high").alias(f"expected cost, high ({money})"),
        pl.col("saving").alias(f"saving against doing without ({money})"),
        pl.col("week_later").alias(f"expected cost if done a week later ({money})"),
        pl.col("change_cost").alias(f"to be gained beyond its price ({money})"),
        pl.col("fuel_way").alias("better fuel from"),
        pl.col("fuel_per_l").alias(f"better fuel, more a litre ({money}/l)"),
        pl.col("chance").alias("chance of an unplanned failure (share of 1)"),
        pl.col("mechanic_h").alias("mechanic hours (h)"),
        pl.col("lift_slots").alias("lift slots (count)"),
        pl.col("days_off").alias("days off the water (d)"),
        pl.col("chance_it_saves").alias("chance that it saves (share of 1)"),
    )


def csv_bytes(table: pl.DataFrame) -> bytes:
    """The table as CSV with a byte-order mark, so that a spreadsheet reads it as UTF-8.

    Where the decimal mark in force is a comma, cells are parted by semicolons, as
    spreadsheets there write and read them.
    """
    out = io.StringIO()
    has_comma = manner().decimal == ","
    writer = csv.writer(out, delimiter=";" if has_comma else ",", lineterminator="\r\n")
    writer.writerow([inert_cell(name) for name in table.columns])
    for row in table.iter_rows():
        writer.writerow([_csv_cell(value) for value in row])
    return ("\ufeff" + out.getvalue()).encode()


def inert_cell(text: str) -> str:
    """The text with an apostrophe before it where a spreadsheet would compute it."""
    return f"'{text}" if text.startswith(FORMULA_STARTS) else text


def workbook(tables: Mapping[str, pl.DataFrame], report: WeekReport) -> bytes:
    """All tables as sheets of one workbook; every text cell a text."""
    out = io.BytesIO()
    options = {
        "in_memory": True,
        "strings_to_formulas": False,
        "strings_to_urls": False,
        "strings_to_numbers": False,
        "nan_inf_to_errors": True,
    }
    with xlsxwriter.Workbook(out, options) as book:
        # The report's own instant stands for the clock's, so that bytes repeat.
        book.set_properties({"created": report.as_of.replace(tzinfo=None)})
        heading = book.add_format({"bold": True, "text_wrap": True, "valign": "top"})
        form = f"{SHEET_DATES[report.manner.date]} {SHEET_CLOCKS[report.manner.clock]}"
        instant = book.add_format({"num_format": form})
        for name, table in tables.items():
            sheet = book.add_worksheet(name)
            sheet.freeze_panes(1, 0)
            sheet.set_row(0, HEADING_H)
            for column, title in enumerate(table.columns):
                sheet.set_column(column, column, COLUMN_W)
                sheet.write_string(0, column, title, heading)
                for line, value in enumerate(table[title].to_list(), start=1):
                    if isinstance(value, str):
                        sheet.write_string(line, column, value)
                    elif isinstance(value, datetime):
                        # a cell holds no zone; the heading names it
                        sheet.write_datetime(line, column, value.replace(tzinfo=None), instant)
                    elif value is not None:
                        sheet.write(line, column, value)
            if table.height:
                sheet.autofilter(0, 0, table.height, table.width - 1)
    return out.getvalue()


def _csv_cell(value: object) -> object:
    if isinstance(value, str):
        return inert_cell(value)
    if isinstance(value, datetime):
        return value.isoformat().replace("+00:00", "Z")
    if isinstance(value, float):
        return repr(value).replace(".", manner().decimal)
    return "" if value is None else value


def _parquet(table: pl.DataFrame) -> bytes:
    out = io.BytesIO()
    table.write_parquet(out)
    return out.getvalue()
