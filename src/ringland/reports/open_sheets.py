"""Which engines run on a rebuild whose build sheet is open.

A rebuild after a failure is judged as the failure's report judges it.  One that no failure
went before has no report; it is asked for what its own scope asks for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import timedelta
from typing import Any

import polars as pl

from ringland.bench.build_lines import BuildTime
from ringland.bench.build_sheet import build_sheet, readings_of_tests
from ringland.contracts.build_records import BuildReadings
from ringland.contracts.record_columns import EARLIEST_INSTANT
from ringland.contracts.record_tables import OpenSheets
from ringland.reports.cause_case import ShopRecord, altitude_of
from ringland.reports.cause_report import CauseReport


def open_sheets(shop: ShopRecord, reports: Iterable[CauseReport]) -> pl.DataFrame:
    """`OpenSheets`: the newest open sheet of each engine.

    Of an engine's rebuilds count the one after its last failure that a rebuild followed, and
    its last.  A failure without a rebuild is an open failure, not an open sheet.

    Args:
        shop: what the reports were made from.
        reports: as `cause_reports` returns them.
    """
    faults = {}
    for one in sorted(reports, key=lambda one: one.found_at):
        if one.rebuilt_at is not None:
            faults[one.engine_id] = (one.rebuilt_at, one.open_lines)
    rebuilds = shop.records["rebuilds"].sort("engine_id", "rebuilt_at")
    engines = {row["engine_id"]: row for row in shop.records["engines"].iter_rows(named=True)}
    for rebuild in rebuilds.group_by("engine_id", maintain_order=True).last().iter_rows(named=True):
        engine_id, rebuilt_at = rebuild["engine_id"], rebuild["rebuilt_at"]
        if engine_id not in engines or rebuilt_at <= faults.get(engine_id, (EARLIEST_INSTANT,))[0]:
            continue
        planned = _planned_faults(shop, engines[engine_id], rebuild)
        if planned:
            faults[engine_id] = (rebuilt_at, planned)
    rows = [
        (engine, rebuilt_at, len(own), own[0])
        for engine, (rebuilt_at, own) in sorted(faults.items())
        if own
    ]
    types = {name: column.dtype for name, column in OpenSheets.columns().items()}
    return OpenSheets.validate(pl.DataFrame(rows, schema=types, orient="row"))


def _planned_faults(
    shop: ShopRecord, engine: Mapping[str, Any], rebuild: Mapping[str, Any]
) -> tuple[str, ...]:
    """What keeps a rebuild open that no failure went before."""
    records, rebuilt_at = shop.records, rebuild["rebuilt_at"]
    begun = rebuilt_at - timedelta(days=shop.assumptions.number("rebuild.set_within_d"))
    readings = pl.concat(
        [
            records["build_readings"].select(BuildReadings.column_names()),
            readings_of_tests(records["inspections"]),
        ]
    )
    of_engine = shop.lives.filter(pl.col("engine_id") == engine["engine_id"]).sort("fitted_at")
    life = of_engine.row(-1, named=True) if of_engine.height else None
    sheet = build_sheet(
        engine,
        rebuild["scope"],
        BuildTime(begun, shop.as_of, altitude_of(records, life)),
        readings,
        records["build_limits"],
    )
    return sheet.open_lines
