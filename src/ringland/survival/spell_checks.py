"""Checks of counting-process rows; every message names the row, the column and the remedy."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Slots = NDArray[np.int32]
Flags = NDArray[np.bool_]


LARGEST = 1e100
"""Beyond it squares and sums of a covariate leave what a computer can hold."""


class SpellError(ValueError):
    """Counting-process rows that cannot be used; the message names row and column."""


def require_start_before_stop(start: Floats, stop: Floats) -> None:
    """Nothing, if every row has some length; raises SpellError naming the first without."""
    if (bad := np.flatnonzero(~(start < stop))).size:
        i = bad[0]
        raise SpellError(
            f"Row {i}: start {start[i]:g} is not before stop {stop[i]:g} "
            f"({bad.size} such rows). Drop empty rows or mend their times."
        )


def require_same_length(**columns: Sequence[object] | NDArray[np.generic]) -> None:
    """Nothing, if all columns have as many rows as the first; else raises SpellError."""
    (first, reference), *others = columns.items()
    for name, column in others:
        if len(column) != len(reference):
            raise SpellError(f"{name} has {len(column)} rows, {first} has {len(reference)}.")


def number_column(name: str, values: ArrayLike) -> Floats:
    """The values as one column of finite numbers; raises SpellError naming row and column."""
    column = np.asarray(values, dtype=np.float64)
    if column.ndim != 1:
        raise SpellError(f"{name} must be one column, not of shape {column.shape}.")
    if (bad := np.flatnonzero(~np.isfinite(column))).size:
        raise SpellError(
            f"Row {bad[0]}: {name} is missing or not finite ({bad.size} such rows). "
            f"Drop the rows or fill them before fitting."
        )
    return np.ascontiguousarray(column)


def covariate_matrix(x: ArrayLike, n: int, names: Sequence[str]) -> Floats:
    """The covariates, shape (n, p), finite; raises SpellError naming row and column."""
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
    if matrix.size and float(np.abs(matrix).max(initial=0.0)) > LARGEST:
        row, column = np.argwhere(np.abs(matrix) > LARGEST)[0]
        raise SpellError(
            f"Row {row}: {names[column]} is {matrix[row, column]:g}, too large to compute with. "
            f"Count it in a larger unit."
        )
    return matrix


def event_flags(values: ArrayLike) -> Flags:
    """The events as booleans; raises SpellError for anything but 0 and 1."""
    raw = np.asarray(values)
    if raw.dtype == np.bool_:
        return raw.copy()
    column = number_column("event", raw)
    if (bad := np.flatnonzero((column != 0) & (column != 1))).size:
        raise SpellError(f"Row {bad[0]}: event is {column[bad[0]]:g}; it must be 0 or 1.")
    return np.asarray(column == 1)


def label_codes(name: str, labels: ArrayLike | None, n: int) -> tuple[Ints, tuple[object, ...]]:
    """A number for each label, and the labels in that order; None is one label for all."""
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
