"""From an effect back to the record: which piston sets and failures stand behind it.

One row per piston set, with the file and row of its fitting and of its failure, and what it
burned before it failed.  A page holds the failed sets; the whole table goes into the exports.
"""

from __future__ import annotations

from collections.abc import Mapping

import polars as pl

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.fleet_hazard import MODES_AT_STAKE

LINEAGE: dict[str, pl.DataType | type[pl.DataType]] = {
    "piston_set_id": pl.String,
    "hull_id": pl.String,
    "dock_id": pl.String,
    "engine_id": pl.String,
    "entry_h": pl.Float64,
    "exit_h": pl.Float64,
    "state": pl.String,
    "mode": pl.String,
    "ended_at": pl.Datetime("us", "UTC"),
    "n_spells": pl.Int64,
    "counts": pl.Boolean,
    "shortfall_25h_on": pl.Float64,
    "fuel_age_25h_d": pl.Float64,
    "full_throttle_25h": pl.Float64,
    "is_raised_calibration": pl.Boolean,
    "is_forged": pl.Boolean,
    "build_number": pl.Int64,
    "set_file": pl.String,
    "set_row": pl.Int64,
    "failure_file": pl.String,
    "failure_row": pl.Int64,
}


def sets_behind(
    lives: pl.DataFrame, spells: pl.DataFrame, records: Mapping[str, pl.DataFrame]
) -> pl.DataFrame:
    """Every piston set on record with what it brought to the estimates, failed ones first.

    Args:
        lives: `PistonLives`.
        spells: `Spells` the fits were made from.
        records: the record frames by kind, with `source_file` and `source_row` where known.

    Returns:
        The columns of `LINEAGE`: `n_spells` is zero for a set left out for want of running
        with known exposure; `counts` says whether its failure is one of the modes a chance
        speaks of and stands in the spells.  Covariates are those of its last spell; null
        without one.  Files and rows are null where the records were handed on without them.
    """
    keys = ["piston_set_id"]
    last = (
        spells.sort("start_h")
        .group_by(keys, maintain_order=True)
        .agg(
            n_spells=pl.len().cast(pl.Int64),
            is_in=pl.col("mode").is_in(list(MODES_AT_STAKE)).any(),
            **{name: pl.col(name).last() for name in COVARIATES},
        )
    )
    fitted = _placed(records["piston_sets"]).select(
        *keys, set_file="source_file", set_row="source_row"
    )
    failed = (
        _placed(records["failures"])
        .select(
            "engine_id", "mode", ended_at="found_at",
            failure_file="source_file", failure_row="source_row",
        )
        .unique(["engine_id", "mode", "ended_at"], keep="first", maintain_order=True)
    )  # fmt: skip
    return (
        lives.join(last, on=keys, how="left")
        .join(fitted, on=keys, how="left")
        .join(failed, on=["engine_id", "mode", "ended_at"], how="left")
        .with_columns(
            counts=pl.col("is_in").fill_null(False), n_spells=pl.col("n_spells").fill_null(0)
        )
        .sort("counts", "mode", "ended_at", "piston_set_id", descending=[True, True, False, False],
              nulls_last=True)
        .select(pl.col(name).cast(dtype) for name, dtype in LINEAGE.items())
    )  # fmt: skip


def lineage_table(sets: pl.DataFrame) -> pl.DataFrame:
    """The same for a spreadsheet, headings with units."""
    names = {
        "piston_set_id": "piston set",
        "hull_id": "hull",
        "dock_id": "dock",
        "engine_id": "engine",
        "entry_h": "seen from (engine h on the set)",
        "exit_h": "seen to (engine h on the set)",
        "state": "how it stands",
        "mode": "failure mode",
        "ended_at": "ended (UTC)",
        "n_spells": "intervals in the fit (count)",
        "counts": "its failure is in the fit",
        "shortfall_25h_on": "fuel below need, last 25 h (octane numbers)",
        "fuel_age_25h_d": "fuel age, last 25 h (d)",
        "full_throttle_25h": "full throttle, last 25 h (share of 1)",
        "is_raised_calibration": "raised calibration",
        "is_forged": "forged pistons",
        "build_number": "piston sets of the engine so far, with this one (count)",
        "set_file": "file of the fitting",
        "set_row": "row of the fitting (row number)",
        "failure_file": "file of the failure",
        "failure_row": "row of the failure (row number)",
    }
    return sets.select(pl.col(name).alias(title) for name, title in names.items())


def _placed(records: pl.DataFrame) -> pl.DataFrame:
    """The records with where they stand, null where they were handed on without it."""
    wanted = {"source_file": pl.String, "source_row": pl.Int64}
    return records.with_columns(
        pl.lit(None, dtype=dtype).alias(name)
        for name, dtype in wanted.items()
        if name not in records.columns
    )
