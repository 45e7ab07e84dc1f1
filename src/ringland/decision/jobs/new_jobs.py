"""The jobs of one hull this week: what this list asks for, merged with what is open of before.

What must be done before the hull is rented: the repair of an open failure, the look a safety
rule asks for, the signing of an open rebuild sheet, an earlier must that nobody did, and the
draining of fuel in its own tank that is below its need or too old.  What the plan gives it for
money's sake is a job too, with a day.  A job asked for again keeps its id and its first day.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, NamedTuple

import polars as pl

from ringland.contracts.decision_tables import OPEN, OVERTAKEN, SHEET_JOB
from ringland.decision.actions.action_catalogue import REPAIR, Action, Catalogue
from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.action_terms import FAILED, FOUND_OUT, repair_price, sure_price
from ringland.decision.actions.safety_rules import (
    FAILED_TEST,
    HIGH_7D,
    HIGH_30D,
    OPEN_FAILURE,
    OPEN_JOB,
)
from ringland.decision.jobs.bench_lines import sheet_line
from ringland.decision.jobs.fuel_lines import own_fuel_line
from ringland.decision.jobs.hull_state import (
    DRAIN,
    OPEN_SHEET,
    OWN_FUEL,
    Week,
    job_short,
    own_fuel_will_do,
)
from ringland.decision.jobs.reason_lines import late_text
from ringland.words import state_words as said
from ringland.words.number_words import day_key

Row = Mapping[str, Any]
STOCK_AGAIN = "mild_calibration"
"""The action that takes a raised calibration off."""

LOOKS = (HIGH_7D, FAILED_TEST, HIGH_30D, OPEN_JOB)
"""The rules that ask for a look, or a renewal."""

ORDER = (OPEN_FAILURE, FAILED_TEST, OPEN_SHEET, HIGH_7D, HIGH_30D, OPEN_JOB, OWN_FUEL)
"""The order in which musts are named."""


class _Asked(NamedTuple):
    what: str
    because: str
    why: str
    is_must: bool


@dataclass(frozen=True)
class Asker:
    """What asking needs of the week: its instant and catalogue, days to do a job in, prices.

    A job loses no rental beyond the `horizon_d` days that the plan looks ahead.
    """

    week: Week
    within_d: float
    prices: Prices
    ashore: str
    horizon_d: float

    def jobs(self, row: Row, reason: str, earlier: Sequence[Row]) -> list[dict[str, Any]]:
        """Rows of `HullJobs` of one hull, open ones first, the musts before the others.

        Args:
            row: its facts: hull_id, engine_id, found_at, warning, rule, option, wanted,
                is_pinned, failed_measures, looked_further, sheet (its row of `WeekTables.sheets`
                or None) and at_hand (its row of `FuelAtHand`).
            reason: why the plan gives it its option.
            earlier: rows of `HullJobs` of before that are on it now.
        """
        asked = {one.what: one for one in self._asked(row, reason)}
        open_before = {job["what"]: job for job in earlier if job["state"] == OPEN}
        overtaking = [one for one in asked.values() if one.what not in open_before]
        rows = []
        for job in earlier:
            if job["state"] == OPEN and job["what"] in asked:  # it stays, whatever is new
                if job is not open_before[job["what"]]:  # two engines' jobs: one goes on
                    rows.append(self._overtaken(job, job["what"]))
                continue
            by = next((one for one in overtaking if self._overtakes(one, job)), None)
            if job["state"] != OPEN or by is None:
                is_open = job["state"] == OPEN  # at this week's prices, as what is asked for anew
                rows.append(dict(job) | ({"price": self._price(job["what"])} if is_open else {}))
                continue
            if job["is_must"] and not by.is_must:  # a must stays a must in another's hands
                asked[by.what] = by._replace(because=OPEN_JOB, is_must=True)
            rows.append(self._overtaken(job, by.what))
        merged = [self._merged(one, open_before.get(one.what), row) for one in asked.values()]
        return sorted([*merged, *rows], key=_place)

    def _overtaken(self, job: Row, by: str) -> dict[str, Any]:
        words = said.ANSWERS["overtaken"].format(job=job_short(by, self._catalogue))
        answered = {"state": OVERTAKEN, "answered_at": self.week.as_of, "answer": words}
        return dict(job) | answered

    @property
    def _catalogue(self) -> Catalogue:
        return self.week.catalogue

    def _asked(self, row: Row, reason: str) -> Iterator[_Asked]:
        own = [] if row["option"] == self.ashore else self._catalogue.jobs(row["option"] or "")
        if row["found_at"] is not None:
            yield _Asked(REPAIR, OPEN_FAILURE, reason, is_must=True)
            return
        looks: list[str] = []
        if row["rule"] in LOOKS:
            looks = [action.name for action in own if _answers(action)] or [self._look(row)]
            because = FAILED_TEST if row["warning"] else row["rule"]
            for name in looks:
                yield _Asked(name, because, reason, is_must=True)
        sheet = row["sheet"]
        if sheet is not None and sheet["released_by"] is None:
            yield _Asked(SHEET_JOB, OPEN_SHEET, sheet_line(sheet), is_must=True)
        at_hand, planned = row["at_hand"], [action.name for action in own]
        about_fuel = fuel_job(at_hand, planned)
        if about_fuel is not None:
            yield _Asked(about_fuel, OWN_FUEL, own_fuel_line(at_hand), is_must=True)
        because = "hand" if row["is_pinned"] else "cost"
        for action in own:
            if not action.is_rule and action.name not in (*looks, about_fuel):
                yield _Asked(action.name, because, reason, is_must=False)

    def _look(self, row: Row) -> str:
        """What a hull waits for where the week has no room for it."""
        wanted = [a.name for a in self._catalogue.jobs(row["wanted"] or "") if _answers(a)]
        return wanted[0] if wanted else next_look(row[FAILED], row[FOUND_OUT], self._catalogue)

    def _overtakes(self, one: _Asked, job: Row) -> bool:
        """Whether a job takes another one over."""
        what = one.what
        if one.because == OWN_FUEL:  # two ways to put the same fuel right
            return bool(job["because"] == OWN_FUEL)
        if what == REPAIR:
            return bool(job["because"] != OWN_FUEL and _is_of_engine(job, self._catalogue))
        new, old = (self._catalogue.jobs(name) for name in (what, job["what"]))
        is_look = any(action.test is not None for action in old)
        if any(action.renews_age for action in new):
            return is_look or (what != job["what"] and any(a.renews_age for a in old))
        return is_look and any(action.after_failed for action in new)

    def _merged(self, one: _Asked, before: Row | None, row: Row) -> dict[str, Any]:
        as_of = self.week.as_of
        fresh = {
            "job_id": f"{row['hull_id']}/{one.what}/{day_key(as_of)}",
            "asked_at": as_of,
            "due_at": as_of + timedelta(days=self.within_d),
            "is_must": one.is_must,
            "because": one.because,
        }
        if before is not None:
            fresh |= {name: before[name] for name in ("job_id", "asked_at", "due_at")}
            fresh["is_must"] = one.is_must or before["is_must"]
            if before["is_must"] and not one.is_must:
                fresh["because"] = before["because"]
        is_of_hull = one.what == DRAIN
        return fresh | {
            "hull_id": row["hull_id"],
            "engine_id": None if is_of_hull else row["engine_id"],
            "what": one.what,
            "why": one.why,
            "price": self._price(one.what),
            "state": OPEN,
            "answered_at": None,
            "answered_by": None,
            "answer": None if before is None else before["answer"],
        }

    def _price(self, what: str) -> float | None:
        """What a job costs for sure, with the rental it loses; None: nobody can tell."""
        if what == REPAIR:
            return repair_price(self.prices, self.horizon_d)
        jobs = self._catalogue.jobs(what)
        return sure_price(jobs, self.prices, self.horizon_d) if jobs else None


def fuel_job(at_hand: Row, planned: Sequence[str]) -> str | None:
    """What must be done about the fuel in a hull's own tank; None: it will do.

    Fuel below the need is drained, unless the plan goes back to a calibration for which it
    will do, or its state says with what it may be burned; old fuel always is.

    Args:
        at_hand: its row of `FuelAtHand`; empty if it has none.
        planned: names of the plan's actions.
    """
    if own_fuel_will_do(at_hand):
        return None
    is_back = at_hand["own_way"] == "stock" and STOCK_AGAIN in planned
    return STOCK_AGAIN if is_back and not at_hand["is_own_old"] else DRAIN


def next_look(failed: Sequence[str], looked: Sequence[str], catalogue: Catalogue) -> str:
    """The look that tells more: after a failed test one that says where, then the opening.

    Args:
        failed: measures of the failed tests that stand.
        looked: what was done since they failed.
        catalogue: what can be done.
    """
    offered = [action for action in catalogue.actions.values() if action.offered]
    further = [a for a in offered if set(a.after_failed) & set(failed)]
    again = [a for a in offered if a.test and not set(a.test.measures) & set(failed)]
    tests = sorted(
        (a for a in again if a.test and not a.after_failed and a.name not in looked),
        key=lambda a: -(a.test.sensitivity.value if a.test else 0.0),
    )
    for action in further:
        if action.name not in looked:
            return action.name
    if further or not tests:
        renewals = [action.name for action in offered if action.renews_age]
        return renewals[0] if renewals else REPAIR
    return tests[0].name


def must_look(jobs: pl.DataFrame, catalogue: Catalogue) -> list[str]:
    """Hulls that an earlier list asked to look at, or renew, before they are rented."""
    looks = [name for name, action in catalogue.actions.items() if _answers(action)]
    waits = (pl.col("state") == OPEN) & pl.col("is_must") & pl.col("what").is_in(looks)
    return jobs.filter(waits)["hull_id"].unique().sort().to_list()


def job_state_text(job: Row, now: datetime) -> str:
    """Whether a job is open and how late, or what answered it.

    Args:
        job: a row of `HullJobs`.
        now: the instant spoken of.
    """
    if job["state"] != OPEN:
        return f"{job['state']}: {job['answer']}" if job["answer"] else str(job["state"])
    but = f"; {job['answer']}" if job["answer"] else ""
    return said.OPEN_JOB + late_text(job["due_at"], now) + but


def _answers(action: Action) -> bool:
    return action.renews_age or action.test is not None


def _is_of_engine(job: Row, catalogue: Catalogue) -> bool:
    return job["what"] == SHEET_JOB or any(_answers(a) for a in catalogue.jobs(job["what"]))


def _place(job: Row) -> tuple[bool, bool, int, Any, str]:
    because = job["because"]
    place = ORDER.index(because) if because in ORDER else len(ORDER)
    return (job["state"] != OPEN, not job["is_must"], place, job["due_at"], job["job_id"])
