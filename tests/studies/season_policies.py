"""What an operator may do all season: the simple rules, the tool, and two oracles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime
from math import ceil

import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import NOTHING, REPAIR
from ringland.decision.actions.fuel_offers import DOCK_WAY
from ringland.decision.actions.standing_rules import GivenOut
from ringland.decision.actions.week_limits import WeekLimits
from ringland.decision.jobs.open_jobs import StandsNow, asked_jobs
from ringland.decision.operator_week import OperatorWeek, decide_week, operator_week
from ringland.decision.week_decisions import WeekDecisions, default_limits
from synthetic_data.worlds.fleet_state import State
from synthetic_data.worlds.season_ahead import Standing, costs_by_hull
from synthetic_data.worlds.world import SEASON_D
from tests.studies.season_play import (
    BEARING,
    CATALOGUE,
    DOCK_FUEL,
    FUEL_RULE,
    SETTINGS,
    Orders,
    Play,
    Policy,
)

AGES_H = (200.0, 350.0, 500.0)
DRAIN_AT_D = 21.0
CHECK_EVERY_WEEKS = 8
HULLS_A_SLOT = 12
FIRST_WEEKS = 2
RULES = (FUEL_RULE, DOCK_FUEL, "restrict_throttle")
"""What goes on from week to week; anything else is done once."""


def lift_slots(hulls: int) -> int:
    """Lift slots of a week, for the tool as for every rival."""
    return max(2, ceil(hulls / HULLS_A_SLOT))


def limits_of(hulls: int) -> WeekLimits:
    """The room of a week: the product's default, in proportion where the fleet is large."""
    usual, slots = default_limits(CATALOGUE, SETTINGS), lift_slots(hulls)
    return replace(
        usual,
        lift_slots=slots,
        mechanic_h=usual.mechanic_h * slots / 2,
        parts_on_hand=dict.fromkeys(usual.parts_on_hand, slots),
    )


def nothing(_play: Play) -> Orders:
    """Run to failure."""
    return {}


def top_end_at(age_h: float) -> Policy:
    """New sets at a fixed age, the oldest first as slots allow."""

    def orders(play: Play) -> Orders:
        state = play.fleet.state
        old = np.flatnonzero((state.age_h >= age_h) & (state.from_day <= play.fleet.day))
        first = old[np.argsort(-state.age_h[old], kind="stable")][: lift_slots(state.places)]
        return {int(at): ("planned_top_end",) for at in first}

    return orders


def good_fuel_for_all(play: Play) -> Orders:
    """Only fuel that meets the need, none older than two weeks, in every hull."""
    return dict.fromkeys(range(play.fleet.state.places), (FUEL_RULE,))


def good_fuel_for_raised(play: Play) -> Orders:
    """The same for the hulls whose calibration on record is a raised one."""
    runs = play.fleet.shop.written_calibration
    return {at: (FUEL_RULE,) for at, name in enumerate(runs) if name == "raised"}


def dock_orders_93(play: Play) -> Orders:
    """Every dock orders the grade of raised calibrations from now on."""
    play.fleet.state.order_aki[:] = 93.0
    return {}


def drain_by_age(play: Play) -> Orders:
    """Fuel of three weeks is drained before the next ride."""
    play.fleet.state.drain_at_d[:] = DRAIN_AT_D
    return {}


def checks_by_calendar(play: Play) -> Orders:
    """Leak-down of every hull every eight weeks, spread over them; a bad one is renewed."""
    week = play.fleet.day // 7
    due = {
        at: ("leak_down_check",)
        for at in range(play.fleet.state.places)
        if (week + at) % CHECK_EVERY_WEEKS == 0
    }
    return due | dict.fromkeys(sorted(play.found_bad), ("planned_top_end",))


def calibrations_put_back(play: Play) -> Orders:
    """Every calibration read out and put back to stock in the first week."""
    opening = play.fleet.world.opening(play.fleet.world.years[-1])
    if play.fleet.day > opening:
        return {}
    return dict.fromkeys(range(play.fleet.state.places), ("mild_calibration",))


