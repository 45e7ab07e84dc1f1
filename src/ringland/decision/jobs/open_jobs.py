"""What lists given out asked for, and what on record answers it.

A job stays open, with its id and its age, until it was done, a complete test passed, somebody
let it go by name, or something else overtook it.  Nothing is kept but what the lists asked:
each week reads the answers anew from the records, so that a correction changes them too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import polars as pl

from ringland.bench.standing_tests import complete_passes
from ringland.contracts.decision_tables import (
    DONE,
    OPEN,
    OVERTAKEN,
    PASSED,
    RELEASED,
    SHEET_JOB,
    HullJobs,
)
from ringland.contracts.record_columns import ALL_OPEN, ONE_JOB
from ringland.decision.actions.action_catalogue import Action, Catalogue
from ringland.decision.actions.safety_rules import FAILED_TEST
from ringland.decision.jobs.hull_state import (
    OWN_FUEL,
    is_limited_by_own_fuel,
    own_fuel_will_do,
)
from ringland.decision.jobs.job_results import (
    CALIBRATIONS,
    DRAINS,
    NEEDS_ITS_RECORD,
    REBUILDS,
    result_kind,
    sets_calibration,
)
from ringland.history.engine_history import installed_engines
from ringland.words import state_words as said
from ringland.words.number_words import day_text

Row = Mapping[str, Any]


@dataclass(frozen=True)
class StandsNow:
    """What stands at the week: `StandingFailures`, `WeekTables.sheets`, `FuelAtHand`."""

    failures: pl.DataFrame
    sheets: pl.DataFrame
    at_hand: pl.DataFrame


class Answer(NamedTuple):
    """What answers a job: its state then, when, by whom, and in words."""

    state: str
    at: datetime
    by: str | None
    words: str


def asked_jobs(
    lists: pl.DataFrame,
    records: Mapping[str, pl.DataFrame],
    bench: pl.DataFrame,
    stands: StandsNow,
    *,
    catalogue: Catalogue,
    as_of: datetime,
) -> pl.DataFrame:
    """`HullJobs` that earlier lists given out asked for, each with what answers it by now.

    Args:
        lists: `HullJobs` of earlier weeks with their `as_of` and `is_given_out`.
        records: the record frames by kind, as known at `as_of`.
        bench: `BenchVerdicts`.
        stands: what stands against engines and hulls now.
        catalogue: what jobs do.
        as_of: the instant the week speaks of.
    """
    asked = (
        lists.filter(pl.col("is_given_out") & (pl.col("as_of") < as_of))
        .sort("as_of", "job_id")
        .group_by("job_id", maintain_order=True)
        .last()  # what the newest list said of it: its hull, and whether it must be done
        .select(HullJobs.column_names())
    )
    if asked.is_empty():
        return HullJobs.create_empty()
    book = _Answers(records, bench, stands, catalogue=catalogue, as_of=as_of)
    engine_in = installed_engines(records["installations"], as_of)
    hull_of = dict(engine_in.select("engine_id", "hull_id").iter_rows())
    rows = []
    for row in asked.iter_rows(named=True):
        job = row | {"hull_id": hull_of.get(row["engine_id"], row["hull_id"])}
        if row["state"] != OVERTAKEN:  # another job took it over: that one is asked for
            job |= {"state": OPEN, "answered_at": None, "answered_by": None, "answer": None}
            found = book.answer(job)
            job |= {"answer": book.unfinished(job)} if found is None else _answered(found)
        rows.append(job)
    types = {name: column.dtype for name, column in HullJobs.columns().items()}
    return HullJobs.validate(pl.DataFrame(rows, schema=types))


class _Answers:
    """The records that can answer a job, by engine, hull and job."""

    def __init__(
        self,
        records: Mapping[str, pl.DataFrame],
        bench: pl.DataFrame,
        stands: StandsNow,
        *,
        catalogue: Catalogue,
        as_of: datetime,
    ) -> None:
        self._catalogue, self._as_of = catalogue, as_of
        self._named = _Named(records, catalogue, as_of)
        passes = complete_passes(bench, records["engines"])
        self._passes = _grouped(passes, "engine_id", "inspected_at")
        self._failures = _grouped(stands.failures, "engine_id", "failed_at")
        self._sheets = _grouped(stands.sheets, "engine_id", "rebuilt_at")
        self._at_hand = {row["hull_id"]: row for row in stands.at_hand.iter_rows(named=True)}
        sampled = records["fuel_tests"].filter(pl.col("hull_id").is_not_null())
        self._sampled = _grouped(sampled, "hull_id", "tested_at")
        self._left = dict(
            records["hulls"]
            .filter(pl.col("out_of_service_at") <= as_of)
            .select("hull_id", "out_of_service_at")
            .iter_rows()
        )

    def answer(self, job: Row) -> Answer | None:
        """The first of the answers there are to a job."""
        return min(self._all(job), key=lambda found: found.at, default=None)

    def unfinished(self, job: Row) -> str | None:
        """What was written down of a job whose result is not on record; None: nothing."""
        return self._named.unfinished(job)

    def _all(self, job: Row) -> Iterator[Answer]:
        yield from self._named.of(job)
        if job["what"] == SHEET_JOB:
            yield from self._sheet(job)
        elif any(action.test is not None for action in self._catalogue.jobs(job["what"])):
            yield from self._named.renewed(job)
        for action in self._catalogue.jobs(job["what"]):
            yield from self._of_action(action, job)
        if job["because"] == FAILED_TEST:
            yield from self._failed_test(job)
        if job["because"] == OWN_FUEL:
            yield from self._own_fuel(job)
        left_at = self._left.get(job["hull_id"])
        if left_at is not None:
            words = said.ANSWERS["left service"].format(day=day_text(left_at))
            yield Answer(OVERTAKEN, left_at, None, words)

    def _failed_test(self, job: Row) -> Iterator[Answer]:
        rows = self._failures.get(job["engine_id"], [])
        if not rows:
            yield Answer(PASSED, self._as_of, None, said.ANSWERS["test answered"])
        if all(row["released_by"] is not None for row in rows):
            yield from map(_released, rows)

    def _sheet(self, job: Row) -> Iterator[Answer]:
        rows = self._sheets.get(job["engine_id"], [])
        if not rows:
            yield Answer(DONE, self._as_of, None, said.ANSWERS["sheet closed"])
        yield from (_released(row) for row in rows if row["released_by"] is not None)

    def _own_fuel(self, job: Row) -> Iterator[Answer]:
        at_hand = self._at_hand.get(job["hull_id"])
        if at_hand is not None and own_fuel_will_do(at_hand):
            is_limited = is_limited_by_own_fuel(at_hand)
            words = said.ANSWERS["fuel will do" if is_limited else "fuel gone"]
            yield Answer(OVERTAKEN, self._as_of, None, words)

    def _of_action(self, action: Action, job: Row) -> Iterator[Answer]:
        if action.test is not None:
            yield from self._tested(action.test.measures, job)
        if action.finding is not None and not sets_calibration(action):
            rows = self._sampled.get(job["hull_id"], ())
            yield from _since(rows, "tested_at", job, "sampled")

    def _tested(self, measures: tuple[str, ...], job: Row) -> Iterator[Answer]:
        def read(row: Row, at: str) -> bool:
            return bool(row["measure"] in measures and row[at] >= job["asked_at"])

        for row in self._passes.get(job["engine_id"], ()):
            if read(row, "inspected_at"):
                words = said.ANSWERS[PASSED].format(day=day_text(row["inspected_at"]))
                yield Answer(PASSED, row["inspected_at"], None, words)
        for row in self._failures.get(job["engine_id"], ()):
            if read(row, "failed_at"):
                words = said.ANSWERS["failed"].format(day=day_text(row["failed_at"]))
                yield Answer(DONE, row["failed_at"], None, words)


class _Named:
    """What was written down by a job's id, and the results that a job must put on record."""

    def __init__(
        self, told: Mapping[str, pl.DataFrame], catalogue: Catalogue, as_of: datetime | None
    ) -> None:
        self._catalogue, self._as_of = catalogue, as_of
        self._done = _grouped(told["jobs_done"], "job_id", "done_at")
        self._releases = told["releases"].sort("released_at").to_dicts()
        built = [
            told["rebuilds"].select("engine_id", at="rebuilt_at"),
            told["piston_sets"].select("engine_id", at="fitted_at"),
        ]
        self._built = _grouped(pl.concat(built), "engine_id", "at")
        self._calibrated = _grouped(told["calibrations"], "engine_id", "in_force_at")
        self._drained = _grouped(told["drains"], "hull_id", "drained_at")

    def of(self, job: Row) -> Iterator[Answer]:
        """All that answers a job so."""
        results = list(self._results(job))
        for row in self._done.get(job["job_id"], ()):
            if self._kind(job) in NEEDS_ITS_RECORD and not results:
                continue
            words = said.ANSWERS[DONE if row["result"] == DONE else f"done: {row['result']}"]
            words = words.format(day=day_text(row["done_at"]), who=row["done_by"])
            note = f" ({row['note']})" if row["note"] else ""
            yield Answer(DONE, row["done_at"], row["done_by"], words + note)
        yield from results
        for row in self._releases:
            if self._lets_go(row, job):
                yield _released(row | {"released_because": row["why"]})

    def unfinished(self, job: Row) -> str | None:
        """What was written down of a job whose result is not on record; None: nothing."""
        rows = self._done.get(job["job_id"], [])
        if not rows or (kind := self._kind(job)) not in NEEDS_ITS_RECORD:
            return None
        row = rows[-1]
        return said.UNFINISHED[kind].format(day=day_text(row["done_at"]), who=row["done_by"])

    def renewed(self, job: Row) -> Iterator[Answer]:
        """That its engine was rebuilt, or got another piston set, since it was asked for."""
        yield from _since(self._built.get(job["engine_id"], ()), "at", job, "rebuilt")

    def _kind(self, job: Row) -> str | None:
        return result_kind(job["what"], self._catalogue)

    def _results(self, job: Row) -> Iterator[Answer]:
        kind = self._kind(job)
        if kind == REBUILDS:
            yield from self.renewed(job)
        if kind == DRAINS:
            rows = self._drained.get(job["hull_id"], ())
            yield from _since(rows, "drained_at", job, "drained")
        if kind == CALIBRATIONS:
            puts_back = any(action.effects for action in self._catalogue.jobs(job["what"]))
            rows = self._calibrated.get(job["engine_id"], [])
            fit = [row for row in rows if not (puts_back and row["calibration"] == "raised")]
            yield from _since(fit, "in_force_at", job, "calibrated")

    def _lets_go(self, release: Row, job: Row) -> bool:
        if release["until"] is not None and (
            self._as_of is not None and release["until"] <= self._as_of
        ):
            return False
        if release["what"] == ONE_JOB:
            return bool(release["job_id"] == job["job_id"])
        is_of = all(release[key] in (None, job[key]) for key in ("engine_id", "hull_id"))
        return bool(
            release["what"] == ALL_OPEN and is_of and release["released_at"] >= job["asked_at"]
        )


