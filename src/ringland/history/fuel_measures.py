"""Litres that somebody measured and that cannot be: a ride on no fuel, a pump that counts back.

What cannot be is left out of the fuel ledger and stands among the doubts, by the same rule.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.history.record_flags import record_flags
from ringland.settings.assumptions import Assumptions
from ringland.words.plain_words import sentence

Records = Mapping[str, pl.DataFrame]
_COUNTER = ["dock_id", "tank_id"]


def burned_what_can_be(assumptions: Assumptions) -> pl.Expr:
    """Whether rides with burned_l and running_h burned what an engine that runs must.

    Null where nothing was measured.
    """
    least_l_h = assumptions.number("doubt.least_burn_share") * assumptions.number(
        "fuel.cruise_burn_l_h"
    )
    return pl.col("burned_l") >= least_l_h * pl.col("running_h")


def rides_on_no_fuel(records: Records, assumptions: Assumptions) -> pl.DataFrame:
    """`RecordFlags` of rentals that ran on less fuel than an engine takes at idle."""
    rows = records["sessions"].filter(~burned_what_can_be(assumptions))
    words = sentence(
        "Hull {} ran {} h from {} UTC on and is written down as having burned {} l. No engine "
        "does: the ledger reckons what it burned from its hours instead.",
        "hull_id",
        pl.col("running_h").round(2),
        pl.col("started_at").dt.strftime("%Y-%m-%d %H:%M"),
        pl.col("burned_l").round(1),
    )
    return record_flags(rows, "ran_on_no_fuel", "started_at", words, "sessions")


def judged_totals(totals: pl.DataFrame) -> pl.DataFrame:
    """Readings of pump counters in their order, with what each of them is against the others.

    A counter only rises.  A reading outside of its two neighbours, which agree with each
    other, is a misreading; any other fall is a counter that was replaced or set back.

    Args:
        totals: rows of the PumpTotals contract.

    Returns:
        The rows by dock, tank and time with `before_l`, the total of the reading before that
        counts; is_misread; has_fallen, below the reading before.
    """
    total, before = pl.col("total_l"), pl.col("total_l").shift(1).over(_COUNTER)
    after = pl.col("total_l").shift(-1).over(_COUNTER)
    is_misread = (after >= before) & ~total.is_between(before, after)
    judged = totals.sort(*_COUNTER, "read_at").with_columns(
        is_misread=is_misread.fill_null(value=False)
    )
    good = pl.when(~pl.col("is_misread")).then(total)
    judged = judged.with_columns(before_l=good.forward_fill().shift(1).over(_COUNTER))
    return judged.with_columns(
        has_fallen=(~pl.col("is_misread") & (total < pl.col("before_l"))).fill_null(value=False)
    )


def counters_that_fell(records: Records) -> pl.DataFrame:
    """`RecordFlags` of pump counters read as what they cannot show, or set back."""
    judged = judged_totals(records["pump_totals"])
    rows = judged.filter(pl.col("is_misread") | pl.col("has_fallen"))
    made_of_it = (
        pl.when("is_misread")
        .then(pl.lit("The reading after it goes on from the one before: this one is left out."))
        .otherwise(
            pl.lit("It is taken as a new counter, and what went out in between is not counted.")
        )
    )
    words = sentence(
        "The pump's counter{} at dock {} was read as {} l on {}, after {} l. {}",
        sentence(" of tank {}", "tank_id").fill_null(""),
        "dock_id",
        pl.col("total_l").round(1),
        pl.col("read_at").dt.strftime("%Y-%m-%d"),
        pl.col("before_l").round(1),
        made_of_it,
    )
    return record_flags(rows, "pump_counts_back", "read_at", words, "pump_totals")
