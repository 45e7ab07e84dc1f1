"""The one plain state of a hull, decided here and nowhere else.

A hull against which a job stands that must be done first is not rented until it is done: an
open failure, a failed test that nothing answers, an open rebuild sheet, a chance at a limit, an
earlier must-do job, wrong or too old fuel in its own tank, records that cannot be worked with,
or a week ashore.  One without an
engine, or out of season, is not for rent.  Where the record tells too little, that is said.
One that runs on a condition (a grade, a throttle stop, a job with a day) is rented only with
it.  Of any other no open job is known, which is never clearance to run.

Every list, page and paper shows `HullState.says`; nothing else may say whether a hull is rented.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from ringland.contracts.decision_tables import (
    DO_NOT_RENT,
    NO_OPEN_JOB,
    NOT_ENOUGH,
    NOT_FOR_RENT,
    RENT_ONLY,
    SHEET_JOB,
)
from ringland.decision.actions.action_catalogue import FUEL_RULE, REPAIR, Catalogue
from ringland.decision.actions.week_limits import WEEK_D
from ringland.words import state_words as said
from ringland.words.number_words import number_text, weekday_text

DRAIN = "drain_refill"
"""The action, and the item of the price list, that empties a hull's tank."""

OPEN_SHEET, OWN_FUEL = "open_sheet", "own_fuel"
"""Why a job must be done, beside the safety rules."""

Row = Mapping[str, Any]


@dataclass(frozen=True)
class HullState:
    """A state of `STATES`, and the words for it."""

    kind: str
    says: str


@dataclass(frozen=True)
class Week:
    """What all hulls of a week share: its instant, the catalogue, when the season ended if it has.

    A hull that ran after the season's end is in season still.  A job overdue for more than
    `answer_by_name_d` days is to be done or let go by name.  `left_out` are the hulls whose
    records the week could not be worked out with.
    """

    as_of: datetime
    catalogue: Catalogue
    season_ended_at: datetime | None = None
    answer_by_name_d: float = 14.0
    left_out: frozenset[str] = frozenset()

    def is_out_of_season(self, last_session_at: datetime | None) -> bool:
        """Whether a hull that ran last at that time is laid up."""
        ended_at = self.season_ended_at
        return ended_at is not None and (last_session_at is None or last_session_at < ended_at)


def hull_state(
    facts: Row, jobs: Sequence[Row], at_hand: Row, actions: Sequence[str], week: Week
) -> HullState:
    """The state of one hull.

    Args:
        facts: hull_id, engine_id, last_session_at, why_not (no chance can be told), is_ashore (the
            plan keeps it ashore), has_no_room (for what it must get).
        jobs: its open jobs, rows of `HullJobs`, the musts first.
        at_hand: its row of `FuelAtHand`; empty if it has none.
        actions: names of what the week's plan gives it.
        week: the week.
    """
    musts = [_until(job, facts, at_hand, week) for job in jobs if job["is_must"]]
    if facts["hull_id"] in week.left_out:
        musts.append(said.UNTIL_READ)
    if not musts and facts["is_ashore"]:
        decided_again = week.as_of + timedelta(days=WEEK_D)
        musts = [said.UNTIL_NEXT_WEEK.format(day=weekday_text(decided_again))]
    if musts:
        return _state(DO_NOT_RENT, jobs=said.AND_UNTIL.join(dict.fromkeys(musts)))
    if facts["engine_id"] is None:
        return _state(NOT_FOR_RENT, why=said.NO_ENGINE)
    if week.is_out_of_season(facts["last_session_at"]):
        return _state(NOT_FOR_RENT, why=said.OUT_OF_SEASON)
    conditions = said.AND_WITH.join(_conditions(jobs, at_hand, actions, week))
    if facts["why_not"] is not None:
        state = _state(NOT_ENOUGH)
        if not conditions:
            return state
        return HullState(NOT_ENOUGH, said.IF_RENTED.format(state=state.says, conditions=conditions))
    return _state(RENT_ONLY, conditions=conditions) if conditions else _state(NO_OPEN_JOB)


def job_label(what: str, catalogue: Catalogue) -> str:
    """A job in words, for a page."""
    return said.SHEET_LABEL if what == SHEET_JOB else catalogue.label(what)


def job_short(what: str, catalogue: Catalogue) -> str:
    """A job in few words, for a list."""
    return said.SHEET_SHORT if what == SHEET_JOB else catalogue.short(what)


def is_overdue(job: Row, as_of: datetime) -> bool:
    """Whether a job's day has passed."""
    return bool(job["due_at"] < as_of)


def _state(kind: str, **filled: str) -> HullState:
    return HullState(kind, said.STATE_SAYS[kind].format(**filled))


