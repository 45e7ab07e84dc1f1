"""How much of a hull's running is on record: the facts behind "not enough record to say".

The limits, and what is known of the fuel, belong to later rooms.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl

from ringland.contracts.record_tables import RecordQuality
from ringland.history.hour_line import hour_line
from ringland.history.meter_readings import good_readings

_US_PER_DAY = 86_400e6
_BENCH_TESTS = ["compression", "leak_down"]


def record_quality(
    records: Mapping[str, pl.DataFrame], engine_sessions: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    """A `RecordQuality`: one row per hull in service at `as_of`, by hull.

    Args:
        records: what is known at `as_of`, by record kind.
        engine_sessions: `hour_meter.engine_sessions` of the same records.
        as_of: the instant days are counted to.
    """
    return quality_on(last_written(records, engine_sessions, as_of), as_of)


def quality_on(written: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """`RecordQuality` of what `last_written` found, days counted to `as_of`."""
    rows = written.with_columns(
        days_since_session=_days_since(pl.col("last_session_at"), as_of),
        days_since_reading=_days_since(pl.col("last_reading_at"), as_of),
    )
    return RecordQuality.validate(rows.select(RecordQuality.column_names()))


def last_written(
    records: Mapping[str, pl.DataFrame], engine_sessions: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    """`RecordQuality` with `last_session_at` and `last_reading_at` in the place of days since.

    Arguments as of `record_quality`; the same at every instant at which the same is known.
    """
    is_there = pl.col("out_of_service_at").is_null() | (pl.col("out_of_service_at") > as_of)
    hulls = records["hulls"].filter(is_there).select("hull_id")
    readings, _ = good_readings(records["hour_readings"])
    rentals = engine_sessions.group_by("hull_id", maintain_order=True).agg(
        last_session_at=pl.col("ended_at").max(),
        # one after the other: a group's plain sum has another last digit with other threads
        on_meter_share=pl.col("running_h").filter("is_on_meter").cum_sum().last().fill_null(0.0)
        / pl.col("running_h").cum_sum().last(),
    )
    read = readings.group_by("hull_id", maintain_order=True).agg(
        last_reading_at=pl.col("read_at").max()
    )
    rows = (
        hulls.join(_engine_in_hull(records, as_of), on="hull_id", how="left")
        .join(rentals, on="hull_id", how="left")
        .join(read, on="hull_id", how="left")
        .join(_labelled_fuel(records), on="hull_id", how="left")
        .join(_hours_explained(records), on="hull_id", how="left")
    )
    tuned = records["calibrations"]["engine_id"].unique()
    tested = _tested_engines(records)
    return rows.with_columns(
        has_bench_test=pl.col("engine_id").is_in(tested.implode()).fill_null(value=False),
        has_calibration=pl.col("engine_id").is_in(tuned.implode()).fill_null(value=False),
    ).sort("hull_id")


def _labelled_fuel(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """Per hull, the share of its litres with an octane on a stated scale on record."""
    scales = ["octane_aki", "octane_ron", "octane_mon"]
    is_labelled = pl.any_horizontal(pl.col(scale).is_not_null() for scale in scales)
    first = (
        records["deliveries"]
        .filter(is_labelled)
        .group_by("dock_id", maintain_order=True)
        .agg(_first=pl.col("delivered_at").min())
    )
    dock_is_known = (pl.col("_first") <= pl.col("filled_at")).fill_null(value=False)
    return (
        records["fills"]
        .join(first, left_on="source_dock_id", right_on="dock_id", how="left")
        .group_by("hull_id", maintain_order=True)
        .agg(
            labelled_fuel_share=pl.col("volume_l").filter(is_labelled | dock_is_known).sum()
            / pl.col("volume_l").sum()
        )
    )


def _hours_explained(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    last = hour_line(records).group_by("hull_id", maintain_order=True).last()
    share = (pl.col("rentals_h") / pl.col("line_h")).clip(0, 1)
    return last.filter(pl.col("line_h") > 0).select("hull_id", hours_explained_share=share)


def _days_since(instant: pl.Expr, as_of: datetime) -> pl.Expr:
    return (pl.lit(as_of) - instant).dt.total_microseconds() / _US_PER_DAY


def _engine_in_hull(records: Mapping[str, pl.DataFrame], as_of: datetime) -> pl.DataFrame:
    is_in = pl.col("removed_at").is_null() | (pl.col("removed_at") > as_of)
    return (
        records["installations"]
        .filter(is_in)
        .sort("hull_id", "installed_at")
        .group_by("hull_id", maintain_order=True)
        .last()
        .select("hull_id", "engine_id")
    )


def _tested_engines(records: Mapping[str, pl.DataFrame]) -> pl.Series:
    fitted = (
        records["piston_sets"]
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("fitted_at").max())
    )
    return (
        records["inspections"]
        .filter(pl.col("measure").is_in(_BENCH_TESTS) & (pl.col("state") == "measured"))
        .join(fitted, on="engine_id", how="left")
        .filter(pl.col("fitted_at").is_null() | (pl.col("inspected_at") >= pl.col("fitted_at")))
        .to_series(records["inspections"].get_column_index("engine_id"))
        .unique()
    )
