"""How long each piston set ran, and what ended it.

The unit is the piston set in its engine, on engine hours since it was fitted.  A ring-land
fracture or worn rings end the set they are found in.  Any other failure is of the engine:
it ends the set only if a new set followed it without the old one having run again, or
was fitted "after_failure"; repaired on the old set, it does not.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

import polars as pl

from ringland.contracts.record_tables import PistonLives
from ringland.history.hour_meter import (
    engine_hours_at,
    latest_before,
    set_hours_at_fitting,
)
from ringland.history.record_flags import record_flags
from ringland.words.plain_words import sentence

RING_MODES = ["ring_land_fracture", "ring_wear"]


def piston_lives(
    records: Mapping[str, pl.DataFrame], engine_sessions: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    """A `PistonLives`: one row per piston set, by engine and fitting.

    A set is 'failed' at the hours its engine had when the failure was found; 'removed' when
    a new set took its place without one; 'withdrawn' when its engine is in no hull of the
    fleet, or is down after a failure and neither repaired nor run since; else 'running'.
    Entry is later than hour 0 only for a set fitted before the engine's record begins.

    Args:
        records: what is known at `as_of`, by record kind (see `known_then.known_by`).
        engine_sessions: `hour_meter.engine_sessions` of the same records.
        as_of: the end of observation.
    """
    sets = _sets(records, engine_sessions)
    ended = _with_stay(_with_ending_failure(sets, records, engine_sessions), records, as_of)
    is_failed = pl.col("failed_at").is_not_null()
    is_removed = pl.col("next_fitted_at").is_not_null()
    is_withdrawn = pl.col("withdrawn_at").is_not_null()
    ended = ended.with_columns(
        state=pl.when(is_failed)
        .then(pl.lit("failed"))
        .when(is_removed)
        .then(pl.lit("removed"))
        .when(is_withdrawn)
        .then(pl.lit("withdrawn"))
        .otherwise(pl.lit("running")),
        ended_at=pl.coalesce("failed_at", "next_fitted_at", "withdrawn_at"),
    ).with_columns(_until=pl.col("ended_at").fill_null(pl.lit(as_of)))
    hours = engine_hours_at(engine_sessions, records["engines"], ended, "_until")
    hours = hours.with_columns(exit_h=pl.col("engine_h") - pl.col("base_h")).drop("engine_h")
    good = engine_hours_at(engine_sessions, records["engines"], hours, "last_good_at")
    is_by_look = pl.col("how_found").is_in(["inspection", "teardown"])
    last_good_h = pl.max_horizontal(pl.col("engine_h") - pl.col("base_h"), pl.col("entry_h"))
    lives = good.with_columns(
        exit_h=pl.max_horizontal("exit_h", "entry_h"),
        last_good_h=pl.when(
            is_by_look & pl.col("last_good_at").is_not_null() & (last_good_h < pl.col("exit_h"))
        ).then(last_good_h),
    ).sort("engine_id", "fitted_at", "piston_set_id")
    lives = _with_last_hull(lives, records)
    return PistonLives.validate(lives.select(PistonLives.column_names()))


def unplaced_failures(
    records: Mapping[str, pl.DataFrame], engine_sessions: pl.DataFrame
) -> pl.DataFrame:
    """A `RecordFlags`: failures that belong to no piston set, or to one that had failed before."""
    sets = _sets(records, engine_sessions)
    failures = _failures_by_set(sets, records)
    no_set = record_flags(
        failures.filter(pl.col("piston_set_id").is_null()).drop("hull_id", strict=False),
        "failure_without_piston_set",
        "found_at",
        sentence(
            "A failure ({}) of engine {} has no piston set on record. It counts for no life.",
            "mode",
            "engine_id",
        ),
        "failures",
    )
    first_end = (
        _with_ending_failure(sets, records, engine_sessions)
        .filter(pl.col("failed_at").is_not_null())
        .select("piston_set_id", "failed_at", ended_by="mode")
    )
    again = failures.join(first_end, on="piston_set_id", how="inner", maintain_order="left").filter(
        pl.col("found_at") > pl.col("failed_at")
    )
    on_failed = record_flags(
        again.drop("hull_id", strict=False),
        "failure_on_failed_set",
        "found_at",
        sentence(
            "A failure ({}) of engine {} was found on set {}, which had ended by {}. "
            "Write down the set that was fitted in between.",
            "mode",
            "engine_id",
            "piston_set_id",
            "ended_by",
        ),
        "failures",
    )
    return pl.concat([no_set, on_failed]).sort("noted_at", "sentence")


def installed_engines(installations: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """The engine fitted to each hull at `as_of`: hull_id, engine_id, installed_at.

    Where the record has two engines in one hull at once, the one fitted last counts.
    """
    return (
        installations.filter(
            (pl.col("installed_at") <= as_of)
            & (pl.col("removed_at").is_null() | (pl.col("removed_at") > as_of))
        )
        .sort("hull_id", "installed_at", "engine_id")
        .group_by("hull_id", maintain_order=True)
        .last()
        .select("hull_id", "engine_id", "installed_at")
    )


def _sets(records: Mapping[str, pl.DataFrame], sessions: pl.DataFrame) -> pl.DataFrame:
    """Piston sets with entry, build number and the next set of the same engine."""
    sets = set_hours_at_fitting(records, sessions).select(
        "piston_set_id",
        "engine_id",
        "fitted_at",
        "piston_type",
        "supplier_grade",
        "base_h",
        entry_h=pl.when("is_first")
        .then(pl.col("first_recorded_engine_h") - pl.col("base_h"))
        .otherwise(0.0),
        reason="reason",
    )
    return sets.with_columns(
        build_number=pl.int_range(1, pl.len() + 1).over("engine_id"),
        next_fitted_at=pl.col("fitted_at").shift(-1).over("engine_id"),
        next_reason=pl.col("reason").shift(-1).over("engine_id"),
    ).drop("reason")


def _failures_by_set(sets: pl.DataFrame, records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    failures = records["failures"].select(
        "engine_id", "found_at", "mode", "how_found", "last_good_at"
    )
    fitted = sets.select(
        "engine_id", "piston_set_id", "next_fitted_at", "next_reason", _fitted="fitted_at"
    )
    # A failure found at the instant a new set is fitted is of the set that came out.
    just_before = failures.with_columns(_just_before=pl.col("found_at").dt.offset_by("-1us"))
    return latest_before(just_before, fitted, "engine_id", "_just_before", "_fitted").drop(
        "_just_before", "_fitted"
    )


def _with_ending_failure(
    sets: pl.DataFrame, records: Mapping[str, pl.DataFrame], sessions: pl.DataFrame
) -> pl.DataFrame:
    """Sets with the failure that ended them: failed_at, mode, how_found, last_good_at."""
    failures = _failures_by_set(sets, records).filter(pl.col("piston_set_id").is_not_null())
    runs = sessions.select("engine_id", _last_run="started_at")
    placed = latest_before(failures, runs, "engine_id", "next_fitted_at", "_last_run")
    never_ran_again = pl.col("_last_run").is_null() | (pl.col("_last_run") < pl.col("found_at"))
    is_last = pl.col("found_at") == pl.col("found_at").max().over("piston_set_id")
    is_ring = pl.col("mode").is_in(RING_MODES)
    # Two failures found at once, a ring failure among them: the ring failure is the set's own.
    ends_it = is_ring | (
        pl.col("next_fitted_at").is_not_null()
        & (pl.col("next_reason") != "planned")
        & (never_ran_again | ((pl.col("next_reason") == "after_failure") & is_last))
    )
    first = (
        placed.filter(ends_it)
        .sort("found_at", ~is_ring, "mode")
        .group_by("piston_set_id", maintain_order=True)
        .first()
        .select("piston_set_id", "mode", "how_found", "last_good_at", failed_at="found_at")
    )
    return sets.join(first, on="piston_set_id", how="left", maintain_order="left").join(
        _down_since(failures, records, sessions),
        on="piston_set_id",
        how="left",
        maintain_order="left",
    )


def _down_since(
    failures: pl.DataFrame, records: Mapping[str, pl.DataFrame], sessions: pl.DataFrame
) -> pl.DataFrame:
    """Sets whose engine's last failure was followed by neither a rental nor a rebuild."""
    last_run = sessions.group_by("engine_id", maintain_order=True).agg(
        _last_run=pl.col("started_at").max()
    )
    last_rebuilt = (
        records["rebuilds"]
        .group_by("engine_id", maintain_order=True)
        .agg(_last_rebuilt=pl.col("rebuilt_at").max())
    )
    last = failures.group_by("engine_id", "piston_set_id", maintain_order=True).agg(
        down_at=pl.col("found_at").max()
    )
    return (
        last.join(last_run, on="engine_id", how="left")
        .join(last_rebuilt, on="engine_id", how="left")
        .filter(
            (pl.col("_last_run").is_null() | (pl.col("_last_run") < pl.col("down_at")))
            & (pl.col("_last_rebuilt").is_null() | (pl.col("_last_rebuilt") < pl.col("down_at")))
        )
        .select("piston_set_id", "down_at")
    )


