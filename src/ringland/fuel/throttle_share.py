"""The full-throttle share of each session, with the gaps in the record filled and flagged."""

from __future__ import annotations

import polars as pl

from ringland.settings.assumptions import Assumptions


def with_full_throttle_share(
    engine_sessions: pl.DataFrame, assumptions: Assumptions
) -> pl.DataFrame:
    """Fill a missing full_throttle_share and say so in is_throttle_assumed.

    A missing share becomes the middle (median) of the hull's recorded shares, then of the
    fleet's, then the setting exposure.full_throttle_share.
    """
    share = pl.col("full_throttle_share")
    return engine_sessions.with_columns(
        is_throttle_assumed=share.is_null(),
        full_throttle_share=pl.coalesce(
            share,
            share.median().over("hull_id"),
            share.median(),
            pl.lit(assumptions.number("exposure.full_throttle_share")),
        ),
    )
