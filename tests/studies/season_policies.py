"""What an operator may do all season: the simple rules, the tool, and two oracles."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import ceil

import numpy as np
import polars as pl

from ringland.decision.action_catalogue import NOTHING, REPAIR
from ringland.decision.operator_week import decide_week, operator_week
from ringland.decision.standing_rules import GivenOut
from ringland.decision.week_decisions import default_limits
from ringland.decision.week_limits import WeekLimits
from synthetic_data.worlds.season_ahead import Standing, costs_by_hull
from synthetic_data.worlds.world import SEASON_D
from tests.studies.season_play import BEARING, CATALOGUE, SETTINGS, Orders, Play, Policy

AGES_H = (200.0, 350.0, 500.0)
DRAIN_AT_D = 21.0
CHECK_EVERY_WEEKS = 8
HULLS_A_SLOT = 12


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
    return dict.fromkeys(range(play.fleet.state.places), ("fuel_rule",))


def good_fuel_for_raised(play: Play) -> Orders:
    """The same for the hulls whose calibration on record is a raised one."""
    runs = play.fleet.shop.written_calibration
    return {at: ("fuel_rule",) for at, name in enumerate(runs) if name == "raised"}


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
    """weeks; between decisions the rules given last go on and no job is asked for"""
    _weeks: int = 0
    _fits: object = None
    _last: Orders = field(default_factory=dict)

    def __call__(self, play: Play) -> Orders:
        """The week's orders."""
        fleet = play.fleet
        play.records.load(fleet.hand_in(), str(fleet.day))
        number, self._weeks = self._weeks, self._weeks + 1
        if number % self.decide_every:
            return {at: [n for n in names if n == "fuel_rule"] for at, names in self._last.items()}
        as_of = fleet.world.instant(fleet.day)
        fits = None if number % self.refit_every == 0 else self._fits
        week = operator_week(play.records.frames, as_of, SETTINGS, fits=fits)  # type: ignore[arg-type]
        self._fits = week.fits
        decisions = decide_week(
            week,
            as_of,
            SETTINGS,
            catalogue=CATALOGUE,
            limits=limits_of(fleet.state.places),
            given=given_out(play),
        )
        place = {hull: at for at, hull in enumerate(fleet.hull_ids)}
        orders = {}
        if decisions.plan is not None:
            for hull, option in decisions.plan.rows.select("hull_id", "option").iter_rows():
                play.given.append((fleet.day, hull, option))
                if option in (NOTHING, REPAIR):
                    continue
                orders[place[hull]] = [action.name for action in CATALOGUE.jobs(option)]
        self._last = orders
        return orders


def given_out(play: Play) -> pl.DataFrame:
    """What the tool's lists of the weeks before gave out, as the week command knows it."""
    rows = [(play.fleet.world.instant(day), hull, option) for day, hull, option in play.given]
    names = ("as_of", "hull_id", "option")
    frame = pl.DataFrame(rows, schema=dict.fromkeys(names), orient="row")
    return GivenOut.validate(frame, cast=True)


_CANDIDATES = (
    Standing(), Standing(good_fuel=True), Standing(stock=True),
    Standing(good_fuel=True, stock=True), Standing(drain_at_d=DRAIN_AT_D),
    Standing(renew_at_h=0.0), Standing(renew_at_h=0.0, good_fuel=True),
    *(Standing(renew_at_h=age) for age in (150.0, 250.0, 350.0, 450.0)),
    *(Standing(renew_at_h=age, good_fuel=True) for age in (250.0, 400.0)),
)  # fmt: skip


@dataclass
class Oracle:
    """Knows the law and the fleet's true state; picks each hull's cheapest standing policy.

    Looks again every four weeks, over this season and the next; `knows_own` tells whether it
    knows engines' own factors or only what their past tells of them.
    """

    knows_own: bool
    every: int = 4
    copies: int = 0
    _weeks: int = 0
    _choice: list[Standing] = field(default_factory=list)

    def __call__(self, play: Play) -> Orders:
        """The week's orders."""
        fleet, state = play.fleet, play.fleet.state
        world, n = fleet.world, state.places
        if self._weeks % self.every == 0:
            until = world.opening(world.years[-1] + 1) + SEASON_D
            costs = costs_by_hull(
                world, state, fleet.day, until, _CANDIDATES, prices=BEARING,
                copies=self.copies or max(5, 240 // n), seed=world.seed * 100 + self._weeks,
                knows_own=self.knows_own,
            )  # fmt: skip
            self._choice = [_CANDIDATES[int(k)] for k in costs.argmin(axis=0)]
            self._saves = costs[0] - costs.min(axis=0)
        first = self._weeks % self.every == 0
        self._weeks += 1
        orders: dict[int, list[str]] = {}
        renewing = []
        for at, choice in enumerate(self._choice):
            names = ["fuel_rule"] * choice.good_fuel
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


POLICIES: dict[str, Callable[[], Policy]] = {
    "nothing": lambda: nothing,
    **{f"top end at {age:.0f} h": (lambda age=age: top_end_at(age)) for age in AGES_H},
    "good fuel for all": lambda: good_fuel_for_all,
    "good fuel for raised": lambda: good_fuel_for_raised,
    "drain at 21 d": lambda: drain_by_age,
    "checks by calendar": lambda: checks_by_calendar,
    "calibrations put back": lambda: calibrations_put_back,
    "the tool": Tool,
    "parameter oracle": lambda: Oracle(knows_own=False),
    "oracle": lambda: Oracle(knows_own=True),
}
TOOL = "the tool"
SIMPLE = [name for name in POLICIES if name != TOOL and "oracle" not in name]
