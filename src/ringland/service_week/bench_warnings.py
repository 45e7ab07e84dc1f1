"""What the last bench tests of an engine speak of, in one sentence for its call."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.assumptions import Assumptions
from ringland.service_week.fixed_words import MEASURE_LABELS
from ringland.service_week.number_words import day_text

WARNING_MEASURES = ("leak_down", "compression")
"""Tests whose failure calls for the engine to be looked at again before it is rented."""


def latest_tests(bench: pl.DataFrame) -> pl.DataFrame:
    """The last test of each measure on each engine, cylinder by cylinder.

    Args:
        bench: `BenchVerdicts` as known at the report's instant.

    Returns:
        The columns of `bench`, in order of engine, measure, cylinder and port.
    """
    last = pl.col("inspected_at").max().over("engine_id", "measure")
    return bench.filter(pl.col("inspected_at") == last).sort(
        "engine_id", "measure", "cylinder", "port"
    )


def bench_warnings(
    bench: pl.DataFrame, piston_sets: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """Engines whose last leak-down or compression test failed.

    A test older than the engine's present piston set, or than `call.bench_test_d` days,
    does not count.  Of several failed readings the first by measure and cylinder is named.

    Args:
        bench: `BenchVerdicts`.
        piston_sets: the `piston_sets` records.
        as_of: the instant the report speaks of.
        assumptions: settings.

    Returns:
        One row per engine with a warning: engine_id, warning.
    """
    since = as_of - timedelta(days=assumptions.number("call.bench_test_d"))
    fitted = piston_sets.group_by("engine_id").agg(pl.col("fitted_at").max())
    failed = (
        latest_tests(bench)
        .join(fitted, on="engine_id", how="left")
        .filter(
            pl.col("measure").is_in(WARNING_MEASURES)
            & (pl.col("verdict") == "fail")
            & (pl.col("inspected_at") >= since)
            & (pl.col("fitted_at").is_null() | (pl.col("inspected_at") >= pl.col("fitted_at")))
        )
        .sort("engine_id", pl.col("measure").replace_strict(_ORDER), "cylinder")
        .group_by("engine_id", maintain_order=True)
        .first()
    )
    return pl.DataFrame(
        {
            "engine_id": failed["engine_id"],
            "warning": [_warning(row) for row in failed.iter_rows(named=True)],
        },
        schema={"engine_id": pl.String, "warning": pl.String},
    )


_ORDER = {measure: rank for rank, measure in enumerate(WARNING_MEASURES)}


def _warning(row: dict[str, object]) -> str:
    where = "" if row["cylinder"] is None else f", cylinder {row['cylinder']}"
    at = row["inspected_at"]
    return f"{MEASURE_LABELS[str(row['measure'])]}{where} on {day_text(at)}: {row['reason']}"  # type: ignore[arg-type]
