"""How the sheets of engines' rebuilds stand: which is open, and what was let go.

A rebuild after a failure is judged as the failure's report judges it.  One that no failure
went before has no report; it is asked for what its own scope asks for.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.bench.build_lines import PASS, BuildTime
from ringland.bench.build_sheet import BuildSheet, build_sheet
from ringland.contracts.record_columns import EARLIEST_INSTANT
from ringland.contracts.record_tables import OpenSheets, SheetWaivers
from ringland.reports.cause_case import FailureSheet, ShopRecord, altitude_of

_Built = tuple[datetime, BuildSheet]


def open_sheets(shop: ShopRecord, sheets: Iterable[FailureSheet]) -> pl.DataFrame:
    """`OpenSheets`: the newest open sheet of each engine.

    Of an engine's rebuilds count the one after its last failure that a rebuild followed, and
    its last.  A failure without a rebuild is an open failure, not an open sheet.

    Args:
        shop: what the sheets were made from.
        sheets: as `failure_sheets` returns them.
    """
    after, planned = _after_failures(sheets), _planned(shop, sheets)
    rows = []
    for engine in sorted({*after, *planned}):
        built = [*after.get(engine, [])[-1:], *planned.get(engine, [])]
        standing = [(at, lines) for at, sheet in built if (lines := sheet.open_lines)]
        rows += [(engine, at, len(lines), lines[0]) for at, lines in standing[-1:]]
    return OpenSheets.validate(_typed(OpenSheets, rows))


def sheet_waivers(shop: ShopRecord, sheets: Iterable[FailureSheet]) -> pl.DataFrame:
    """`SheetWaivers`: every line that a named person let go, until a later sheet passes it.

    Args:
        shop: what the sheets were made from.
        sheets: as `failure_sheets` returns them.
    """
    after, planned = _after_failures(sheets), _planned(shop, sheets)
    rows: list[tuple[Any, ...]] = []
    for engine in sorted({*after, *planned}):
        let_go: dict[str, tuple[Any, ...]] = {}
        for rebuilt_at, sheet in [*after.get(engine, []), *planned.get(engine, [])]:
            for line in sheet.lines:
                if line.verdict == PASS:
                    let_go.pop(line.name, None)
                elif line.waiver:
                    let_go[line.name] = (engine, line.name, rebuilt_at, line.waiver)
        rows += let_go.values()
    return SheetWaivers.validate(_typed(SheetWaivers, rows))


def _after_failures(sheets: Iterable[FailureSheet]) -> dict[str, list[_Built]]:
    """By engine, the sheets of rebuilds after its failures, oldest first."""
    built: dict[str, list[_Built]] = {}
    for one in sorted(sheets, key=lambda one: one.found_at):
        if one.rebuilt_at is not None:
            built.setdefault(one.engine_id, []).append((one.rebuilt_at, one.build))
    return built


def _planned(shop: ShopRecord, sheets: Iterable[FailureSheet]) -> dict[str, list[_Built]]:
    """By engine, the sheet of its last rebuild where no failure went before it."""
    answered = {
        one.engine_id: one.rebuilt_at
        for one in sorted(sheets, key=lambda one: one.found_at)
        if one.rebuilt_at is not None
    }
    rebuilds = shop.records["rebuilds"].sort("engine_id", "rebuilt_at")
    engines = {row["engine_id"]: row for row in shop.records["engines"].iter_rows(named=True)}
    return {
        row["engine_id"]: [
            (row["rebuilt_at"], _planned_sheet(shop, engines[row["engine_id"]], row))
        ]
        for row in rebuilds.group_by("engine_id", maintain_order=True).last().iter_rows(named=True)
        if row["engine_id"] in engines
        and row["rebuilt_at"] > answered.get(row["engine_id"], EARLIEST_INSTANT)
    }


def _planned_sheet(
    shop: ShopRecord, engine: Mapping[str, Any], rebuild: Mapping[str, Any]
) -> BuildSheet:
    records, rebuilt_at = shop.records, rebuild["rebuilt_at"]
    begun = rebuilt_at - timedelta(days=shop.assumptions.number("rebuild.set_within_d"))
    of_engine = shop.lives.filter(pl.col("engine_id") == engine["engine_id"]).sort("fitted_at")
    life = of_engine.row(-1, named=True) if of_engine.height else None
    return build_sheet(
        engine,
        rebuild["scope"],
        BuildTime(begun, shop.as_of, altitude_of(records, life)),
        shop.built(engine["engine_id"]),
        records["build_limits"],
    )


def _typed(table: type[OpenSheets | SheetWaivers], rows: list[tuple[Any, ...]]) -> pl.DataFrame:
    types = {name: column.dtype for name, column in table.columns().items()}
    return pl.DataFrame(rows, schema=types, orient="row")
