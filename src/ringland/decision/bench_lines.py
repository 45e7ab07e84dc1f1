"""What the last bench tests of an engine say: a row a test, and a sentence for its call."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

import polars as pl

from ringland.settings.assumptions import Assumptions
from ringland.words.fixed_words import MARK_WORDS, MEASURE_LABELS
from ringland.words.number_words import day_text, plain_text, reading_text
from ringland.words.shown_units import shown_reading

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


def _warning(row: Mapping[str, Any]) -> str:
    where = "" if row["cylinder"] is None else f", cylinder {row['cylinder']}"
    at = row["inspected_at"]
    return f"{MEASURE_LABELS[row['measure']]}{where} on {day_text(at)}: {row['reason']}"


WORST_FIRST = ("fail", "lap and retest", "cannot be", "cannot judge", "pass")


def bench_rows(tests: pl.DataFrame) -> list[dict[str, str]]:
    """One row per test in words: its readings side by side, its worst verdict and why.

    Args:
        tests: one engine's rows of `latest_tests`.

    Returns:
        measure, day, readings, verdict, why, mark (how well founded the limit is), by test.
    """
    lines = []
    for part in tests.partition_by("measure", maintain_order=True):
        rows = part.to_dicts()
        worst = min(rows, key=lambda row: WORST_FIRST.index(row["verdict"]))
        where = _place(worst)
        lines.append(
            {
                "measure": MEASURE_LABELS[worst["measure"]],
                "day": day_text(worst["inspected_at"]),
                "readings": _readings(rows),
                "verdict": worst["verdict"],
                "why": f"{where}: {worst['reason']}"
                if where and len(rows) > 1
                else worst["reason"],
                "mark": MARK_WORDS.get(worst["mark"], ""),
            }
        )
    return lines


def _place(row: Mapping[str, Any]) -> str:
    """The cylinder and port a reading stands for; nothing for the whole engine."""
    cylinder = "" if row["cylinder"] is None else f"cyl {row['cylinder']}"
    return f"{cylinder} {row['port'] or ''}".strip()


def _readings(rows: list[dict[str, Any]]) -> str:
    """The readings of a test side by side, a unit they share said once."""
    units = {row["unit"] if row["state"] == "measured" else None for row in rows}
    shared = units.pop() if len(units) == 1 else None
    parts = [_reading(row, has_unit=shared is None) for row in rows]
    return ", ".join(parts) + (f" {shown_reading(0.0, shared)[1]}" if shared else "")


def _reading(row: Mapping[str, Any], *, has_unit: bool) -> str:
    read = {"stated_ok": "only 'ok' written down", "not_looked_at": "not looked at"}
    if row["state"] == "measured":
        figure = plain_text(shown_reading(row["value"], row["unit"])[0])
        read["measured"] = reading_text(row["value"], row["unit"]) if has_unit else figure
    where = _place(row)
    return f"{where}: {read[row['state']]}" if where else read[row["state"]]
