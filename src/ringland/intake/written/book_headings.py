"""Headings of the shop's own workbook: a column of the contract with its unit, 'volume_l (US gal)'.

The sheet is for people, the columns are the contract's; what stands in brackets says in which
unit the figures below are, and in which clock the times.
"""

from __future__ import annotations

import re
from dataclasses import replace

import dataframely as dy
import polars as pl

from ringland.contracts.record_kinds import RecordKind
from ringland.intake.written.raw_file import SOURCE_ROW, RawFile
from ringland.units import UNIT_NAMES, UnitError, conversion

HELP_SHEET, LISTS_SHEET = "How to fill in", "Lists"
"""Sheets of the shop's workbook that hold no records."""
_WITH_UNIT = re.compile(r"(.+?)\s*\(([^()]+)\)")
_SIGNIFICANT = 12  # digits kept when a unit is turned, as in a mapped file


def heading(name: str, column: dy.Column, unit: str | None = None) -> str:
    """What stands above a column: 'filled_at (local)', 'volume_l (US gal)', 'hull_id'."""
    if isinstance(column, dy.Datetime):
        return f"{name} (local)"
    said = unit or (column.metadata or {}).get("unit")
    return f"{name} ({said})" if said in UNIT_NAMES else name


def in_contract_units(kind: RecordKind, raw: RawFile) -> RawFile:
    """The same with the contract's column names and units; other headings stay."""
    columns = kind.schema.columns()
    names: dict[str, str] = {}
    turned: list[pl.Series] = []
    for said in raw.columns:
        found = _WITH_UNIT.fullmatch(said)
        column = columns.get(found[1]) if found else None
        if found is None or column is None or found[1] in (*raw.columns, *names.values()):
            continue
        names[said] = found[1]
        if not isinstance(column, dy.Datetime):
            turned.append(_turned(raw.frame[said], found[2], column))
    frame = raw.frame.with_columns(turned).rename(names) if names else raw.frame
    return replace(raw, frame=frame.select(pl.all().exclude(SOURCE_ROW), SOURCE_ROW))


def _turned(cells: pl.Series, unit: str, column: dy.Column) -> pl.Series:
    wanted = str((column.metadata or {}).get("unit", ""))
    known = {name.lower(): name for name in UNIT_NAMES}.get(unit.lower())
    if known is None or known == wanted:
        return cells
    try:
        slope, offset = conversion(known, wanted)
    except UnitError:
        return cells + f" {unit}"  # no figure any more: set aside with what was written
    numbers = (cells.cast(pl.Float64, strict=False) * slope + offset).round_sig_figs(_SIGNIFICANT)
    return numbers.cast(pl.String).fill_null(cells + f" {unit}")
