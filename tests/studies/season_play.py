"""One season of one world under one policy, closed loop: jobs done late, records, damage, bill.

Failures happen and are written down; the bill holds the expected cost instead: the growth of
each set's true hazard of ring-land fracture and ring wear (given the last test's reading),
times the price of a failure, and whatever was paid for jobs, fuel and days ashore.  Another
season with nothing done is priced at the end, so that sets left younger or older count.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from copy import deepcopy
from dataclasses import asdict, dataclass, field

import numpy as np

from ringland.decision.actions.action_prices import Prices
from ringland.decision.actions.catalogue_file import default_catalogue
from ringland.settings.assumptions import load_assumptions
from synthetic_data.worlds.living_fleet import LivingFleet
from synthetic_data.worlds.season_ahead import Bearing, growth_ahead, left_to_next_season
from synthetic_data.worlds.world import SEASON_D
from tests.studies.loaded_records import LoadedRecords

SETTINGS = load_assumptions().changed(planning__slots_tried=0, planning__plays=50)
"""The product's settings; what is set lower is shown on a page and decides nothing."""
CATALOGUE = default_catalogue(SETTINGS)
PRICES = Prices(
    check=180.0, drain_refill=170.0, top_end_planned=3500.0, full_rebuild_unplanned=7000.0,
    lost_rental_day=400.0, days_lost_unplanned=10.0, days_lost_planned=3.0, currency="USD",
    from_settings=(),
)  # fmt: skip
BEARING = Bearing(
    failure=PRICES.unplanned, renewal=PRICES.planned_renewal,
    renewal_days_off=PRICES.days_lost_planned, calibration=150.0, drain=PRICES.drain_refill,
)  # fmt: skip
WEEK_D = 7
LATEST_D = 4
"""A job asked for on a Monday is done on that day or up to so many days later."""
FUEL_RULE = "fuel_rule"
DOCK_FUEL = "fuel_rule by the dock"
"""The fuel rule kept by what the dock orders (`State.order_aki`) and not hull by hull."""
LOOKS = {
    "leak_down_check": (0.5, PRICES.check),
    "borescope": (0.25, 120.0),
    "find_the_leak": (0.7, 200.0),
}
"""How often a look finds a set within its reach, and its price without the half day ashore."""
READING_COST, FUEL_TEST_COST = 40.0, 60.0


@dataclass
class Bill:
    """Money of one season, and what it was paid for."""

    failures: float = 0.0
    failure_cost: float = 0.0
    job_cost: float = 0.0
    fuel_cost: float = 0.0
    calibration_cost: float = 0.0
    left_over: float = 0.0
    left_kept_up: float = 0.0
    """the same where the sets that are worth it are renewed in the winter before"""
    happened: int = 0
    top_ends: int = 0
    checks: int = 0
    care_cost: float = 0.0
    """of the jobs, looks at hulls that a safety rule held to one, whatever it would save"""
    fuel_weeks: int = 0
    begun: int = 0
    dropped_and_begun_again: int = 0

    @property
    def season(self) -> float:
        """The season alone."""
        return self.failure_cost + self.job_cost + self.fuel_cost + self.calibration_cost


Orders = Mapping[int, Sequence[str]]
"""Actions in force or asked for this week, by place."""