def _until(job: Row, facts: Row, at_hand: Row, week: Week) -> str:
    """What a hull waits for."""
    short = job_short(job["what"], week.catalogue)
    because = "open_failure" if job["what"] == REPAIR else job["because"]
    is_drain = job["what"] == DRAIN
    if because in said.UNTIL and (is_drain or because != OWN_FUEL):
        until = said.UNTIL[because].format(job=short, grade=_filled(at_hand))
        if is_drain and at_hand and not at_hand["is_own_old"] and at_hand["own_way"] == "stock":
            until += said.OR_STOCK
    else:
        tests = any(action.test is not None for action in week.catalogue.jobs(job["what"]))
        until = (said.UNTIL_PASSED if tests else said.UNTIL_DONE).format(job=short)
    no_room = facts["has_no_room"] and because not in (OWN_FUEL, OPEN_SHEET)
    return said.NO_ROOM.format(until=until) if no_room else until


def _conditions(jobs: Sequence[Row], at_hand: Row, actions: Sequence[str], week: Week) -> list[str]:
    """What a hull may be rented with: fuel, throttle, jobs by their day."""
    catalogue = week.catalogue
    found = [own_condition(at_hand), _fuel_condition(at_hand, is_rule=FUEL_RULE in actions)]
    rules = [name for name in catalogue.rules() if name in actions and name != FUEL_RULE]
    found += [
        said.PART_THROTTLE if name == THROTTLE_RULE else catalogue.short(name) for name in rules
    ]
    for job in jobs:
        form = said.OVERDUE if is_overdue(job, week.as_of) else said.BY_DAY
        if week.as_of - job["due_at"] > timedelta(days=week.answer_by_name_d):
            form = said.ESCALATED
        day = weekday_text(job["due_at"])
        found.append(form.format(job=job_short(job["what"], catalogue), day=day))
    return [condition for condition in found if condition]


THROTTLE_RULE = "restrict_throttle"
"""The action that holds a hull to three-quarter throttle."""


def own_fuel_will_do(at_hand: Row) -> bool:
    """Whether a hull may run on the fuel in its own tank, as it is or as its state says.

    Fuel a little below a stock need may be burned at three-quarter throttle, or blended up to
    the need; old fuel, and fuel below a raised need, is neither.

    Args:
        at_hand: its row of `FuelAtHand`; empty if it has none.
    """
    if not at_hand or not (at_hand["is_own_short"] or at_hand["is_own_old"]):
        return True
    return not at_hand["is_own_old"] and (
        at_hand["own_way"] == "throttle" or at_hand.get("own_fill_aki") is not None
    )


def is_limited_by_own_fuel(at_hand: Row) -> bool:
    """Whether a hull may run on its own fuel, but only as its state says."""
    return bool(at_hand) and bool(at_hand["is_own_short"]) and own_fuel_will_do(at_hand)


def own_condition(at_hand: Row) -> str:
    """What the fuel in its own tank asks before or while it is burned; empty where nothing.

    Args:
        at_hand: its row of `FuelAtHand`; empty if it has none.
    """
    if not is_limited_by_own_fuel(at_hand):
        return ""
    ways = []
    if (fill_aki := at_hand.get("own_fill_aki")) is not None:
        form = said.FILL_UP if at_hand.get("can_fill_at_dock") else said.FILL_OUTSIDE
        ways.append(form.format(grade=said.GRADE.format(need=number_text(fill_aki, 0))))
    if at_hand["own_way"] == "throttle":
        ways.append(said.UNTIL_BURNED)
    return said.OR_WITH.join(ways)


def _fuel_condition(at_hand: Row, *, is_rule: bool) -> str:
    """What must be in a hull's tank beyond what its dock's gives; empty where nothing."""
    if not at_hand:
        return said.BEST_GRADE
    if at_hand["is_dock_short"] or at_hand["is_dock_old"]:
        by_throttle = at_hand["dock_way"] == "throttle" and not at_hand["is_dock_old"]
        form = said.OR_PART_THROTTLE if by_throttle else "{grade}"
        return form.format(grade=_filled(at_hand))
    if at_hand["need_aki"] is None or is_rule:
        return _grade(at_hand)
    return said.KNOWN_FUEL if at_hand["own_level_l"] is None else ""


def _filled(at_hand: Row) -> str:
    """The grade a hull is filled with, and where if its dock's tank will not do."""
    grade = _grade(at_hand)
    if at_hand.get("is_dock_old"):
        return said.OUTSIDE_FRESH.format(grade=grade)
    return said.OUTSIDE_GRADE.format(grade=grade) if at_hand.get("is_dock_short") else grade


def _grade(at_hand: Row) -> str:
    need = at_hand.get("need_aki")
    return said.BEST_GRADE if need is None else said.GRADE.format(need=number_text(need, 0))
