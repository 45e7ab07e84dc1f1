"""Running totals of many sets (or hulls) over their hours, looked up for all of them at once.

A session's quantities are spread evenly over its hours, so a running total is piecewise
linear in the hours run and what ran between two hours is a difference of two look-ups.
Sessions lie group by group in one set of arrays; one compiled pass looks all hours up.
"""

# ruff: noqa: PLR0917 - compiled functions take their arrays by position
from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numba import njit

from ringland.fuel.tank_kernel import Floats, Ints, compiled


@dataclass(frozen=True)
class Course:
    """The sessions of every group in order; hours per session, `starts` per group."""

    rows: pl.DataFrame
    starts: Ints
    start_h: Floats
    stop_h: Floats

    @property
    def edge_h(self) -> Floats:
        """Begin and end of each session in turn, in hours, never falling within a group."""
        return self.edges(self.start_h, self.stop_h)

    def edges(self, begin: Floats, end: Floats) -> Floats:
        """The same of any begins and ends, one of each per session."""
        out = np.empty(2 * len(begin))
        _edges_of(self.starts, compiled(begin, np.float64), compiled(end, np.float64), out)
        return out

    def gained(self, name: str, group: Ints, low_h: Floats, high_h: Floats) -> Floats:
        """What of a column's amounts ran between two hours of each group; none where it is -1."""
        return self.gained_of(self.amounts(name), group, low_h, high_h)

    def amounts(self, name: str) -> Floats:
        """A column of amounts per session."""
        return compiled(self.rows.get_column(name).to_numpy(), np.float64)

    def gained_of(self, amounts: Floats, group: Ints, low_h: Floats, high_h: Floats) -> Floats:
        """`gained` of any amounts, one per session."""
        total = np.empty(2 * len(amounts))
        _running(self.starts, amounts, total)
        edges = self.edge_h
        high = looked_up(self.starts, edges, total, group, high_h)
        return high - looked_up(self.starts, edges, total, group, low_h)

    def session_at(self, group: Ints, hour: Floats) -> Ints:
        """The session under way at each hour, or the next one, or the last; -1 without any."""
        out = np.empty(len(hour), np.int64)
        self._find(group, hour, False, out)
        return out

    def session_reaching(self, group: Ints, hour: Floats) -> Ints:
        """The first session that ends at each hour or later; one past the group's last if none."""
        out = np.empty(len(hour), np.int64)
        self._find(group, hour, True, out)
        return out

    def _find(self, group: Ints, hour: Floats, is_reaching: bool, out: Ints) -> None:
        _session_at(
            self.starts, compiled(self.stop_h, np.float64), compiled(group, np.int64),
            compiled(hour, np.float64), is_reaching, out,
        )  # fmt: skip


def group_starts(group: Ints, groups: int) -> Ints:
    """First row of each group and, last, the number of rows; `group` does not fall."""
    return compiled(np.searchsorted(group, np.arange(groups + 1)), np.int64)


def looked_up(starts: Ints, xs: Floats, ys: Floats, group: Ints, x: Floats) -> Floats:
    """`numpy.interp` within each group's part of (xs, ys), two points per session; 0 for -1."""
    out = np.empty(len(x))
    _interp(
        starts, compiled(xs, np.float64), compiled(ys, np.float64), compiled(group, np.int64),
        compiled(x, np.float64), out,
    )  # fmt: skip
    return out


@njit("void(i8[::1],f8[::1],f8[::1],f8[::1])", cache=True, nogil=True)
def _edges_of(starts, start_h, stop_h, out):  # type: ignore[no-untyped-def]
    for group in range(len(starts) - 1):
        most = -np.inf
        for i in range(starts[group], starts[group + 1]):
            most = max(most, start_h[i])
            out[2 * i] = most
            most = max(most, stop_h[i])
            out[2 * i + 1] = most


@njit("void(i8[::1],f8[::1],f8[::1])", cache=True, nogil=True)
def _running(starts, amounts, out):  # type: ignore[no-untyped-def]
    for group in range(len(starts) - 1):
        total = 0.0
        for i in range(starts[group], starts[group + 1]):
            out[2 * i] = total
            total += amounts[i]
            out[2 * i + 1] = total


@njit("void(i8[::1],f8[::1],f8[::1],i8[::1],f8[::1],f8[::1])", cache=True, nogil=True)
def _interp(starts, xs, ys, group, x, out):  # type: ignore[no-untyped-def]
    for q in range(len(x)):
        g = group[q]
        if g < 0 or starts[g] == starts[g + 1]:
            out[q] = 0.0
            continue
        first = 2 * starts[g]
        last = 2 * starts[g + 1] - 1
        if x[q] >= xs[last]:
            out[q] = ys[last]
            continue
        if x[q] < xs[first]:
            out[q] = ys[first]
            continue
        low = first  # the last edge not beyond x
        high = last
        while high - low > 1:
            middle = (low + high) // 2
            if xs[middle] <= x[q]:
                low = middle
            else:
                high = middle
        slope = (ys[low + 1] - ys[low]) / (xs[low + 1] - xs[low])
        out[q] = slope * (x[q] - xs[low]) + ys[low]


@njit("void(i8[::1],f8[::1],i8[::1],f8[::1],b1,i8[::1])", cache=True, nogil=True)
def _session_at(starts, stop_h, group, hour, is_reaching, out):  # type: ignore[no-untyped-def]
    for q in range(len(hour)):
        g = group[q]
        if g < 0 or starts[g] == starts[g + 1]:
            out[q] = -1
            continue
        low = starts[g]
        high = starts[g + 1]
        while low < high:
            middle = (low + high) // 2
            is_before = stop_h[middle] < hour[q] if is_reaching else stop_h[middle] <= hour[q]
            if is_before:
                low = middle + 1
            else:
                high = middle
        out[q] = low if is_reaching else min(low, starts[g + 1] - 1)


LEAST_STRETCH_H = 1e-4
"""Hours below which running is none: sums of hours differ in the last digits, and a cut that lies
so near an end would part a failure from its own risk set.  Readings are to 0.01 h or coarser."""


def stretch_edges(entry_h: Floats, exit_h: Floats, step_h: float) -> tuple[Ints, Floats]:
    """Each life's entry, the multiples of the step well within it, and its exit.

    Returns:
        Edges of all lives after each other, and with the row of the life of each.
    """
    first = np.floor(entry_h / step_h) + 1
    inner = np.maximum(np.ceil(exit_h / step_h) - first, 0).astype(np.int64)
    life = np.repeat(np.arange(len(entry_h)), inner + 2)
    begin = np.cumsum(inner + 2) - (inner + 2)
    place = np.arange(len(life)) - begin[life]
    edge = (first[life] + place - 1) * step_h
    edge = np.where(place == 0, entry_h[life], edge)
    edge = np.where(place == inner[life] + 1, exit_h[life], edge)
    is_end = (place == 0) | (place == inner[life] + 1)
    is_within = (edge > entry_h[life] + LEAST_STRETCH_H) & (edge < exit_h[life] - LEAST_STRETCH_H)
    kept = is_end | is_within
    return life[kept].astype(np.int64), edge[kept]
