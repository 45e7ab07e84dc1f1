"""Each hull's hours along its meters, beside those of its rentals, with what was mended.

A meter that rolled over is followed on; over a replacement or a reset the line goes on with
the rentals' hours.  The difference between the two lines is the running that is on no
rental's record, or the wear of a meter that counts with the key on and the engine off.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.record_tables import HourLine
from ringland.history.meter_chain import ROLLS_OVER_AT_H
from ringland.history.meter_readings import good_readings
from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence


def hour_line(records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    """An `HourLine` by hull and reading; a hull without good readings has none.

    Args:
        records: what is known; hour_readings and sessions are read.
    """
    good, _ = good_readings(records["hour_readings"])
    rows = good.sort("hull_id", "read_at", "meter_id")
    rows = _with_rentals(rows, records["sessions"])
    first = pl.int_range(pl.len()).over("hull_id") == 0
    is_new = (pl.col("meter_id") != pl.col("meter_id").shift(1).over("hull_id")).fill_null(
        value=False
    )
    gained = pl.col("line_h") - pl.col("line_h").shift(1).over("hull_id")
    rentals = pl.col("_run_h") - pl.col("_run_h").shift(1).over("hull_id")
    rolled = (
        pl.col("line_h") - pl.col("meter_h")
        - (pl.col("line_h") - pl.col("meter_h")).shift(1).over("hull_id")
    ).is_in(ROLLS_OVER_AT_H)  # fmt: skip
    step = pl.when(is_new | pl.col("is_after_reset")).then(rentals).otherwise(gained)
    rows = rows.with_columns(
        _step=pl.when(first).then(0.0).otherwise(step),
        _rentals=pl.when(first).then(0.0).otherwise(rentals),
        repair=pl.when(is_new)
        .then(pl.lit("new meter"))
        .when("is_after_reset")
        .then(pl.lit("reset"))
        .when(rolled)
        .then(pl.lit("rolled over")),
    ).with_columns(
        line_h=pl.col("_step").cum_sum().over("hull_id"),
        rentals_h=pl.col("_rentals").cum_sum().over("hull_id"),
    )
    rows = rows.with_columns(residual_h=pl.col("line_h") - pl.col("rentals_h"))
    return HourLine.validate(rows.select(HourLine.column_names()), cast=True)


def _with_rentals(rows: pl.DataFrame, sessions: pl.DataFrame) -> pl.DataFrame:
    """The readings with `_run_h`, the hours written down for rentals begun before each."""
    run = sessions.sort("started_at").select(
        "hull_id",
        _started="started_at",
        _run_h=pl.col("running_h").cum_sum().over("hull_id"),
    )
    return (
        rows.sort("read_at")
        .join_asof(
            run,
            left_on="read_at",
            right_on="_started",
            by="hull_id",
            strategy="backward",
            check_sortedness=False,  # sorted above; Polars cannot check it within groups
        )
        .with_columns(pl.col("_run_h").fill_null(0.0))
        .sort("hull_id", "read_at", "meter_id")
    )


def key_on_flags(line: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """A `RecordFlags` of meters that run ahead of the rentals at a steady pace.

    A meter that counts with the key on runs ahead by about the same share all the time;
    rides that were not written down come in lumps.

    Args:
        line: an `HourLine`.
        assumptions: meter.key_on_spans readings at least, each ahead by meter.key_on_pace or
            more, and no pace further than meter.key_on_spread from the middle one.
    """
    pace = line.with_columns(
        pl.col("line_h", "rentals_h").diff().over("hull_id", "meter_id", order_by="read_at")
    ).filter(pl.col("rentals_h") > 0, pl.col("repair").is_null())
    paces = (
        pace.with_columns(_pace=pl.col("line_h") / pl.col("rentals_h"))
        .group_by("hull_id", "meter_id", maintain_order=True)
        .agg(
            _spans=pl.len(),
            _middle=pl.col("_pace").median(),
            _least=pl.col("_pace").min(),
            _most=pl.col("_pace").max(),
            noted_at=pl.col("read_at").last(),
        )
    )
    spread = assumptions.number("meter.key_on_spread")
    ahead = paces.filter(
        pl.col("_spans") >= assumptions.number("meter.key_on_spans"),
        pl.col("_least") >= assumptions.number("meter.key_on_pace"),
        pl.col("_most") - pl.col("_middle") <= spread,
        pl.col("_middle") - pl.col("_least") <= spread,
    )
    words = sentence(
        "Meter {} shows {} h for every hour written down, all the time: it probably counts with "
        "the key on. Engine hours follow the meter and may be that much too high.",
        "meter_id",
        pl.col("_middle").round(2),
    )
    return record_flags(ahead, "meter_counts_key_on", "noted_at", words)
