"""A simulated fleet as files: one CSV per record kind, and the truth as JSON."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from synthetic_data.fleet_simulator import Fleet

INSTANT_FORMAT = "%Y-%m-%dT%H:%M:%SZ"


def record_csv(fleet: Fleet, kind: str) -> str:
    """The CSV text of one record kind; empty cells for what is not written down."""
    frame = fleet.records[kind]
    text = frame.select(
        pl.col(name).dt.strftime(INSTANT_FORMAT)
        if isinstance(dtype, pl.Datetime)
        else pl.col(name).cast(pl.String)
        for name, dtype in frame.schema.items()
    )
    for (raw_kind, row, column), cell in fleet.raw_cells.items():
        if raw_kind == kind:
            here = pl.int_range(pl.len()) == row
            text = text.with_columns(
                pl.when(here).then(pl.lit(cell)).otherwise(pl.col(column)).alias(column)
            )
    return text.write_csv()


def truth_json(fleet: Fleet) -> str:
    """The truth in JSON, keys in the order in which they were made."""
    return json.dumps(fleet.truth, indent=1) + "\n"


def write_records(fleet: Fleet, folder: Path) -> None:
    """Write one CSV per record kind into a folder."""
    folder.mkdir(parents=True, exist_ok=True)
    for kind in fleet.records:
        (folder / f"{kind}.csv").write_text(record_csv(fleet, kind), encoding="utf-8", newline="\n")
