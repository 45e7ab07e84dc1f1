"""Ordinary faults of record keeping, planted by the handful and listed one by one."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta

import numpy as np
import polars as pl

RawCells = dict[tuple[str, int, str], str]

UNRECORDED_SHARE = 0.008
"""Share of fills that nobody wrote down."""


@dataclass
class Planted:
    """Records with faults in them, and the list of the faults."""

    records: dict[str, pl.DataFrame]
    raw_cells: RawCells = field(default_factory=dict)
    faults: list[dict[str, object]] = field(default_factory=list)
    unrecorded_fills: list[dict[str, object]] = field(default_factory=list)


def plant_faults(records: dict[str, pl.DataFrame], rng: np.random.Generator) -> Planted:
    """A copy of the records with a handful of each ordinary fault.

    A check of which only 'ok' was written down comes from the simulation and is listed too.
    In the list, `row` counts data rows from 0, so that the line in the CSV is row + 2.
    Each faulty row is hit by one fault only.
    """
    planted = Planted(dict(records))
    _lose_fills(planted, rng)
    fills = _rows(planted, "fills", rng, 11)
    outside = planted.records["fills"].with_row_index("at")
    outside = outside.filter(
        (pl.col("source") == "outside")
        & pl.col("octane_aki").is_not_null()
        & ~pl.col("at").is_in(fills)
    )
    for at in _some(outside["at"].to_list(), 12, rng):
        _set(planted, "fills", at, "octane_aki", None, fault="no_grade_at_outside_pump")
    for at in fills[:2]:
        litres = planted.records["fills"]["volume_l"][at]
        _set(planted, "fills", at, "volume_l", round(litres * 100, 1), fault="impossible_value")
    _set(planted, "fills", fills[2], "hull_id", "XX-99", fault="unknown_hull")
    for at in fills[3:6]:
        planted.raw_cells["fills", at, "volume_l"] = "n/a"
        _note(planted, "fills", at, "volume_l", "wrong_type")
    sessions = _rows(planted, "sessions", rng, 8)
    _set(planted, "sessions", sessions[0], "hull_id", "XX-98", fault="unknown_hull")
    for at in sessions[1:4]:
        ended = planted.records["sessions"]["started_at"][at] - timedelta(minutes=20)
        _set(planted, "sessions", at, "ended_at", ended, fault="ends_before_it_starts")
    _misread_meters(planted, rng)
    _repeat(planted, "fills", fills[6:])
    _repeat(planted, "sessions", sessions[4:])
    inspections = planted.records["inspections"].with_row_index("at")
    for at in inspections.filter(pl.col("state") == "stated_ok")["at"]:
        _note(planted, "inspections", int(at), "value", "stated_ok_without_number")
    return planted


def _misread_meters(planted: Planted, rng: np.random.Generator) -> None:
    readings = planted.records["hour_readings"]
    swappable = [
        at
        for at, reading in enumerate(readings["meter_h"].to_list())
        if reading >= 100 and (t := f"{reading:.1f}") and abs(int(t[0]) - int(t[1])) >= 2
    ]
    chosen = _some(swappable, 6, rng)
    for at in chosen[:3]:
        text = f"{readings['meter_h'][at]:.1f}"
        swapped = float(text[1] + text[0] + text[2:])
        _set(planted, "hour_readings", at, "meter_h", swapped, fault="digits_swapped")
    for at in chosen[3:]:
        value = round(readings["meter_h"][at] * 10, 1)
        _set(planted, "hour_readings", at, "meter_h", value, fault="ten_times_too_high")


def _lose_fills(planted: Planted, rng: np.random.Generator) -> None:
    fills = planted.records["fills"]
    lost = rng.random(fills.height) < UNRECORDED_SHARE
    for row in fills.filter(pl.Series(lost)).iter_rows(named=True):
        planted.unrecorded_fills.append(
            {
                "hull_id": row["hull_id"],
                "filled_at": row["filled_at"].strftime("%Y-%m-%dT%H:%M:%SZ"),
                "volume_l": row["volume_l"],
                "source": row["source"],
                "octane_aki": row["octane_aki"],
            }
        )
    planted.records["fills"] = fills.filter(pl.Series(~lost))


def _repeat(planted: Planted, kind: str, rows: list[int]) -> None:
    """Write some rows once more at the end of the file, as a second export does."""
    frame = planted.records[kind]
    repeated = frame[sorted(rows)]
    for back, at in enumerate(sorted(rows)):
        planted.faults.append(
            {"fault": "duplicate_row", "kind": kind, "row": frame.height + back, "repeats": at}
        )
    planted.records[kind] = pl.concat([frame, repeated])


def _rows(planted: Planted, kind: str, rng: np.random.Generator, count: int) -> list[int]:
    return _some(list(range(planted.records[kind].height)), count, rng)


def _some(rows: list[int], count: int, rng: np.random.Generator) -> list[int]:
    return [int(at) for at in rng.choice(rows, min(count, len(rows)), replace=False)]


def _set(planted: Planted, kind: str, row: int, column: str, value: object, *, fault: str) -> None:
    frame = planted.records[kind]
    here = pl.int_range(pl.len()) == row
    dtype = frame.schema[column]
    planted.records[kind] = frame.with_columns(
        pl.when(here).then(pl.lit(value, dtype=dtype)).otherwise(pl.col(column)).alias(column)
    )
    _note(planted, kind, row, column, fault)


def _note(planted: Planted, kind: str, row: int, column: str, fault: str) -> None:
    planted.faults.append({"fault": fault, "kind": kind, "row": row, "column": column})
