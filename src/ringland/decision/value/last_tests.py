"""When each engine last passed a compression or leak-down test: a reading stands a while."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta

import polars as pl

from ringland.contracts.decision_tables import DONE, PASSED
from ringland.decision.actions.action_terms import FAILED, FOUND_OUT, TESTED
from ringland.risk.expected_use import DAY_S
from ringland.settings.assumptions import Assumptions

MEASURES = ("compression", "leak_down")

BAD_READINGS = "bad_readings"
"""Optional column: days in a row on which a test of the set failed, within a reading's reach."""

BUILT_AT = "last_built_at"
"""Optional column: when the engine was last rebuilt or given a set."""


def with_last_build(
    running: pl.DataFrame, records: Mapping[str, pl.DataFrame], as_of: datetime
) -> pl.DataFrame:
    """The running sets with `BUILT_AT`; null where nothing is on record.

    Args:
        running: one row per hull, with engine_id.
        records: rebuilds and piston_sets as known at `as_of`.
        as_of: the instant the plan speaks of.
    """
    built = pl.concat(
        [
            records["rebuilds"].select("engine_id", at="rebuilt_at"),
            records["piston_sets"].select("engine_id", at="fitted_at"),
        ]
    ).filter(pl.col("at") <= as_of)
    last = built.group_by("engine_id", maintain_order=True).agg(pl.col("at").max().alias(BUILT_AT))
    return running.join(last, on="engine_id", how="left", maintain_order="left")


def with_days_since_test(
    running: pl.DataFrame, passes: pl.DataFrame, as_of: datetime
) -> pl.DataFrame:
    """The running sets with `tested_d_ago`, so that no test is planned twice in its reach.

    Only a complete test that passed counts; half a test, an 'ok' without a number, a reading
    that cannot be and a test of before the engine's last build do not, the last where `running`
    has `BUILT_AT`.

    Args:
        running: one row per hull, with engine_id.
        passes: as `complete_passes` returns them.
        as_of: the instant the plan speaks of.

    Returns:
        `running` with one column more; null where no test is on record.
    """
    last = (
        passes.filter(pl.col("measure").is_in(list(MEASURES)) & (pl.col("inspected_at") <= as_of))
        .group_by("engine_id", maintain_order=True)
        .agg(tested_at=pl.col("inspected_at").max())
    )
    joined = running.join(last, on="engine_id", how="left", maintain_order="left")
    days = (pl.lit(as_of) - pl.col("tested_at")).dt.total_seconds() / DAY_S
    if BUILT_AT in running.columns:
        days = pl.when((pl.col("tested_at") >= pl.col(BUILT_AT)).fill_null(value=True)).then(days)
    return joined.with_columns(days.alias(TESTED)).drop("tested_at")


def with_bad_readings(
    running: pl.DataFrame,
    bench: pl.DataFrame,
    passes: pl.DataFrame,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The running sets with `BAD_READINGS`: on how many days in a row a test of them failed.

    Counted back from the last failed test over the reach of a reading, since the last complete
    pass and the engine's last build; what was read again on the same day counts once.

    Args:
        running: one row per hull, with engine_id and, if known, `BUILT_AT`.
        bench: `BenchVerdicts`, as known at the instant spoken of.
        passes: as `complete_passes` returns them.
        assumptions: settings.
    """
    is_read = pl.col("measure").is_in(list(MEASURES))
    passed = (
        passes.filter(is_read)
        .group_by("engine_id", maintain_order=True)
        .agg(_passed_at=pl.col("inspected_at").max())
    )
    built = (
        pl.col(BUILT_AT) if BUILT_AT in running.columns else pl.lit(None, pl.Datetime("us", "UTC"))
    )
    reach = timedelta(days=assumptions.number("action.check_reach_d"))
    bad = (
        bench.filter(is_read & (pl.col("verdict") == "fail"))
        .select("engine_id", "inspected_at")
        .join(passed, on="engine_id", how="left", maintain_order="left")
        .join(running.select("engine_id", _built_at=built), on="engine_id", maintain_order="left")
        .filter(
            (pl.col("inspected_at") > pl.col("_passed_at")).fill_null(value=True),
            (pl.col("inspected_at") >= pl.col("_built_at")).fill_null(value=True),
        )
        .filter(pl.col("inspected_at") > pl.col("inspected_at").max().over("engine_id") - reach)
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("inspected_at").dt.date().n_unique().cast(pl.Int64).alias(BAD_READINGS))
    )
    return running.join(bad, on="engine_id", how="left", maintain_order="left").with_columns(
        pl.col(BAD_READINGS).fill_null(0)
    )


def with_failed_tests(
    running: pl.DataFrame, warnings: pl.DataFrame, standing: pl.DataFrame, jobs: pl.DataFrame
) -> pl.DataFrame:
    """The running sets with what failed and what was done since: the next look must tell more.

    What failed before the engine's last build is to be read again, and so is not among it.

    Args:
        running: one row per hull, with engine_id.
        warnings: as `bench_warnings` returns them.
        standing: `StandingFailures`.
        jobs: `HullJobs` of earlier lists.
    """
    since = standing.group_by("engine_id", maintain_order=True).agg(
        _since=pl.col("failed_at").max()
    )
    looked = (
        jobs.filter(pl.col("state").is_in([DONE, PASSED]))
        .join(since, on="engine_id", maintain_order="left")
        .filter(pl.col("answered_at") >= pl.col("_since"))
        .group_by("engine_id", maintain_order=True)
        .agg(pl.col("what").unique().sort().alias(FOUND_OUT))
    )
    none = pl.lit([], dtype=pl.List(pl.String))
    told = (
        running.join(
            warnings.select("engine_id", FAILED), on="engine_id", how="left", maintain_order="left"
        )
        .join(looked, on="engine_id", how="left", maintain_order="left")
        .with_columns(pl.col(FAILED, FOUND_OUT).fill_null(none))
    )
    if BUILT_AT not in running.columns:
        return told
    rebuilt = (
        standing.join(running.select("engine_id", BUILT_AT), on="engine_id", maintain_order="left")
        .filter(pl.col("failed_at") < pl.col(BUILT_AT))
        .group_by("engine_id", maintain_order=True)
        .agg(_before=pl.col("measure"))
    )
    return (
        told.join(rebuilt, on="engine_id", how="left", maintain_order="left")
        .with_columns(pl.col(FAILED).list.set_difference(pl.col("_before").fill_null(none)))
        .drop("_before")
    )
