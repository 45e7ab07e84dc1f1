"""Advice that was followed apart from advice that was not: the jobs of earlier lists."""

from __future__ import annotations

from datetime import datetime, timedelta

import dataframely as dy
import polars as pl

from ringland.contracts.decision_tables import DONE, OPEN, OVERTAKEN, PASSED, RELEASED
from ringland.risk.failure_risk import HORIZONS_D


class FollowedAdvice(dy.Schema):
    """One row for the jobs that come before a rental, and one for those with a day."""

    is_must = dy.Bool(primary_key=True)
    asked = dy.Int64(min=1)
    in_time = dy.Int64(min=0, description="done, or passed, by their day")
    late = dy.Int64(min=0, description="done, or passed, after it")
    let_go = dy.Int64(min=0, description="released by name")
    overtaken = dy.Int64(min=0)
    not_yet = dy.Int64(min=0, description="open, their day to come")
    not_done = dy.Int64(min=0, description="open, their day over")
    failed_after_done = dy.Int64(
        min=0, description="whose hull failed within 30 days of the asking, the job done by then"
    )
    failed_undone = dy.Int64(min=0, description="the same, the job not done by then")


def followed_advice(jobs: pl.DataFrame, failures: pl.DataFrame, as_of: datetime) -> pl.DataFrame:
    """`FollowedAdvice` of the jobs that lists before `as_of` asked for.

    Args:
        jobs: `HullJobs` with what answered them by `as_of`.
        failures: hull_id, failed_at of the failures the chances speak of.
        as_of: the instant spoken of.
    """
    asked = jobs.filter(pl.col("asked_at") < as_of)
    horizon = timedelta(days=HORIZONS_D["30d"])
    struck = (
        asked.select("job_id", "hull_id", "asked_at")
        .join(failures.select("hull_id", "failed_at"), on="hull_id", maintain_order="left")
        .filter(
            (pl.col("failed_at") > pl.col("asked_at"))
            & (pl.col("failed_at") <= pl.col("asked_at") + horizon)
            & (pl.col("failed_at") <= as_of)
        )
        .group_by("job_id", maintain_order=True)
        .agg(pl.col("failed_at").min())
    )
    state, at = pl.col("state"), pl.col("answered_at")
    is_done = state.is_in([DONE, PASSED])
    was_done = (is_done & (at <= pl.col("failed_at"))).fill_null(value=False)
    has_failed = pl.col("failed_at").is_not_null()
    is_over = pl.col("due_at") < as_of
    counts = {
        "in_time": is_done & (at <= pl.col("due_at")),
        "late": is_done & (at > pl.col("due_at")),
        "let_go": state == RELEASED,
        "overtaken": state == OVERTAKEN,
        "not_yet": (state == OPEN) & ~is_over,
        "not_done": (state == OPEN) & is_over,
        "failed_after_done": has_failed & was_done,
        "failed_undone": has_failed & ~was_done,
    }
    found = (
        asked.join(struck, on="job_id", how="left", maintain_order="left")
        .group_by("is_must", maintain_order=True)
        .agg(
            asked=pl.len().cast(pl.Int64),
            **{name: is_so.sum().cast(pl.Int64) for name, is_so in counts.items()},
        )
    )
    return FollowedAdvice.validate(found.sort("is_must", descending=True))
