"""Doubts about what was written down of jobs: an id no list asked for, a result that lacks."""

from __future__ import annotations

from collections.abc import Mapping
from difflib import get_close_matches

import polars as pl

from ringland.contracts.decision_tables import HullJobs
from ringland.contracts.record_columns import ONE_JOB
from ringland.decision.actions.action_catalogue import Catalogue
from ringland.decision.jobs.open_jobs import answers_by_name
from ringland.history.record_flags import record_flags
from ringland.words.plain_words import sentence


def job_doubts(
    records: Mapping[str, pl.DataFrame], lists: pl.DataFrame, catalogue: Catalogue
) -> pl.DataFrame:
    """`RecordFlags` of records that name a job.

    Args:
        records: the record frames by kind, as known at the week.
        lists: `HullJobs` of earlier weeks with their `is_given_out`.
        catalogue: what jobs do.
    """
    asked = lists.filter("is_given_out").unique("job_id", keep="last", maintain_order=True)
    ids = asked["job_id"].to_list()
    let_go = records["releases"].filter(pl.col("what") == ONE_JOB)
    return pl.concat(
        [
            _unknown(records["jobs_done"], "jobs_done", "done_at", ids),
            _unknown(let_go, "releases", "released_at", ids),
            _without_result(records, asked.select(HullJobs.column_names()), catalogue),
        ]
    )


def _unknown(rows: pl.DataFrame, kind: str, at: str, ids: list[str]) -> pl.DataFrame:
    """Rows that name a job which no list given out asked for."""
    lost = rows.filter(~pl.col("job_id").is_in(ids))
    near = [get_close_matches(job, ids, n=1, cutoff=0.3) for job in lost["job_id"]]
    meant = [f" Was '{found[0]}' meant?" if found else "" for found in near]
    words = sentence(
        f"A row of {kind} names job '{{}}', which no list given out asked for: it answers nothing."
        f"{{}}",
        "job_id",
        "_meant",
    )
    told = lost.with_columns(pl.Series("_meant", meant, dtype=pl.String))
    return record_flags(told, "job_unknown", at, words, kind)


def _without_result(
    records: Mapping[str, pl.DataFrame], asked: pl.DataFrame, catalogue: Catalogue
) -> pl.DataFrame:
    """Jobs written down as done whose result is not on record."""
    found = answers_by_name(asked, records, catalogue)
    words_of = {job: row["answer"] for job, row in found.items() if "state" not in row}
    known = pl.DataFrame(
        {"job_id": list(words_of), "_words": list(words_of.values())},
        schema={"job_id": pl.String, "_words": pl.String},
    )
    rows = records["jobs_done"].join(known, on="job_id", how="inner", maintain_order="left")
    words = sentence("Job '{}' was {}. Until then it stays open.", "job_id", "_words")
    return record_flags(rows, "job_without_result", "done_at", words, "jobs_done")
