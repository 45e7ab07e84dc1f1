"""What is told of a network as a whole: sums over its operators, added in the order of names.

Added in any other order the last digit would depend on which machine was done first.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import fsum
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
            # rounded once: a plain sum goes by the pieces that threads left the frame in
            fsum((runs["engine_h_stop"] - runs["engine_h_start"]).drop_nulls()),
            fsum(fuel["burn_l"].drop_nulls()),
            fsum((fuel["burn_l"] * fuel["unknown_share"]).drop_nulls()),
        ],
        dtype=float,
    )


GROUPED = ("piston_sets", "ring_land_fractures", "other_failures", "engine_h")
"""What `grouped_counts` counts of each group, in its order."""


def grouped_counts(tables: Mapping[str, pl.DataFrame]) -> dict[str, list[float]]:
    """`GROUPED` of one operator's spells by season and by kit, e.g. of 'season 2025'.

    A season is the year a spell ended in; a kit how the pistons are made and whose they are.

    Args:
        tables: as `lasting_tables` returns them.
    """
    kits = tables["piston_lives"].select(
        "piston_set_id", kit=pl.format("kit {}, {}", "piston_type", "supplier_grade")
    )
    spells = tables["spells"].join(kits, on="piston_set_id", how="left", maintain_order="left")
    spells = spells.with_columns(season=pl.format("season {}", pl.col("stop_at").dt.year()))
    is_fracture = pl.col("mode") == "ring_land_fracture"
    found: dict[str, list[float]] = {}
    for kind in ("season", "kit"):
        rows = spells.drop_nulls(kind).partition_by(kind, as_dict=True)
        for (name,), part in sorted(rows.items()):
            failed = part.filter(pl.col("mode").is_not_null())
            fractures = failed.filter(is_fracture).height
            hours = (part["stop_h"] - part["start_h"]).to_numpy().sum()
            sets = part["piston_set_id"].n_unique()
            found[str(name)] = [sets, fractures, failed.height - fractures, float(hours)]
    return found
