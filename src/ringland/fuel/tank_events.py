"""The events of a set of tanks in the kernel's order, with what had to be added to them.

One row per event of a frame that has `tank` (its number), `at_us`, `earliest_us` (when an added
fill could have been poured), `kind` (OUT, FILL, DIP, TEST), `volume_l` (null: an outflow that
empties the tank; of a dip the level) and `stretch` (by what share the volume may be off).
What the fuel was is not known here.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numba import njit

from ringland.fuel.explain_levels import TankHabits, explain_levels
from ringland.fuel.tank_kernel import FILL, OUT, Flags, Floats, Ints

RECORDED, UNRECORDED_FILL, UNEXPLAINED_OUTFLOW, OPENING_STOCK, DRAINED = range(5)


@dataclass(frozen=True)
class TankEvents:
    """Events ordered by tank and time; `row` is the row of the frame they come from.

    `role` is RECORDED, DRAINED for a drain on record, or says what was added just before that
    row.  `slack_l` is how far the litres of the event may be off.
    """

    starts: Ints
    row: Ints
    role: Ints
    at_us: Ints
    is_fill: Flags
    """OUT, FILL, DIP or TEST"""
    volume_l: Floats
    slack_l: Floats
    tank_of: Ints


_OWN_ERROR = 2 / 3
"""Of the most that litres are stretched to fit, how far those of one ride may be off (95 %)."""
STEPS = {"burn": 0, "drain": 1, "fill": 2, "pumped out": 3, "dip": 4, "test": 5}
"""What comes first at one instant."""


def ordered_events(frame: pl.DataFrame) -> pl.DataFrame:
    """Rows by tank, time, step at one instant, then size: no name decides.

    What empties a tank comes after the other outflows of its instant.
    """
    return frame.sort("tank", "at_us", "step", "volume_l", nulls_last=True, maintain_order=True)


def possible_events(frame: pl.DataFrame, tanks: TankHabits, gain: float) -> TankEvents:
    """The record made possible: levels within [0, capacity] at every event.

    Args:
        frame: from `ordered_events`, with `is_drain`.
        tanks: what is usual at each; a tank may have no event.
        gain: see `explain_levels`.
    """
    tank_of = _array(frame, "tank", np.int64)
    number = len(tanks.capacity_l)
    starts = np.searchsorted(tank_of, np.arange(number + 1)).astype(np.int64)
    kind = _array(frame, "kind", np.uint8)
    stretch = _array(frame, "stretch", np.float64)
    volume_l = frame.get_column("volume_l").cast(pl.Float64).fill_null(np.nan).to_numpy().copy()
    explained = explain_levels(starts, kind, stretch, volume_l, tanks, gain)
    poured = int(np.count_nonzero(explained.unrecorded_l > 0))
    lost = int(np.count_nonzero(explained.unexplained_l > 0))
    n = len(kind) + poured + lost
    out = TankEvents(
        starts=np.empty(number + 1, np.int64),
        row=np.empty(n, np.int64),
        role=np.empty(n, np.int64),
        at_us=np.empty(n, np.int64),
        is_fill=np.empty(n, np.uint8),
        volume_l=np.empty(n),
        slack_l=np.empty(n),
        tank_of=np.empty(n, np.int64),
    )
    _expand(
        starts, kind, _array(frame, "is_drain", np.uint8), _array(frame, "at_us", np.int64),
        _array(frame, "earliest_us", np.int64), stretch, explained.volume_l,
        explained.unrecorded_l, explained.unexplained_l, out.starts, out.row, out.role, out.at_us,
        out.is_fill, out.volume_l, out.slack_l, out.tank_of,
    )  # fmt: skip
    return out


def _array(frame: pl.DataFrame, column: str, kind: type) -> np.ndarray:
    return np.require(frame.get_column(column).to_numpy(), kind, ["C", "W"])


_I, _F = "i8[::1]", "f8[::1]"


@njit(
    f"void({_I},u1[::1],u1[::1],{_I},{_I},{_F},{_F},{_F},{_F},{_I},{_I},{_I},{_I},u1[::1],"
    f"{_F},{_F},{_I})",
    cache=True,
    nogil=True,
)
def _expand(  # type: ignore[no-untyped-def]  # numba types it by the signature
    starts, kind, is_drain, at_us, earliest_us, stretch, volume_l, unrecorded_l, unexplained_l,
    out_starts, row, role, out_at, out_kind, out_l, slack_l, tank_of,
):  # fmt: skip
    """Every row with what was added before it: poured in first, then lost, then the row itself.

    What was poured in came as early as it could; its litres may be off by half of them.
    """
    k = 0
    for tank in range(len(starts) - 1):
        out_starts[tank] = k
        for i in range(starts[tank], starts[tank + 1]):
            if unrecorded_l[i] > 0.0:
                earliest = earliest_us[i]
                if i > starts[tank]:
                    earliest = max(earliest, at_us[i - 1])
                row[k] = i
                role[k] = OPENING_STOCK if i == starts[tank] else UNRECORDED_FILL
                out_at[k] = min(earliest, at_us[i])
                out_kind[k] = FILL
                out_l[k] = unrecorded_l[i]
                slack_l[k] = 0.5 * unrecorded_l[i] if i > starts[tank] else 0.0
                tank_of[k] = tank
                k += 1
            if unexplained_l[i] > 0.0:
                row[k] = i
                role[k] = UNEXPLAINED_OUTFLOW
                out_at[k] = at_us[i]
                out_kind[k] = OUT
                out_l[k] = unexplained_l[i]
                slack_l[k] = 0.0
                tank_of[k] = tank
                k += 1
            row[k] = i
            role[k] = DRAINED if is_drain[i] else RECORDED
            out_at[k] = at_us[i]
            out_kind[k] = kind[i]
            out_l[k] = volume_l[i]
            slack_l[k] = _OWN_ERROR * stretch[i] * volume_l[i]
            tank_of[k] = tank
            k += 1
    out_starts[len(starts) - 1] = k


def median_by(frame: pl.DataFrame, by: str, column: str, number: int) -> Floats:
    """Median of a column per number of a tank; NaN for one without a row."""
    out = np.full(number, np.nan)
    medians = frame.group_by(by, maintain_order=True).agg(pl.col(column).median())
    out[medians.get_column(by).to_numpy()] = medians.get_column(column).to_numpy()
    return out