@dataclass
class Tool:
    """The weekly path that ships: load, ledger, fit, decide; then done as it says."""

    refit_every: int = 1
    decide_every: int = 1
    """weeks; between decisions the last list stands: its rules go on and its jobs are asked for
    until they are done.  The first weeks, when use and fuel of the new season begin to be known,
    are decided each, and so is the week after a test read badly, as it stops a hull's rental"""
    _weeks: int = 0
    _bad: int = 0
    """tests that had read badly when the last list was made"""
    _done: int = 0
    """jobs that had been done by then"""
    _sets: np.ndarray = field(default_factory=lambda: np.zeros(0))
    """the sets that ran then"""
    _fits: object = None
    _last: Orders = field(default_factory=dict)
    _lists: list[pl.DataFrame] = field(default_factory=list)
    """`HullJobs` of the lists given out, with their `as_of`"""

    def __call__(self, play: Play) -> Orders:
        """The week's orders."""
        fleet = play.fleet
        number, self._weeks = self._weeks, self._weeks + 1
        is_news = number < FIRST_WEEKS or play.read_badly > self._bad
        if number % self.decide_every and not is_news:
            return self._still_asked(play)
        self._bad, self._done = play.read_badly, len(play.done)
        self._sets = fleet.state.set_no.copy()
        play.records.load(fleet.hand_in(), str(fleet.day))
        as_of = fleet.world.instant(fleet.day)
        fits = None if number % self.refit_every == 0 else self._fits
        week = operator_week(play.records.frames, as_of, SETTINGS, fits=fits)  # type: ignore[arg-type]
        self._fits = week.fits
        decisions = decide_week(
            week, as_of, SETTINGS, catalogue=CATALOGUE, limits=limits_of(fleet.state.places),
            given=_given_out(play), earlier_jobs=self._asked(week, as_of), only_plan=True,
        )  # fmt: skip
        self._lists.append(
            decisions.jobs.with_columns(as_of=pl.lit(as_of), is_given_out=pl.lit(value=True))
        )
        play.given += [
            (fleet.day, hull, option)
            for hull, option in decisions.calls.select("hull_id", "action").iter_rows()
        ]
        self._last = _orders_of(play, decisions)
        return self._last

    def _still_asked(self, play: Play) -> Orders:
        """What the last list gave each hull, less what is done and what a new set has overtaken.

        A week ashore is one week.
        """
        done = set(play.done[self._done :])
        is_same = play.fleet.state.set_no == self._sets
        return {
            at: [
                name
                for name in names
                if name in RULES
                or (is_same[at] and (at, name) not in done and name != "take_out_of_use")
            ]
            for at, names in self._last.items()
        }

    def _asked(self, week: OperatorWeek, as_of: datetime) -> pl.DataFrame | None:
        """What the lists given out asked for and the records have not answered."""
        if not self._lists:
            return None
        tables = week.tables
        return asked_jobs(
            pl.concat(self._lists), week.record.known, week.record.bench,
            StandsNow(tables.standing, tables.sheets, tables.at_hand),
            catalogue=CATALOGUE, as_of=as_of,
        )  # fmt: skip


def _given_out(play: Play) -> pl.DataFrame:
    """What earlier lists gave out, as the warehouse keeps it."""
    world = play.fleet.world
    rows = [(world.instant(day), hull, option) for day, hull, option in play.given]
    types = {"as_of": pl.Datetime("us", "UTC"), "hull_id": pl.String, "option": pl.String}
    return GivenOut.validate(pl.DataFrame(rows, schema=types, orient="row"), cast=True)


def _orders_of(play: Play, decisions: WeekDecisions) -> Orders:
    """The plan carried out: jobs and rules by place, grades by dock."""
    fleet, state = play.fleet, play.fleet.state
    place = {hull: at for at, hull in enumerate(fleet.hull_ids)}
    state.order_aki[:] = 0.0
    orders: dict[int, list[str]] = {}
    if decisions.plan is None:
        return orders
    rows = decisions.plan.rows.select("hull_id", "option", "fuel_way")
    bound = decisions.plan.rows.filter("is_bound")["hull_id"]
    play.under_rule = {place[hull] for hull in bound}
    # The world repairs what broke and bills its days ashore, under every policy alike.
    broken = set(decisions.options.filter(pl.col("option") == REPAIR)["hull_id"])
    for hull, option, way in rows.iter_rows():
        if option == NOTHING or hull in broken:
            continue
        at = place[hull]
        names = [action.name for action in CATALOGUE.jobs(option)]
        if FUEL_RULE in names and way.startswith(DOCK_WAY):
            names[names.index(FUEL_RULE)] = DOCK_FUEL
            dock = int(state.dock[at])
            state.order_aki[dock] = max(state.order_aki[dock], float(way.removeprefix(DOCK_WAY)))
        orders[at] = names
    return orders


