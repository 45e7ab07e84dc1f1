"""Checked counting-process rows, with every time turned into an event slot."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from ringland.ring_survival.cox_kernel import Floats, Ints, column_moments

# Two times closer than this share of the mean time are one time: hour meters are added up
# in floating point.  The same rule and size as R survival's `timefix`.
SAME_TIME = 1.5e-8


class SpellError(ValueError):
    """Counting-process rows that cannot be used; the message names row and column."""


@dataclass(frozen=True)
class RiskSets:
    """Rows (start, stop] with covariates, and the event slots they are at risk in.

    A slot is one distinct event time of one stratum, in order of stratum and time; after
    the last of each stratum stands one empty slot (`slot_time` NaN).  Row i is at risk in
    the slots from `first[i]` up to, not including, `last[i]`.  An event row has its event
    in slot `last[i] - 1`.
    """

    names: tuple[str, ...]
    start: Floats = field(repr=False)
    stop: Floats = field(repr=False)
    event: NDArray[np.bool_] = field(repr=False)
    x: Floats = field(repr=False)
    weight: Floats = field(repr=False)
    stratum: Ints = field(repr=False)
    cluster: Ints | None = field(repr=False)
    stratum_labels: tuple[object, ...]
    centre: Floats = field(repr=False)
    spread: Floats = field(repr=False)
    reach: Floats = field(repr=False)
    first: Ints = field(repr=False)
    last: Ints = field(repr=False)
    event_rows: Ints = field(repr=False)
    slot_time: Floats = field(repr=False)
    slot_stratum: Ints = field(repr=False)
    opens_stratum: NDArray[np.bool_] = field(repr=False)

    @property
    def n_events(self) -> int:
        """Event rows, whatever their weight."""
        return len(self.event_rows)

    @property
    def n_clusters(self) -> int | None:
        """Distinct clusters, or None when none were given."""
        return None if self.cluster is None else int(self.cluster.max()) + 1


def build_risk_sets(
    start: ArrayLike,
    stop: ArrayLike,
    event: ArrayLike,
    x: ArrayLike,
    *,
    names: Sequence[str],
    weights: ArrayLike | None = None,
    strata: ArrayLike | None = None,
    cluster: ArrayLike | None = None,
) -> RiskSets:
    """The rows, checked, with the slots each is at risk in.

    A row whose start equals an event time is not at risk at it.

    Args:
        start: entry of each row, shape (n,), in the unit of `stop`.
        stop: end of each row, shape (n,); later than `start`.
        event: whether the row ends in the event; only 0, 1, False or True.
        x: covariates held over the row, shape (n, p).
        names: one name per column of `x`; errors name it.
        weights: case weights above zero; None is one each.
        strata: any labels; each has its own baseline hazard.
        cluster: any labels; rows that are not independent of each other, such as a hull's.

    Raises:
        SpellError: wrong shape, a missing or infinite value, start not before stop, a
            weight that is not above zero, an event that is not 0 or 1.
    """
    start, stop = _column("start", start), _column("stop", stop)
    n = len(start)
    if n == 0:
        raise SpellError("No rows: give at least one (start, stop] row.")
    x = _matrix(x, n, names)
    event = _event(event)
    weight = np.ones(n) if weights is None else _column("weights", weights)
    for name, column in (("stop", stop), ("event", event), ("weights", weight)):
        if len(column) != n:
            raise SpellError(f"{name} has {len(column)} rows, start has {n}.")
    if (bad := np.flatnonzero(~(start < stop))).size:
        i = bad[0]
        raise SpellError(
            f"Row {i}: start {start[i]:g} is not before stop {stop[i]:g} "
            f"({bad.size} such rows). Drop empty rows or mend their times."
        )
    if (bad := np.flatnonzero(weight <= 0)).size:
        i = bad[0]
        raise SpellError(f"Row {i}: weight {weight[i]:g}; give weights above zero.")
    stratum, stratum_labels = _codes("strata", strata, n)
    clusters = None if cluster is None else _codes("cluster", cluster, n)[0]
    centre, spread, reach = column_moments(x, weight)
    slots = _slots(start, stop, event, stratum, len(stratum_labels))
    return RiskSets(
        tuple(names),
        start,
        stop,
        event,
        x,
        weight,
        stratum,
        clusters,
        stratum_labels,
        centre,
        spread,
        reach,
        *slots,
    )


def same_time_within(start: Floats, stop: Floats) -> float:
    """The distance below which two times count as one."""
    return SAME_TIME * max(1.0, 0.5 * float(np.abs(start).mean() + np.abs(stop).mean()))


def _slots(
    start: Floats, stop: Floats, event: NDArray[np.bool_], stratum: Ints, n_strata: int
) -> tuple[Ints, Ints, Ints, Floats, Ints, NDArray[np.bool_]]:
    apart = same_time_within(start, stop)
    first, last = np.empty(len(start), dtype=np.int64), np.empty(len(start), dtype=np.int64)
    times, owners, opens = [], [], []
    offset = 0
    for s in range(n_strata):
        rows: slice | Ints = slice(None) if n_strata == 1 else np.flatnonzero(stratum == s)
        at = np.unique(stop[rows][event[rows]])
        at = at[np.diff(at, prepend=-np.inf) > apart]
        first[rows] = offset + np.searchsorted(at, start[rows] + apart, side="right")
        last[rows] = offset + np.searchsorted(at, stop[rows] + apart, side="right")
        times.append(np.append(at, np.nan))
        owners.append(np.full(len(at) + 1, s, dtype=np.int64))
        opens.append(np.arange(len(at) + 1) == 0)
        offset += len(at) + 1
    return (
        first,
        last,
        np.flatnonzero(event),
        np.concatenate(times),
        np.concatenate(owners),
        np.concatenate(opens),
    )


def _column(name: str, values: ArrayLike) -> Floats:
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise SpellError(f"{name} must be one column, not of shape {column.shape}.")
    if (bad := np.flatnonzero(~np.isfinite(column))).size:
        raise SpellError(
            f"Row {bad[0]}: {name} is missing or not finite ({bad.size} such rows). "
            f"Drop the rows or fill them before fitting."
        )
    return np.ascontiguousarray(column)


def _matrix(x: ArrayLike, n: int, names: Sequence[str]) -> Floats:
    matrix = np.ascontiguousarray(x, dtype=np.float64)
    if matrix.ndim != 2 or matrix.shape != (n, len(names)):
        raise SpellError(
            f"x has shape {matrix.shape}; with {n} rows and {len(names)} names "
            f"it must be ({n}, {len(names)})."
        )
    if len(set(names)) != len(names):
        raise SpellError(f"Two columns have one name: {', '.join(names)}.")
    # a sum is finite unless an entry is not, and reads the matrix once
    if matrix.size and not np.isfinite(matrix.sum()):
        rows, columns = np.nonzero(~np.isfinite(matrix))
        if rows.size:
            raise SpellError(
                f"Row {rows[0]}: {names[columns[0]]} is missing or not finite "
                f"({rows.size} such values). Drop the rows or fill them before fitting."
            )
    return matrix


def _event(values: ArrayLike) -> NDArray[np.bool_]:
    raw = np.asarray(values)
    if raw.dtype == np.bool_:
        return raw.copy()
    column = _column("event", raw)
    if (bad := np.flatnonzero((column != 0) & (column != 1))).size:
        raise SpellError(f"Row {bad[0]}: event is {column[bad[0]]:g}; it must be 0 or 1.")
    return np.asarray(column == 1)


def _codes(name: str, labels: ArrayLike | None, n: int) -> tuple[Ints, tuple[object, ...]]:
    if labels is None:
        return np.zeros(n, dtype=np.int64), ("all",)
    column = np.asarray(labels)
    if column.shape != (n,):
        raise SpellError(f"{name} has shape {column.shape}; give one label for each of {n} rows.")
    missing = np.array([v is None for v in column]) if column.dtype == object else column != column  # noqa: PLR0124 -- NaN alone differs from itself
    if np.any(missing):
        raise SpellError(f"Row {int(np.flatnonzero(missing)[0])}: {name} is missing.")
    seen, codes = np.unique(column, return_inverse=True)
    return codes.reshape(-1).astype(np.int64), tuple(seen.tolist())
