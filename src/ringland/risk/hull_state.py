"""Where each hull in service stands: its engine, its running set, its open failure."""

from __future__ import annotations

from datetime import datetime

import polars as pl

from ringland.risk.exposure_ahead import USUAL
from ringland.settings.assumptions import Assumptions


def open_failures(
    failures: pl.DataFrame, rebuilds: pl.DataFrame, piston_sets: pl.DataFrame
) -> pl.DataFrame:
    """The last failure of each engine that nothing on record has put right.

    A rebuild, or a piston set fitted, at or after the finding closes it.

    Returns:
        One row per engine: engine_id, found_at, mode.
    """
    repaired = (
        pl.concat(
            [
                rebuilds.select("engine_id", repaired_at="rebuilt_at"),
                piston_sets.select("engine_id", repaired_at="fitted_at"),
            ]
        )
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("repaired_at").max())
    )
    return (
        failures.sort("engine_id", "found_at", "mode")
        .group_by("engine_id", maintain_order=True)
        .last()
        .join(repaired, on="engine_id", how="left")
        .filter(pl.col("repaired_at").is_null() | (pl.col("repaired_at") < pl.col("found_at")))
        .select("engine_id", "found_at", "mode")
        .sort("engine_id")
    )


def running_sets(
    *,
    exposure_now: pl.DataFrame,
    use: pl.DataFrame,
    usual: pl.DataFrame,
    installed: pl.DataFrame,
    failures: pl.DataFrame,
    cannot_tell: str | None,
    as_of: datetime,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """One row per hull in service: its engine, set, exposure and use, or why no chance is given.

    Args:
        exposure_now: `CurrentExposure` as known at `as_of`.
        use: as `expected_use` returns it.
        usual: as `usual_exposure` returns it; where it says nothing, what is now is usual.
        installed: hull_id, engine_id of the engines now fitted.
        failures: as `open_failures` returns them.
        cannot_tell: why no chance can be given for any hull; null: one can.
        as_of: the instant the report speaks of.
        assumptions: settings.

    Returns:
        The columns of `use`, `engine_id`, the columns of `exposure_now`, their `usual_` ones
        and `why_not`.
    """
    silent_d = assumptions.number("record.silent_after_d")
    known_share = assumptions.number("record.known_fuel_share")
    days_silent = (pl.lit(as_of) - pl.col("last_session_at")).dt.total_days()
    not_open = pl.col("use_h_d").is_null() & (days_silent > silent_d)
    is_silent = (pl.col("silent_d") > silent_d) | not_open
    reasons = (
        pl.when(pl.col("engine_id").is_null())
        .then(pl.lit("no engine on record for this hull"))
        .when(pl.col("found_at").is_not_null())
        .then(pl.lit("a failure was found and no rebuild is on record"))
        .when(pl.col("last_session_at").is_null())
        .then(pl.lit("no rental on record"))
        .when(pl.col("piston_set_id").is_null())
        .then(pl.lit("no running piston set on record for its engine"))
        .when(is_silent)
        .then(pl.format("no rental on record for {} days", days_silent))
        .when(pl.col("known_share_25h") < known_share)
        .then(
            pl.format(
                "only {} % of the fuel it burned of late is on record",
                (pl.col("known_share_25h") * 100).round(0).cast(pl.Int64),
            )
        )
        .when(pl.col("use_h_d").is_null())
        .then(pl.lit("no recent rental at its dock to judge its use by"))
        .otherwise(pl.lit(cannot_tell, dtype=pl.String))
    )
    return (
        use.join(installed.select("hull_id", "engine_id"), on="hull_id", how="left")
        .join(failures, on="engine_id", how="left")
        .join(
            exposure_now.drop("hull_id", "dock_id", "last_session_at"), on="engine_id", how="left"
        )
        .join(usual, on="hull_id", how="left")
        .with_columns(
            pl.coalesce(name, name.removeprefix(USUAL))
            for name in usual.columns
            if name.startswith(USUAL)
        )
        .rechunk()  # Polars 2.1 panics when it formats a column with an empty chunk
        .with_columns(why_not=reasons)
        .sort("hull_id")
    )
