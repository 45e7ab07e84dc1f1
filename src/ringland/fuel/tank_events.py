"""The events of a set of tanks in the kernel's order, with what had to be added to them.

One row per event of a frame that has `tank` (a name), `at`, `earliest_at` (when an added
fill could have been poured), `is_fill`, `volume_l` (null: an outflow that empties the tank)
and `stretch` (by what share the volume may be off).  What the fuel was is not known here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.fuel.burn_estimate import Explained, TankHabits, explain_levels
from ringland.fuel.tank_kernel import Flags, Floats, Ints

RECORDED, UNRECORDED_FILL, UNEXPLAINED_OUTFLOW, OPENING_STOCK, DRAINED = range(5)


@dataclass(frozen=True)
class TankEvents:
    """Events ordered by tank and time; `row` is the row of the frame they come from.

    `role` is RECORDED, DRAINED for a drain on record, or says what was added just before that
    row.
    """

    starts: Ints
    row: Ints
    role: Ints
    at_us: Ints
    is_fill: Flags
    volume_l: Floats
    tank_of: Ints
    earliest_us: Ints
    latest_us: Ints
    """for an added fill: between which recorded fills of the tank it must have come"""


def micros(frame: pl.DataFrame, column: str) -> Ints:
    """A column of instants as microseconds since 1970."""
    return frame.get_column(column).dt.timestamp("us").to_numpy().astype(np.int64)


def ordered_events(frame: pl.DataFrame) -> pl.DataFrame:
    """Rows by tank, time, outflows before fills at one instant, then size: no name decides.

    What empties a tank comes after the other outflows of its instant.
    """
    return frame.sort("tank", "at", "is_fill", "volume_l", nulls_last=True, maintain_order=True)


def possible_events(
    frame: pl.DataFrame, names: list[str], tanks: TankHabits, gain: float
) -> TankEvents:
    """The record made possible: levels within [0, capacity] at every event.

    Args:
        frame: from `ordered_events`.
        names: every tank's name, sorted; a tank may have no event.
        tanks: what is usual at each.
        gain: see `explain_levels`.
    """
    number = {name: i for i, name in enumerate(names)}
    tank_of = np.array([number[name] for name in frame.get_column("tank")], np.int64)
    starts = np.searchsorted(tank_of, np.arange(len(names) + 1)).astype(np.int64)
    is_fill = frame.get_column("is_fill").cast(pl.UInt8).to_numpy().copy()
    at_us = micros(frame, "at")
    explained = explain_levels(
        starts,
        is_fill,
        frame.get_column("stretch").to_numpy().copy(),
        frame.get_column("volume_l").fill_null(np.nan).to_numpy().copy(),
        tanks,
        gain,
    )
    as_recorded = _Recorded(starts, tank_of, at_us, micros(frame, "earliest_at"), is_fill)
    return _expanded(as_recorded, explained)


@dataclass(frozen=True)
class _Recorded:
    starts: Ints
    tank_of: Ints
    at_us: Ints
    earliest_us: Ints
    is_fill: Flags


def _expanded(recorded: _Recorded, explained: Explained) -> TankEvents:
    """Every row with what was added before it: poured in first, then lost, then the row itself."""
    starts, at_us, is_fill = recorded.starts, recorded.at_us, recorded.is_fill
    rows = np.arange(len(at_us))
    poured = explained.unrecorded_l > 0
    lost = explained.unexplained_l > 0
    row = np.concatenate([rows[poured], rows[lost], rows])
    role = np.concatenate(
        [
            np.full(poured.sum(), UNRECORDED_FILL),
            np.full(lost.sum(), UNEXPLAINED_OUTFLOW),
            np.full(len(rows), RECORDED),
        ]
    )
    volume = np.concatenate(
        [explained.unrecorded_l[poured], explained.unexplained_l[lost], explained.volume_l]
    )
    step = np.array([3, 1, 2])[role]
    order = np.lexsort((step, row))
    row, role, volume = row[order], role[order], volume[order]
    before = _fill_before(starts, at_us, is_fill)
    after = _fill_after(starts, at_us, is_fill)
    at = at_us[row].copy()
    added = role == UNRECORDED_FILL
    previous = np.concatenate([[np.iinfo(np.int64).min], at_us[:-1]]) if len(at_us) else at_us
    previous[starts[:-1][starts[:-1] < len(at_us)]] = np.iinfo(np.int64).min
    at[added] = np.minimum(np.maximum(previous, recorded.earliest_us), at_us)[row[added]]
    is_first = np.isin(row, starts[:-1])
    role = np.where(added & is_first, OPENING_STOCK, role)
    return TankEvents(
        starts=np.searchsorted(recorded.tank_of[row], np.arange(len(starts))).astype(np.int64),
        row=row,
        role=role,
        at_us=at,
        is_fill=np.where(role == RECORDED, is_fill[row], role != UNEXPLAINED_OUTFLOW).astype(
            np.uint8
        ),
        volume_l=volume,
        tank_of=recorded.tank_of[row],
        earliest_us=before[row],
        latest_us=after[row],
    )


def _fill_before(starts: Ints, at_us: Ints, is_fill: Flags) -> Ints:
    """Instant of the tank's last fill before each event; its first event if there is none."""
    rows = np.arange(len(at_us))
    first = np.repeat(starts[:-1], np.diff(starts))
    last = np.maximum.accumulate(np.where(is_fill == 1, rows, -1)) if len(rows) else rows
    last = np.concatenate([[-1], last[:-1]]) if len(rows) else last
    return np.asarray(at_us[np.maximum(last, first)])


def _fill_after(starts: Ints, at_us: Ints, is_fill: Flags) -> Ints:
    """Instant of the tank's next fill at or after each event; its last event if there is none."""
    rows = np.arange(len(at_us))
    final = np.repeat(starts[1:] - 1, np.diff(starts))
    marks = np.where(is_fill == 1, rows, len(rows))
    following = np.minimum.accumulate(marks[::-1])[::-1] if len(rows) else rows
    return np.asarray(at_us[np.minimum(following, final)])


def median_or(values: npt.ArrayLike, fallback: float) -> float:
    """Median of the values; the fallback if there is none."""
    array = np.asarray(values, float)
    return float(np.median(array)) if len(array) else fallback
