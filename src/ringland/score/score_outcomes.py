"""What became of the hulls that past chances spoke of, from the piston sets' lives."""

from __future__ import annotations

import polars as pl

from ringland.risk.fleet_hazard import MODES_AT_STAKE

_IS_AT_STAKE = (pl.col("state") == "failed") & pl.col("mode").is_in(list(MODES_AT_STAKE))


def failures_at_stake(lives: pl.DataFrame) -> pl.DataFrame:
    """The failures a chance speaks of: hull_id, failed_at.

    A failure counts for the hull its set sat in last.  One that is in no hull on record
    cannot be told against any chance and is left out.
    """
    return lives.filter(_IS_AT_STAKE & pl.col("hull_id").is_not_null()).select(
        "hull_id", failed_at="ended_at"
    )


def sets_taken_out(lives: pl.DataFrame) -> pl.DataFrame:
    """Sets that left a hull without such a failure: hull_id, taken_out_at.

    Planned renewals, withdrawals and failures of other modes: the chance was not put to
    the test any further.
    """
    ended = pl.col("ended_at").is_not_null() & pl.col("hull_id").is_not_null()
    return lives.filter(ended & ~_IS_AT_STAKE.fill_null(value=False)).select(
        "hull_id", taken_out_at="ended_at"
    )
