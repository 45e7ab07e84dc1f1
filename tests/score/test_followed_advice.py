"""Advice followed and advice not followed, counted by hand."""

from datetime import UTC, datetime, timedelta
from typing import Any

import polars as pl

from ringland.contracts.decision_tables import HullJobs
from ringland.score.followed_advice import followed_advice
from tests.decision.small_fleet import frame

AS_OF = datetime(2026, 8, 17, tzinfo=UTC)


def job(hull: str, state: str, *, asked: int = 14, done: int | None = None) -> dict[str, Any]:
    asked_at = AS_OF - timedelta(days=asked)
    return {
        "job_id": f"{hull}/check", "hull_id": hull, "what": "leak_down_check", "because": "cost",
        "why": "It pays.", "is_must": hull > "M", "asked_at": asked_at,
        "due_at": asked_at + timedelta(days=5), "state": state,
        "answered_at": None if done is None else AS_OF - timedelta(days=done),
    }  # fmt: skip


def test_what_was_done_in_time_late_let_go_or_never_is_told_apart() -> None:
    jobs = frame(
        HullJobs,
        [
            job("A", "done", done=10), job("B", "passed", done=2), job("C", "open"),
            job("D", "open", asked=3), job("E", "released", done=1), job("F", "overtaken", done=1),
            job("G", "open", asked=0), job("Z", "open"),
        ],
    )  # fmt: skip
    struck = [("A", 5), ("B", 5), ("C", 20), ("Z", 1)]
    failures = pl.DataFrame(
        [(hull, AS_OF - timedelta(days=ago)) for hull, ago in struck],
        schema={"hull_id": pl.String, "failed_at": pl.Datetime("us", "UTC")}, orient="row",
    )  # fmt: skip
    must, by_day = followed_advice(jobs, failures, AS_OF).to_dicts()

    assert (must["is_must"], must["asked"], must["not_done"], must["failed_undone"]) == (
        True, 1, 1, 1,
    )  # fmt: skip
    assert by_day == {
        "is_must": False, "asked": 6, "in_time": 1, "late": 1, "let_go": 1, "overtaken": 1,
        "not_yet": 1, "not_done": 1,
        "failed_after_done": 1,  # A; C failed before it was asked for
        "failed_undone": 1,  # B's check came three days after it broke
    }  # fmt: skip


def test_without_a_list_given_out_nothing_is_counted() -> None:
    none = pl.DataFrame(schema={"hull_id": pl.String, "failed_at": pl.Datetime("us", "UTC")})

    assert followed_advice(HullJobs.create_empty(), none, AS_OF).is_empty()