_CANDIDATES = (
    Standing(), Standing(good_fuel=True), Standing(stock=True),
    Standing(good_fuel=True, stock=True), Standing(drain_at_d=DRAIN_AT_D),
    Standing(renew_at_h=0.0), Standing(renew_at_h=0.0, good_fuel=True),
    *(Standing(renew_at_h=age) for age in (150.0, 250.0, 350.0, 450.0)),
    *(Standing(renew_at_h=age, good_fuel=True) for age in (250.0, 400.0)),
    Standing(dock_aki=91.0), Standing(dock_aki=93.0), Standing(dock_aki=93.0, renew_at_h=0.0),
    *(Standing(dock_aki=93.0, renew_at_h=age) for age in (250.0, 400.0)),
    Standing(dock_aki=91.0, stock=True),
)  # fmt: skip


@dataclass
class Oracle:
    """Knows the law and the fleet's true state; picks each hull's cheapest standing policy.

    Looks again every six weeks, over this season and the next; `knows_own` tells whether it
    knows engines' own factors or only what their past tells of them.
    """

    knows_own: bool
    every: int = 6
    copies: int = 0
    _weeks: int = 0
    _choice: list[Standing] = field(default_factory=list)
    _saves: np.ndarray = field(default_factory=lambda: np.zeros(0))
    _dock_aki: np.ndarray = field(default_factory=lambda: np.zeros(0))

    def __call__(self, play: Play) -> Orders:
        """The week's orders."""
        fleet, state = play.fleet, play.fleet.state
        world, n = fleet.world, state.places
        if self._weeks % self.every == 0:
            until = world.opening(world.years[-1] + 1) + SEASON_D
            costs = costs_by_hull(
                world, state, fleet.day, until, _CANDIDATES, prices=BEARING,
                copies=self.copies or max(4, min(12, 144 // n)),
                seed=world.seed * 100 + self._weeks,
                knows_own=self.knows_own,
            )  # fmt: skip
            self._choose(state, costs)
        first = self._weeks % self.every == 0
        self._weeks += 1
        state.order_aki[:] = self._dock_aki
        orders: dict[int, list[str]] = {}
        renewing = []
        for at, choice in enumerate(self._choice):
            names = [FUEL_RULE] * choice.good_fuel
            if choice.stock and state.calibration[at] == 1:
                names.append("mild_calibration")
            state.drain_at_d[at] = choice.drain_at_d
            due = first if choice.renew_at_h == 0 else state.age_h[at] >= choice.renew_at_h
            if due:
                renewing.append(at)
            orders[at] = names
        renewing.sort(key=lambda at: -self._saves[at])
        for at in renewing[: lift_slots(n)]:
            orders[at].append("planned_top_end")
        return orders

    def _choose(self, state: State, costs: np.ndarray) -> None:
        """By dock the grade it orders, then by hull the cheapest policy under it."""
        grades = np.array([candidate.dock_aki for candidate in _CANDIDATES])
        best = {aki: np.where(grades[:, None] == aki, costs, np.inf) for aki in np.unique(grades)}
        docks = state.bulk.litres.size
        by_dock = {
            aki: np.bincount(state.dock, weights=table.min(axis=0), minlength=docks)
            for aki, table in best.items()
        }
        order = sorted(by_dock)
        choice = np.array([by_dock[aki] for aki in order]).argmin(axis=0)
        self._dock_aki = np.array(order)[choice]
        picks = [
            int(best[self._dock_aki[dock]][:, at].argmin()) for at, dock in enumerate(state.dock)
        ]
        self._choice = [_CANDIDATES[pick] for pick in picks]
        self._saves = costs[0] - costs[picks, np.arange(len(picks))]


POLICIES: dict[str, Callable[[], Policy]] = {
    "nothing": lambda: nothing,
    **{f"top end at {age:.0f} h": (lambda age=age: top_end_at(age)) for age in AGES_H},
    "good fuel for all": lambda: good_fuel_for_all,
    "good fuel for raised": lambda: good_fuel_for_raised,
    "docks order 93": lambda: dock_orders_93,
    "drain at 21 d": lambda: drain_by_age,
    "checks by calendar": lambda: checks_by_calendar,
    "calibrations put back": lambda: calibrations_put_back,
    "the tool": Tool,
    "parameter oracle": lambda: Oracle(knows_own=False),
    "oracle": lambda: Oracle(knows_own=True),
}
TOOL = "the tool"
SIMPLE = [name for name in POLICIES if name != TOOL and "oracle" not in name]
