"""Failures seen against those the fit expects, part by part of the record: a check that can fail.

Running is parted by the set's age, by shortfall, by dock and by part of the year.  In each part
the failures seen are held against the distribution the fit's draws give for them (Poisson, mixed
over the draws: a posterior predictive check; Gelman and others 2013, chapter 6).  The limits are
set so that all parts of one kind together cry wolf in at most one record of twenty.  The fit has
seen these failures, so a miss here is one that its shape cannot follow.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import scipy
from numpy.typing import NDArray

from ringland.settings.assumptions import Assumptions

Floats = NDArray[np.float64]

AGE_H = (0.0, 25.0, 100.0, 200.0, 350.0)
SHORTFALL_ON = (0.0, 0.5, 1.5, 3.0)
"""Lower ends of the parts; the first shortfall holds fuel that met the need."""

SCHEMA = {
    "mode": pl.String,
    "kind": pl.String,
    "part": pl.String,
    "running_h": pl.Float64,
    "seen": pl.Int64,
    "expected": pl.Float64,
    "low": pl.Float64,
    "high": pl.Float64,
    "misses": pl.Boolean,
}
"""Kinds: age, shortfall, dock, season.  `low` and `high`: what may be seen if the fit is right."""


def parts_of(spells: pl.DataFrame) -> pl.DataFrame:
    """The part of each kind that every spell lies in, in words, in the order of the rows."""
    return spells.select(
        age=_banded("start_h", AGE_H, "h"),
        shortfall=_banded("shortfall_25h_on", SHORTFALL_ON, "octane numbers"),
        dock=pl.col("dock_id"),
        season=pl.col("start_at").dt.strftime("%m"),
    )


def against_record(
    spells: pl.DataFrame, hazard: Floats, mode: str, assumptions: Assumptions
) -> pl.DataFrame:
    """Seen and expected failures of one mode in each part of the record.

    Args:
        spells: `Spells` the fit was made from.
        hazard: cumulative hazard of each by the fit, shape (draws, rows).
        mode: the failure mode.
        assumptions: the level.

    Returns:
        Columns of `SCHEMA`, kind by kind.
    """
    parts = parts_of(spells)
    failed = (spells["mode"] == mode).fill_null(False).to_numpy()
    hours = (spells["stop_h"] - spells["start_h"]).to_numpy()
    rows = []
    for kind in parts.columns:
        names, at = np.unique(parts[kind].to_numpy().astype(str), return_inverse=True)
        tail = (1 - assumptions.number("survival.confidence")) / 2 / len(names)
        for i, name in enumerate(names):
            inside = at == i
            expected = hazard[:, inside].sum(axis=1)
            seen = int(failed[inside].sum())
            low, high = count_limits(expected, tail)
            rows.append(
                {
                    "mode": mode,
                    "kind": kind,
                    "part": str(name),
                    "running_h": float(hours[inside].sum()),
                    "seen": seen,
                    "expected": float(expected.mean()),
                    "low": low,
                    "high": high,
                    "misses": not low <= seen <= high,
                }
            )
    return pl.DataFrame(rows, schema=SCHEMA)


def _banded(column: str, edges: tuple[float, ...], unit: str) -> pl.Expr:
    """The band a value lies in, named by its ends."""
    chosen = pl.lit(f"{edges[0]:g} to {edges[1]:g} {unit}")
    for at, low in enumerate(edges[1:], start=1):
        is_last = at == len(edges) - 1
        label = f"{low:g} {unit} and more" if is_last else f"{low:g} to {edges[at + 1]:g} {unit}"
        chosen = pl.when(pl.col(column) >= low).then(pl.lit(label)).otherwise(chosen)
    return chosen


def count_limits(expected: Floats, tail: float) -> tuple[float, float]:
    """Counts with at most `tail` chance below and above, Poisson mixed over draws of its mean."""
    top = int(scipy.stats.poisson.isf(tail / 10, max(float(expected.max()), 1e-9))) + 1
    counts = np.arange(top + 1)
    below = scipy.stats.poisson.cdf(counts[:, None], expected[None, :]).mean(axis=1)
    low = int(np.searchsorted(below, tail, "right"))
    high = int(np.searchsorted(below, 1 - tail, "left"))
    return float(low), float(high)