@dataclass
class Play:
    """A season in progress."""

    fleet: LivingFleet
    records: LoadedRecords
    is_slack: bool = True
    """a third of the jobs are done two weeks later or never"""
    bill: Bill = field(default_factory=Bill)
    given: list[tuple[int, str, str | None]] = field(default_factory=list)
    """day, hull, option: what the tool's lists gave out"""
    _waiting: list[tuple[int, int, int, str]] = field(default_factory=list)
    """day, place, set, job"""
    _on_rule: dict[int, list[int]] = field(default_factory=dict)
    found_bad: set[int] = field(default_factory=set)
    """places whose last test read badly and whose set is still in"""
    read_badly: int = 0
    """tests that read badly so far"""
    under_rule: set[int] = field(default_factory=set)
    """places that the last list held to a look or a renewal by a safety rule"""
    done: list[tuple[int, str]] = field(default_factory=list)
    """place and job of what was done so far"""

    def week(self, orders: Orders) -> None:
        """Carry out a week's orders and live through it."""
        fleet, state = self.fleet, self.fleet.state
        monday = fleet.day
        state.good_fuel[:] = state.dock_buys_good[:] = False
        paid = state.paid_for_grade.sum()
        for at, names in orders.items():
            for name in names:
                self._order(at, name, monday)
        self._note_rules(monday)
        for day in range(monday, monday + WEEK_D):
            for job in [job for job in self._waiting if job[0] <= day]:
                self._waiting.remove(job)
                _, at, number, name = job
                if state.set_no[at] == number or name in ("mild_calibration", "read_calibration"):
                    self._do(at, name, day)
            before = len(fleet.drained)
            fleet.live_to(day + 1, damage=self._damage)
            drained = len(fleet.drained) - before
            self.bill.fuel_cost += drained * PRICES.drain_refill
        self.bill.fuel_cost += float(state.paid_for_grade.sum() - paid)

    def _damage(
        self, at: np.ndarray, growth: np.ndarray, _hours: np.ndarray, bought: np.ndarray
    ) -> None:
        self.bill.failures += float(growth.sum())
        self.bill.failure_cost += float(growth.sum()) * PRICES.unplanned
        self.bill.fuel_cost += float(bought.sum())

    def _order(self, at: int, name: str, monday: int) -> None:
        state, action = self.fleet.state, CATALOGUE.actions.get(name)
        if name in (FUEL_RULE, DOCK_FUEL):
            rule = state.good_fuel if name == FUEL_RULE else state.dock_buys_good
            rule[at] = True
            self.bill.fuel_weeks += 1
        elif name == "restrict_throttle":
            state.throttled_until[at] = monday + WEEK_D
            self.bill.job_cost += (action.cost_per_d if action else 20.0) * WEEK_D
        elif name == "take_out_of_use":
            state.off_until[at] = max(int(state.off_until[at]), monday + WEEK_D)
            self.bill.job_cost += PRICES.lost_rental_day * WEEK_D
        elif not any(w[1] == at and w[3] == name for w in self._waiting):
            dice = np.random.default_rng([self.fleet.world.seed, 88, at, monday]).random(3)
            due = monday + int(dice[0] * (LATEST_D + 1))
            if self.is_slack and dice[1] < 1 / 3:
                if dice[2] < 0.5:
                    return
                due += 2 * WEEK_D
            self._waiting.append((due, at, int(state.set_no[at]), name))

    def _do(self, at: int, name: str, day: int) -> None:
        shop, state, bill = self.fleet.shop, self.fleet.state, self.bill
        self.done.append((at, name))
        if name in ("planned_top_end", "full_rebuild"):
            is_full = name == "full_rebuild"
            days = 6.0 if is_full else PRICES.days_lost_planned
            shop.renew(at, day, days, "full" if is_full else "top_end")
            bill.job_cost += 5500.0 if is_full else PRICES.top_end_planned
            bill.job_cost += days * PRICES.lost_rental_day
            bill.top_ends += 1
            self.found_bad.discard(at)
        elif name in LOOKS:
            ahead = growth_ahead(self.fleet.world, state, at, self._use_h(at))
            finds, paid = LOOKS[name]
            if shop.look(at, day, ahead, finds=finds):
                self.found_bad.add(at)
                self.read_badly += 1
            paid += 0.5 * PRICES.lost_rental_day
            bill.job_cost += paid
            bill.care_cost += paid * (at in self.under_rule)
            bill.checks += 1
        elif name in ("mild_calibration", "read_calibration"):
            runs = state.calibration[at]
            shop.calibrate(at, day, "stock" if name == "mild_calibration" or runs == 0 else
                           ("raised" if runs == 1 else "mild"))  # fmt: skip
            is_reading = name == "read_calibration"
            bill.calibration_cost += READING_COST if is_reading else BEARING.calibration
        elif name == "drain_refill":
            shop.drain(at, day)
            bill.fuel_cost += PRICES.drain_refill
        elif name == "test_fuel":
            bill.fuel_cost += FUEL_TEST_COST
        else:
            raise KeyError(f"the study does not know how to carry out {name!r}")

    def _use_h(self, at: int) -> float:
        """Hours of the next thirty days, about."""
        world, state = self.fleet.world, self.fleet.state
        return float(world.season_h * state.popularity[at] * 30 / SEASON_D)

    def _note_rules(self, monday: int) -> None:
        state = self.fleet.state
        # A dock's order stands for its hulls, also for one that lies broken that week.
        for at in np.flatnonzero(state.good_fuel | (state.order_aki[state.dock] > 0)):
            weeks = self._on_rule.setdefault(int(at), [])
            if not weeks or weeks[-1] < monday - WEEK_D:
                self.bill.begun += 1
                if weeks and monday - weeks[-1] <= 8 * WEEK_D + WEEK_D:
                    self.bill.dropped_and_begun_again += 1
            weeks.append(monday)


Policy = Callable[[Play], Orders]


def play_season(
    fleet: LivingFleet, records: LoadedRecords, policy: Policy, *, is_slack: bool = True
) -> dict[str, float]:
    """The bill of one policy over the season that begins at the fleet's day.

    The fleet and its records are left as they are.
    """
    mine = LoadedRecords()
    mine.frames = dict(records.frames)
    play = Play(deepcopy(fleet), mine, is_slack)
    world = fleet.world
    happened = len(play.fleet.failures)
    closes = world.opening(world.years[-1]) + SEASON_D
    while play.fleet.day < closes:
        play.week(policy(play))
    play.bill.happened = sum(mode < 2 for _, _, mode in play.fleet.failures[happened:])
    play.bill.left_over, play.bill.left_kept_up = left_to_next_season(
        world, play.fleet.state, prices=BEARING, winter_renewal=PRICES.top_end_planned,
        seed=world.seed,
    )  # fmt: skip
    return asdict(play.bill) | {"season": play.bill.season}
