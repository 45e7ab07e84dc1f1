"""What the ledger could not make fit, as doubts about the records."""

from __future__ import annotations

from datetime import datetime, timedelta

import polars as pl

from ringland.fuel.session_fuel import SessionFuelResult
from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence

UNWRITTEN = ["unrecorded_fill", "unexplained_outflow"]
"""Events of a tank that the ledger had to add."""


def ledger_doubts(
    fuel: SessionFuelResult, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """A `RecordFlags` of all that the ledger could not make fit.

    Args:
        fuel: the ledger.
        as_of: its moment.
        assumptions: settings.
    """
    return pl.concat(
        [
            balance_doubts(fuel.balance, as_of, assumptions),
            unexplained_doubts(fuel.tank_events, as_of, assumptions),
            label_doubts(fuel.off_labels),
        ]
    )


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


def unexplained_doubts(
    tank_events: pl.DataFrame, as_of: datetime, assumptions: Assumptions
) -> pl.DataFrame:
    """A `RecordFlags`: one flag per hull with litres of late that nobody wrote down.

    Args:
        tank_events: of `SessionFuelResult`.
        as_of: the end of the days looked at.
        assumptions: fuel.balance_days and fuel.unexplained_l, from how many litres on.
    """
    since = as_of - timedelta(days=assumptions.number("fuel.balance_days"))
    litres, event = pl.col("moved_l"), pl.col("event")
    rows = (
        tank_events.filter(pl.col("at") > since)
        .group_by("hull_id", maintain_order=True)
        .agg(
            came_l=litres.filter(event == "unrecorded_fill").sum(),
            went_l=litres.filter(event == "unexplained_outflow").sum(),
            noted_at=pl.col("at").filter(event.is_in(UNWRITTEN)).last(),
        )
        .filter(pl.col("came_l") + pl.col("went_l") > assumptions.number("fuel.unexplained_l"))
        .sort("hull_id")
    )
    days = assumptions.number("fuel.balance_days")
    words = sentence(
        f"Hull {{}} must have taken about {{}} l and lost about {{}} l in the last {days:.0f} days "
        "that nobody wrote down. What it burned since is bounded by every grade within reach.",
        "hull_id",
        *(pl.col(name).round(0).cast(pl.Int64) for name in ("came_l", "went_l")),
    )
    return record_flags(rows, "fuel_unexplained", "noted_at", words)


def label_doubts(off_labels: pl.DataFrame) -> pl.DataFrame:
    """A `RecordFlags`: one flag per fill at a dock labelled as what its tank cannot have held.

    Args:
        off_labels: of `SessionFuelResult`.
    """
    words = sentence(
        "A fill of {} l at {} is labelled {} AKI; by its deliveries the tank held {} to {}. "
        "Both are in the bounds.",
        pl.col("volume_l").round(1),
        "source_dock_id",
        pl.col("label_aki").round(1),
        pl.col("blend_low_aki").round(1),
        pl.col("blend_high_aki").round(1),
    )
    rows = off_labels.sort("filled_at", "hull_id")
    return record_flags(rows, "label_off_blend", "filled_at", words, "fills")
