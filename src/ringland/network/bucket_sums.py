"""What is told of a network as a whole: sums over its operators, added in the order of names.

Added in any other order the last digit would depend on which machine was done first.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol, TypeVar

import numpy as np
import polars as pl

T = TypeVar("T", bound="Addable")


class Addable(Protocol):
    """A statistic of one bucket: number, array, or derivatives of a likelihood."""

    def __add__(self: T, other: T, /) -> T:
        """Both buckets together."""
        ...


def summed(statistics: Mapping[str, T]) -> T:
    """The statistic of all buckets: each added to the sum of those before it by name.

    Raises:
        ValueError: there is no bucket.
    """
    if not statistics:
        raise ValueError("There is no bucket to sum over.")
    first, *others = sorted(statistics)
    total = statistics[first]
    for name in others:
        total = total + statistics[name]
    return total


COUNTED = (
    "hulls",
    "piston_sets",
    "running",
    "ring_land_fractures",
    "other_failures",
    "engine_h",
    "burned_l",
    "unknown_l",
)
"""What `bucket_counts` counts, in its order."""


def bucket_counts(tables: Mapping[str, pl.DataFrame]) -> np.ndarray:
    """Counts of one operator's week, a float per entry of `COUNTED`: hulls, sets, h and litres.

    Args:
        tables: as `lasting_tables` returns them.
    """
    lives, fuel, runs = (
        tables[name] for name in ("piston_lives", "session_fuel", "engine_sessions")
    )
    failed = lives.filter(pl.col("state") == "failed")["mode"]
    fractures = int((failed == "ring_land_fracture").sum())
    return np.array(
        [
            tables["last_written"].height,
            lives.height,
            lives.filter(pl.col("state") == "running").height,
            fractures,
            failed.len() - fractures,
            (runs["engine_h_stop"] - runs["engine_h_start"]).sum(),
            fuel["burn_l"].sum(),
            (fuel["burn_l"] * fuel["unknown_share"]).sum(),
        ],
        dtype=float,
    )
