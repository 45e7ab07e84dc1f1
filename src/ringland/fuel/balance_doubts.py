"""Hulls whose recorded fills and burns disagree of late, as doubts about their records."""

from __future__ import annotations

from datetime import datetime

import polars as pl

from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence


def balance_doubts(
    balance: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """A `RecordFlags`: one flag per hull whose `is_balance_off`, noted at `as_of`.

    Args:
        balance: of `SessionFuelResult`, made for the same `as_of`.
        as_of: the end of the days compared.
        assumptions: fuel.balance_days and fuel.balance_off.
    """
    rows = balance.filter(pl.col("kind") == "hull", pl.col("is_balance_off")).select(
        pl.lit(as_of).dt.cast_time_unit("us").alias("noted_at"),
        "in_recent_l",
        "drained_recent_l",
        "burned_recent_l",
        hull_id="tank",
    )
    days = assumptions.number("fuel.balance_days")
    share = assumptions.number("fuel.balance_off")
    words = sentence(
        f"Hull {{}} took {{}} l and had {{}} l drained in the last {days:.0f} days, and burned "
        f"about {{}} l: more than {share:.0%} apart. What it burned then rests on fuel that is "
        "not on record.".replace("%", " %"),
        "hull_id",
        *(
            pl.col(name).round(0).cast(pl.Int64)
            for name in ("in_recent_l", "drained_recent_l", "burned_recent_l")
        ),
    )
    return record_flags(rows.sort("hull_id"), "fuel_balance_off", "noted_at", words)
