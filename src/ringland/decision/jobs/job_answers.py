"""The record rows that answer a job of a list: done, or let go by name."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from difflib import get_close_matches
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import OPEN, SHEET_JOB, HullJobs
from ringland.contracts.record_columns import ALL_OPEN, ONE_JOB, REBUILD_SHEET
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.actions.safety_rules import FAILED_TEST
from ringland.decision.jobs.job_results import JobError, Rows, Shop, Told, as_text, result_rows
from ringland.decision.jobs.open_jobs import answers_by_name


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


@dataclass(frozen=True)
class Done:
    """Who did a job, when, with which result of `JOB_RESULTS`, and in their words.

    `told_at` is when it is written down, from which on it is known.
    """

    at: datetime
    by: str
    told_at: datetime
    result: str = "done"
    note: str = ""


def done_rows(job: Mapping[str, Any], done: Done, told: Told, shop: Shop) -> Rows:
    """The rows that say that a job was done, and what it led to.

    Raises:
        JobError: as `result_rows`.
    """
    row = {
        "job_id": str(job["job_id"]),
        "done_at": as_text(done.at),
        "done_by": done.by,
        "result": done.result,
        "note": done.note,
    }
    rows = {"jobs_done": [row]} | result_rows(job, told, done.at, shop)
    written = {"recorded_at": as_text(done.told_at)}
    return {kind: [one | written for one in lines] for kind, lines in rows.items()}


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
    end = "" if until is None else as_text(until)
    row = {"released_at": as_text(at), "engine_id": "", "released_by": by, "why": why}
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
    row = {"released_at": as_text(at), "what": ALL_OPEN, "released_by": by, "why": why}
    return {"releases": [row]}


def answered_since(
    jobs: pl.DataFrame, told: Mapping[str, pl.DataFrame], catalogue: Catalogue
) -> pl.DataFrame:
    """The jobs of the newest list with what was written down by their id since.

    What else answers a job (a passing test, a rebuild) is read when the next week is made.

    Args:
        jobs: `HullJobs`.
        told: rows of the kinds `ANSWERING`.
        catalogue: what jobs do.
    """
    found = answers_by_name(jobs, told, catalogue)
    rows = [
        row | found[row["job_id"]] if row["state"] == OPEN and row["job_id"] in found else row
        for row in jobs.iter_rows(named=True)
    ]
    types = {name: column.dtype for name, column in HullJobs.columns().items()}
    return HullJobs.validate(pl.DataFrame(rows, schema=types))


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
