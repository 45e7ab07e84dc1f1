"""What answers a list: jobs that were done, and releases by name."""

from __future__ import annotations

import dataframely as dy
import polars as pl

from ringland.contracts.record_columns import (
    ALL_OPEN,
    MEASURES,
    ONE_JOB,
    REBUILD_SHEET,
    choice,
    instant,
    recorded,
    text,
)

JOB_RESULTS = ["done", "passed", "not_passed"]


class JobsDone(dy.Schema):
    """One row per job of a list that was done.

    Readings of a test belong into `inspections`: without them its result answers the job, not
    what the test was to show.
    """

    job_id = text("the job, as the list names it")
    done_at = instant("when it was done")
    done_by = text("the name of whoever did it")
    result = choice(JOB_RESULTS, "done; of a test: passed or not")
    note = text("what was found or done, in their words", nullable=True)
    recorded_at = recorded()


class Releases(dy.Schema):
    """One row per release by name: somebody lets an engine run on what stands open against it.

    It answers what had happened by then; a later failure it does not.
    """

    released_at = instant("when it was released")
    engine_id = text("the engine released; empty: the engine then in the hull", nullable=True)
    hull_id = text("the hull released; empty: told by the engine", nullable=True)
    what = choice(
        [*MEASURES, REBUILD_SHEET, ONE_JOB, ALL_OPEN],
        f"what is let go: the failed test of a measure, '{REBUILD_SHEET}', '{ONE_JOB}', or "
        f"'{ALL_OPEN}': every failed test, open rebuild sheet and job there was then; without "
        f"engine or hull '{REBUILD_SHEET}' and '{ALL_OPEN}' speak of the whole fleet",
    )
    job_id = text("the job let go, as a list names it; empty: no job", nullable=True)
    released_by = text("the name of whoever answers for it")
    why = text("why, in their words")
    until = instant("from when it no longer holds; empty: until a later failure", nullable=True)
    recorded_at = recorded()

    @dy.rule()
    def a_release_names_its_engine(cls) -> pl.Expr:
        """engine_id and hull_id are empty, and what is a measure"""
        return (
            cls.engine_id.col.is_not_null()
            | cls.hull_id.col.is_not_null()
            | cls.what.col.is_in([ALL_OPEN, REBUILD_SHEET, ONE_JOB])
        )

    @dy.rule()
    def a_release_of_a_job_names_it(cls) -> pl.Expr:
        """What is 'job' and job_id is empty, or the other way round"""
        return (cls.what.col == ONE_JOB) == cls.job_id.col.is_not_null()

    @dy.rule()
    def ends_after_it_began(cls) -> pl.Expr:
        """Until is not after released_at"""
        return cls.until.col.is_null() | (cls.until.col > cls.released_at.col)
