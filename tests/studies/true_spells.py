"""Spells of the demo generator's true rentals, exposure as it truly was."""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.contracts.fuel_tables import Spells

SPELL_H = 5.0


def spells_of(history: pl.DataFrame, docks: Mapping[str, str]) -> pl.DataFrame:
    """Spells of about five hours from true sessions, covariates as at each one's start."""
    last = pl.col("set_h_stop").last()
    spells = (
        history.sort("piston_set_id", "started_at")
        .with_columns(piece=(pl.col("set_h_start") / SPELL_H).floor())
        .group_by("piston_set_id", "piece", maintain_order=True)
        .agg(
            pl.col("engine_id", "hull_id", "shortfall_25h_on", "fuel_age_25h_d").first(),
            pl.col("full_throttle_25h", "is_raised_calibration", "is_forged").first(),
            start_h=pl.col("set_h_start").first(),
            stop_h=last,
            start_at=pl.col("started_at").first(),
            stop_at=pl.col("started_at").last(),
            mode=pl.col("struck").drop_nulls().first(),
        )
    )
    return Spells.validate(
        spells.with_columns(_first_at=pl.col("start_at").min().over("piston_set_id"))
        .with_columns(
            dock_id=pl.col("hull_id").replace_strict(dict(docks)),
            shortfall_25h_low_on=pl.col("shortfall_25h_on"),
            shortfall_25h_high_on=pl.col("shortfall_25h_on"),
            shortfall_life_onh=pl.lit(0.0),
            share_over_28d_25h=pl.lit(0.0),
            build_number=pl.col("_first_at").rank("dense").over("engine_id").cast(pl.Int64),
            known_share_25h=pl.lit(1.0),
            stop_at=pl.col("stop_at") + pl.duration(hours=1),
        )
        .select(Spells.column_names()),
        cast=True,
    )
