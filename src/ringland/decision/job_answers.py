"""The record rows that answer a job of a list: done, or let go by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from difflib import get_close_matches
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import DONE as JOB_DONE
from ringland.contracts.decision_tables import OPEN, RELEASED, SHEET_JOB, HullJobs
from ringland.contracts.record_columns import ALL_OPEN, ONE_JOB, REBUILD_SHEET
from ringland.decision.hull_state import DRAIN
from ringland.decision.safety_rules import FAILED_TEST

Rows = dict[str, list[dict[str, str]]]
"""Rows as text by record kind, as a file of the kind holds them."""


class JobError(ValueError):
    """No job, or more than one, is meant; the message says which there are."""


def the_job(jobs: pl.DataFrame, said: str) -> Mapping[str, Any]:
    """The open job that is meant: by its id, the beginning of it, or its hull if it has one.

    Args:
        jobs: `HullJobs`.
        said: what the user wrote.

    Raises:
        JobError: none, or more than one.
    """
    rows = jobs.filter(pl.col("state") == OPEN).to_dicts()
    exact = [job for job in rows if job["job_id"] == said]
    meant = exact or [job for job in rows if str(job["job_id"]).startswith(said)]
    if len(meant) == 1:
        return meant[0]
    ids = [str(job["job_id"]) for job in meant or rows]
    if meant:
        raise JobError(f"'{said}' may mean {' or '.join(sorted(ids))}; write one of them.")
    near = get_close_matches(said, ids, n=3, cutoff=0.3)
    among = f" Did you mean {' or '.join(near)}?" if near else ""
    raise JobError(f"No open job '{said}'.{among} 'ringland jobs' lists them.")


def done_rows(
    job: Mapping[str, Any], at: datetime, by: str, *, result: str = "done", note: str = ""
) -> Rows:
    """The rows that say that a job was done; of a drain the drain itself as well."""
    row = {
        "job_id": str(job["job_id"]),
        "done_at": _instant(at),
        "done_by": by,
        "result": result,
        "note": note,
    }
    rows: Rows = {"jobs_done": [row]}
    if job["what"] == DRAIN:
        why = note or f"job {job['job_id']}"
        rows["drains"] = [{"hull_id": str(job["hull_id"]), "drained_at": _instant(at), "why": why}]
    return rows


def release_rows(
    job: Mapping[str, Any],
    at: datetime,
    by: str,
    *,
    why: str,
    until: datetime | None = None,
    failed: Sequence[str] = (),
) -> Rows:
    """The rows that let a job go by name, and with it what it was asked for.

    Args:
        job: a row of `HullJobs`.
        at: when.
        by: who answers for it.
        why: why.
        until: from when it no longer holds; None: until something new happens.
        failed: measures of the failed tests that stand against its engine.
    """
    end = "" if until is None else _instant(until)
    row = {"released_at": _instant(at), "engine_id": "", "released_by": by, "why": why}
    row |= {"until": end, "job_id": ""}
    rows = [row | {"what": ONE_JOB, "job_id": str(job["job_id"])}]
    engine = {"engine_id": str(job["engine_id"] or "")}
    if job["because"] == FAILED_TEST:
        rows += [row | engine | {"what": measure} for measure in failed]
    if job["what"] == SHEET_JOB:
        rows.append(row | engine | {"what": REBUILD_SHEET})
    return {"releases": rows}


def takeover_rows(at: datetime, by: str, why: str) -> Rows:
    """The one row by which a shop takes over what was open before its first list."""
    row = {"released_at": _instant(at), "what": ALL_OPEN, "released_by": by, "why": why}
    return {"releases": [row]}


def answered_since(
    jobs: pl.DataFrame, jobs_done: pl.DataFrame, releases: pl.DataFrame
) -> pl.DataFrame:
    """The jobs of the newest list with what was written down by their id since.

    What else answers a job (a passing test, a rebuild) is read when the next week is made.

    Args:
        jobs: `HullJobs`.
        jobs_done: rows of that record kind.
        releases: rows of that record kind.
    """
    told = pl.concat(
        [
            jobs_done.select(
                "job_id", _at="done_at", _by="done_by", _state=pl.lit(JOB_DONE), _words="note"
            ),
            releases.filter(pl.col("what") == ONE_JOB).select(
                "job_id", _at="released_at", _by="released_by", _state=pl.lit(RELEASED),
                _words="why",
            ),
        ]
    )  # fmt: skip
    first = told.sort("_at").group_by("job_id", maintain_order=True).first()
    joined = jobs.join(first, on="job_id", how="left", maintain_order="left")
    is_new = (pl.col("state") == OPEN) & pl.col("_at").is_not_null()
    return HullJobs.validate(
        joined.with_columns(
            state=pl.when(is_new).then("_state").otherwise("state"),
            answered_at=pl.when(is_new).then("_at").otherwise("answered_at"),
            answered_by=pl.when(is_new).then("_by").otherwise("answered_by"),
            answer=pl.when(is_new).then("_words").otherwise("answer"),
        ).select(HullJobs.column_names()),
        cast=True,
    )


def other_jobs(said: pl.DataFrame, restated: pl.DataFrame) -> tuple[list[str], list[str]]:
    """The jobs a week would have asked for besides, and those it would not have asked for.

    Args:
        said: `HullJobs` of the week as it was known.
        restated: the same told with what was known later.
    """
    asked, would = (
        set(jobs.filter(pl.col("state") == OPEN)["job_id"]) for jobs in (said, restated)
    )
    return sorted(would - asked), sorted(asked - would)


def _instant(at: datetime) -> str:
    return at.isoformat(timespec="seconds").replace("+00:00", "Z")
