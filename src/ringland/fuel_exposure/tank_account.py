"""Where every litre of every tank went, and what stood in it after each event."""

# ruff: noqa: PLR0917 - a ledger step takes the frames it reads
from __future__ import annotations

import math

import numpy as np
import polars as pl

from ringland.fuel_exposure.tank_events import (
    OPENING_STOCK,
    RECORDED,
    UNEXPLAINED_OUTFLOW,
    UNRECORDED_FILL,
    TankEvents,
)
from ringland.fuel_exposure.tank_kernel import Flags, TankRun

CLAMP_L = 1e-6
"""A clamp below this many litres is rounding and is not counted (its litres still are)."""
_US_PER_DAY = 86_400_000_000


def account(events: TankEvents, run: TankRun, names: list[str], kind: str) -> pl.DataFrame:
    """One row per tank: litres in, out, left, clamped; `off_l` is what does not add up.

    in_recorded_l + in_unrecorded_l + opening_l = clamped_l + burned_l + unexplained_out_l +
    left_l + off_l.  `clamped_l` is recorded fill that no tank of that size could take;
    `short_l` is burn that no fuel was there for (not in the sum: it never was).
    """
    tanks = len(names)
    into = events.is_fill == 1
    clamped = np.where(into, events.volume_l - run.moved_l, 0.0)
    short = np.where(into, 0.0, events.volume_l - run.moved_l)

    def litres(values: np.ndarray, rows: Flags | np.ndarray) -> np.ndarray:
        taken = np.where(rows, values, 0.0)
        edges = zip(events.starts[:-1], events.starts[1:], strict=True)
        return np.array([math.fsum(taken[begin:end]) for begin, end in edges])

    last = events.starts[1:] - 1
    left = np.where(events.starts[1:] > events.starts[:-1], run.after_l[last], 0.0)
    recorded = events.role == RECORDED
    columns = {
        "in_recorded_l": litres(events.volume_l, recorded & into),
        "in_unrecorded_l": litres(events.volume_l, events.role == UNRECORDED_FILL),
        "opening_l": litres(events.volume_l, events.role == OPENING_STOCK),
        "clamped_l": litres(clamped, into),
        "burned_l": litres(run.moved_l, recorded & ~into),
        "unexplained_out_l": litres(run.moved_l, events.role == UNEXPLAINED_OUTFLOW),
        "left_l": left,
        "short_l": litres(short, ~into),
    }
    counts = {
        "unrecorded_fills": events.role == UNRECORDED_FILL,
        "clamped_fills": clamped > CLAMP_L,
        "short_burns": short > CLAMP_L,
    }
    return pl.DataFrame(
        {"tank": pl.Series(names, dtype=pl.String), "kind": pl.repeat(kind, tanks, eager=True)}
        | columns
        | {
            name: np.bincount(events.tank_of[rows], minlength=tanks)
            for name, rows in counts.items()
        }
    ).with_columns(
        off_l=pl.sum_horizontal("in_recorded_l", "in_unrecorded_l", "opening_l")
        - pl.sum_horizontal("clamped_l", "burned_l", "unexplained_out_l", "left_l")
    )


def event_frame(
    events: TankEvents,
    run: TankRun,
    names: list[str],
    name_column: str,
    frame: pl.DataFrame,
    fills: pl.DataFrame | None,
) -> pl.DataFrame:
    """One row per event: what happened, and level, octane and mean age after it.

    `event` is 'session' ('draw' for a dock), 'fill' ('delivery'), 'unrecorded_fill',
    'unexplained_outflow' or 'opening_stock'; `source` is the fill's own word, and
    'unrecorded' for what was added.
    """
    burn, fill = ("session", "fill") if name_column == "hull_id" else ("draw", "delivery")
    added = ["", "unrecorded_fill", "unexplained_outflow", "opening_stock"]
    label = np.where(
        events.role == RECORDED,
        np.where(events.is_fill == 1, fill, burn),
        np.array(added)[events.role],
    )
    at_d = events.at_us / _US_PER_DAY
    quality = run.quality
    table = pl.DataFrame(
        {
            name_column: pl.Series([names[i] for i in events.tank_of], dtype=pl.String),
            "at": pl.Series(events.at_us).cast(pl.Datetime("us", "UTC")),
            "event": label.astype(object) if len(label) == 0 else label,
            "volume_l": events.volume_l,
            "moved_l": run.moved_l,
            "before_l": run.before_l,
            "after_l": run.after_l,
            "octane_aki": quality[:, 1],
            "octane_low_aki": quality[:, 0],
            "octane_high_aki": quality[:, 2],
            "fuel_age_d": at_d - quality[:, 3],
            "unknown_share": quality[:, 6],
        }
    ).with_columns(pl.selectors.float().fill_nan(None))
    if fills is None:
        return table
    row = frame.get_column("fill_row").cast(pl.Int64)[events.row].to_numpy(allow_copy=True)
    row = np.where((events.role == RECORDED) & ~np.isnan(row.astype(float)), row, -1)
    source = fills.get_column("source").to_list()
    dock = fills.get_column("source_dock_id").to_list()
    picked = np.nan_to_num(row, nan=-1).astype(int)
    return table.with_columns(
        source=pl.Series([source[i] if i >= 0 else None for i in picked], dtype=pl.String),
        source_dock_id=pl.Series([dock[i] if i >= 0 else None for i in picked], dtype=pl.String),
    )