ANSWERING = ("jobs_done", "releases", "rebuilds", "piston_sets", "calibrations", "drains")
"""The record kinds that answer a job by its id or by its result, between two lists."""


def answers_by_name(
    jobs: pl.DataFrame, told: Mapping[str, pl.DataFrame], catalogue: Catalogue
) -> dict[str, dict[str, Any]]:
    """By job, the columns of `HullJobs` that what was written down since changes.

    Args:
        jobs: `HullJobs`.
        told: rows of the kinds `ANSWERING`.
        catalogue: what jobs do.
    """
    book = _Named(told, catalogue, None)
    found: dict[str, dict[str, Any]] = {}
    for job in jobs.iter_rows(named=True):
        answer = min(book.of(job), key=lambda one: one.at, default=None)
        if answer is not None:
            found[job["job_id"]] = _answered(answer)
        elif words := book.unfinished(job):
            found[job["job_id"]] = {"answer": words}
    return found


def _answered(found: Answer) -> dict[str, Any]:
    return {
        "state": found.state,
        "answered_at": found.at,
        "answered_by": found.by,
        "answer": found.words,
    }


def _since(rows: Iterable[Row], at: str, job: Row, words: str) -> Iterator[Answer]:
    for row in rows:
        if row[at] >= job["asked_at"]:
            yield Answer(DONE, row[at], None, said.ANSWERS[words].format(day=day_text(row[at])))


def _released(row: Row) -> Answer:
    """That an open thing was let go by name, a row of `with_releases`."""
    words = said.ANSWERS[RELEASED].format(
        day=day_text(row["released_at"]),
        who=row["released_by"],
        why=str(row["released_because"]).rstrip("."),
    )
    return Answer(RELEASED, row["released_at"], row["released_by"], words)


def _grouped(frame: pl.DataFrame, key: str, at: str) -> dict[str, list[Row]]:
    found: dict[str, list[Row]] = {}
    for row in _rows(frame, at):
        found.setdefault(row[key], []).append(row)
    return found


def _rows(frame: pl.DataFrame, at: str) -> Iterable[Row]:
    return frame.sort(at).iter_rows(named=True)
