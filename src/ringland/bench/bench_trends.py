"""Whether a series of bench readings held, drifted or stepped.

Wear drifts; a break steps.  Three shapes are compared on each series: a level, a straight
line over time, and one step between two levels.  Readings repeat to a stated share of
their size (sigma), so each shape's misfit is sum(((y - fit) / sigma)^2), and each free
number costs ln(n) (the Bayesian information criterion with known sigma).
"""

from __future__ import annotations

from datetime import datetime

import numpy as np
import numpy.typing as npt
import polars as pl

from ringland.settings.assumptions import Assumptions

STEADY, DRIFT, STEP, TOO_FEW = "steady", "drift", "step", "too few readings"
_SERIES = ["engine_id", "measure", "cylinder", "port"]


def reading_trends(
    judged: pl.DataFrame, piston_sets: pl.DataFrame, limits: Assumptions
) -> pl.DataFrame:
    """One row per engine, measure, cylinder and port, since the engine's last piston set.

    Columns: engine_id, measure, cylinder, port, readings, first_at, last_at, shape
    ('steady', 'drift', 'step', 'too few readings'), change (last fitted over first fitted,
    less 1; null for too few) and step_at (first reading after the step).  Compression is
    followed as a share of the mean of the other cylinders of its test, where there are any,
    so that gauge and weather cancel.

    Args:
        judged: `BenchVerdicts`; readings that cannot be and rows without a value do not count.
        piston_sets: rows of the PistonSets contract; readings before the last fitting are
            of another set.
        limits: repeatability per measure and the least number of readings.
    """
    fitted = piston_sets.group_by("engine_id", maintain_order=True).agg(pl.col("fitted_at").max())
    rows = (
        judged.filter(pl.col("standard_value").is_not_null() & (pl.col("verdict") != "cannot be"))
        .join(fitted, on="engine_id", how="left")
        .filter(pl.col("fitted_at").is_null() | (pl.col("inspected_at") >= pl.col("fitted_at")))
    )
    value, test = pl.col("standard_value"), ["engine_id", "inspected_at", "measure"]
    others = (value.sum() - value).over(test) / (value.count().over(test) - 1)
    rows = rows.with_columns(
        followed=pl.when((pl.col("measure") == "compression") & (value.count().over(test) > 1))
        .then(value / others)
        .otherwise(value)
    ).sort(*_SERIES, "inspected_at", nulls_last=True)
    trends = [_trend(part, limits) for part in rows.partition_by(_SERIES, maintain_order=True)]
    schema: dict[str, pl.DataType] = {
        **{name: rows.schema[name] for name in _SERIES},
        "readings": pl.Int64(),
        "first_at": rows.schema["inspected_at"],
        "last_at": rows.schema["inspected_at"],
        "shape": pl.String(),
        "change": pl.Float64(),
        "step_at": rows.schema["inspected_at"],
    }
    return pl.DataFrame(trends, schema=schema)


def _trend(part: pl.DataFrame, limits: Assumptions) -> dict[str, object]:
    at = part["inspected_at"].to_list()
    first = part.row(0, named=True)
    shape, change, step = TOO_FEW, None, None
    if part.height >= limits.number("trend.least_readings"):
        values = part["followed"].to_numpy()
        repeatability = limits.number(f"{first['measure']}.repeatability")
        shape, change, step = shape_of(_days(at), values, repeatability)
    return {
        **{name: first[name] for name in _SERIES},
        "readings": part.height,
        "first_at": at[0],
        "last_at": at[-1],
        "shape": shape,
        "change": change,
        "step_at": at[step] if step is not None else None,
    }


def _days(at: list[datetime]) -> npt.NDArray[np.float64]:
    return np.array([(instant - at[0]).total_seconds() / 86400 for instant in at])


def shape_of(
    x: npt.NDArray[np.float64], y: npt.NDArray[np.float64], repeatability: float
) -> tuple[str, float, int | None]:
    """Shape, relative change and index of the first reading after a step (None: no step).

    Args:
        x: days, rising.
        y: readings.
        repeatability: sigma as a share of the mean reading, e.g. 0.03.
    """
    n = len(y)
    sigma = repeatability * abs(y.mean()) or 1.0  # all zero: any sigma fits, nothing moves
    fits: dict[str, tuple[npt.NDArray[np.float64], int, int | None]] = {
        STEADY: (np.full(n, y.mean()), 1, None)
    }
    if np.ptp(x) > 0:
        slope, level = np.polyfit(x, y, 1)
        fits[DRIFT] = (level + slope * x, 2, None)
    steps = [np.where(np.arange(n) < k, y[:k].mean(), y[k:].mean()) for k in range(1, n)]
    best = _first_least([float((((y - fit) / sigma) ** 2).sum()) for fit in steps])
    fits[STEP] = (steps[best], 3, best + 1)
    costs = [
        float((((y - fit) / sigma) ** 2).sum()) + free * float(np.log(n))
        for fit, free, _ in fits.values()
    ]
    shape = list(fits)[_first_least(costs)]
    fit, _, step = fits[shape]
    change = float(fit[-1] / fit[0] - 1) if fit[0] else 0.0
    return shape, change, step


def _first_least(values: list[float]) -> int:
    """Index of the first value that is the least but for rounding, so that ties stay ties."""
    least = min(values)
    return next(n for n, value in enumerate(values) if value <= least + 1e-9 * (1 + abs(least)))