def _with_stay(
    sets: pl.DataFrame, records: Mapping[str, pl.DataFrame], as_of: datetime
) -> pl.DataFrame:
    """Sets with `withdrawn_at`: when their engine left its last hull, or went down; else null."""
    hulls = records["hulls"].select("hull_id", "out_of_service_at")
    last_stay = (
        records["installations"]
        .join(hulls, on="hull_id", how="left")
        .sort("engine_id", "installed_at")
        .group_by("engine_id", maintain_order=True)
        .last()
        .select(
            "engine_id", "installed_at", _left=pl.min_horizontal("removed_at", "out_of_service_at")
        )
    )
    never_fitted = pl.when(pl.col("installed_at").is_null()).then(pl.col("fitted_at"))
    left = pl.when(pl.col("_left") <= as_of).then(pl.col("_left"))
    since = pl.min_horizontal(left, "down_at", never_fitted)
    # A set fitted on the bench is out of every hull from then, not from when the engine left.
    return (
        sets.join(last_stay, on="engine_id", how="left", maintain_order="left")
        .with_columns(
            withdrawn_at=pl.when(since.is_not_null()).then(pl.max_horizontal(since, "fitted_at"))
        )
        .drop("installed_at")
    )


def _with_last_hull(lives: pl.DataFrame, records: Mapping[str, pl.DataFrame]) -> pl.DataFrame:
    stays = records["installations"].select("engine_id", "hull_id", "installed_at")
    # A set that came out at the instant its engine went into another hull was not in that one.
    lives = lives.with_columns(_until=pl.col("_until").dt.offset_by("-1us"))
    placed = latest_before(lives, stays, "engine_id", "_until", "installed_at")
    homes = records["hulls"].select("hull_id", "dock_id")
    return placed.join(homes, on="hull_id", how="left").sort(
        "engine_id", "fitted_at", "piston_set_id"
    )
