"""What a dock leaves open and what it does write down of its fuel beside loads and fills.

Heels nobody measured, customers who fill up before they come back, a second grade at a dock, the
wrong nozzle and the pump-out after it; and on the other side dips, the pump's counter, tests of
the fuel, litres moved from craft to craft.  All of it draws from a stream of its own.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from synthetic_data.fuel_supply import DockSupply, MixedTank
from synthetic_data.logbook import Logbook
from synthetic_data.operator_calendar import Hull
from synthetic_data.scenario import MINUTES_PER_DAY, DockPlan, Scenario

CUSTOMER_FILLS = 0.012
"""Chance that a customer fills up before coming back; the slip is kept of three in four."""
KEPT_SLIPS = 0.75
SIDE_FILLS = 0.03
"""Chance that a fill at a dock with a second grade is of that."""
WRONG_NOZZLE = 0.004
_TANK_NOT_NAMED = 0.02
_HEEL_OF_DOCK, _HEEL_OF_CRAFT = 0.30, 0.35
_HEEL_AGE_D = 40.0
_HEEL_GRADES = (87.0, 89.0, 91.0, 93.0)
_MORNING = 13 * 60
_TEST_SD = 0.3
_WET = 0.05
_MOVED_L = 10.0


class SideTank:
    """A dock's second, smaller tank, of one grade; topped up at the opening and when low."""

    def __init__(self, plan: DockPlan, rng: np.random.Generator, label_sd: float) -> None:
        self.plan = plan
        self.tank = MixedTank(plan.side_tank_l)
        self.delivered_l = 0.0
        self.drawn_l = 0.0
        self._rng = rng
        self._sd = label_sd

    def morning(self, day: int, season_day: int, book: Logbook) -> None:
        """A load, if the season opens or the tank is low."""
        low = self.tank.volume_l < 0.25 * self.tank.capacity_l
        if not low and season_day > 0:
            return
        litres = float(round(0.8 * self.tank.capacity_l - self.tank.volume_l, -1))
        if litres < 100:
            return
        minute = day * MINUTES_PER_DAY + 12 * 60 + 5
        born = minute / MINUTES_PER_DAY - float(self._rng.uniform(1.0, 5.0))
        true = self.plan.side_grade_aki + float(self._rng.normal(0.0, self._sd))
        self.tank.add(litres, true, born, {born: litres})
        self.delivered_l += litres
        book["deliveries"].append(
            (self.plan.dock_id, self.name, minute, litres, self.plan.side_grade_aki, None, None,
             round(self.plan.price_per_l * 0.7, 2))
        )  # fmt: skip

    @property
    def name(self) -> str:
        """What the dock calls the tank: its grade."""
        return f"{self.plan.side_grade_aki:.0f}"


def pour_heels(
    hulls: Sequence[Hull], tanks: Sequence[MixedTank], supplies: Sequence[DockSupply],
    begin_day: int, rng: np.random.Generator,
) -> float:  # fmt: skip
    """Fill what stood in the tanks before the record begins; gives the litres."""
    litres = 0.0
    born = begin_day - _HEEL_AGE_D
    heels = [(supply.tank, _HEEL_OF_DOCK) for supply in supplies] + [
        (tank, _HEEL_OF_CRAFT)
        for tank, hull in zip(tanks, hulls, strict=True)
        if hull.in_minute // MINUTES_PER_DAY <= begin_day
    ]
    for tank, most in heels:
        heel = float(round(rng.uniform(0.0, most) * tank.capacity_l, 1))
        grade = float(rng.choice(_HEEL_GRADES))
        if heel > 0:
            tank.add(heel, grade, born, {born: heel})
            litres += heel
    return litres


def tank_name(plan: DockPlan, rng: np.random.Generator) -> str | None:
    """The main tank as it is written beside a fill: its grade where the dock has two tanks."""
    if not plan.side_tank_l:
        return None
    return None if rng.random() < _TANK_NOT_NAMED else main_name(plan)


def main_name(plan: DockPlan) -> str | None:
    """What a dock with two tanks calls the main one."""
    return f"{plan.grades_aki[0]:.0f}" if plan.side_tank_l else None


class DockDesk:
    """What is read and tested at the docks: once a month, the pumps' counters once a week."""

    def __init__(  # noqa: PLR0917 - all that a round of the docks looks at
        self, scenario: Scenario, supplies: Sequence[DockSupply], hulls: Sequence[Hull],
        tanks: Sequence[MixedTank], book: Logbook, rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self._scenario = scenario
        self._supplies = supplies
        self._hulls = hulls
        self._tanks = tanks
        self._book = book
        self._rng = rng

    def morning(self, day: int, season_day: int, sides: dict[int, SideTank]) -> None:
        """What this morning's round brings, before any fill."""
        minute = day * MINUTES_PER_DAY + _MORNING
        if season_day % 7 == 0:
            for supply in self._supplies:
                name = main_name(supply.plan)
                total = round(supply.drawn_l, 1)
                self._book["pump_totals"].append((supply.plan.dock_id, name, minute, total))
        if season_day % 30 != 0:
            return
        for supply in self._supplies:
            plan, tank = supply.plan, supply.tank
            self._book["dips"].append(
                (None, plan.dock_id, main_name(plan), minute, float(round(tank.volume_l)))
            )
            if tank.volume_l > 0:
                found = round(tank.octane_aki + float(self._rng.normal(0.0, _TEST_SD)), 1)
                self._book["fuel_tests"].append(
                    (None, plan.dock_id, main_name(plan), minute + 5, found, False)
                )
        for side in sides.values():
            self._book["dips"].append(
                (None, side.plan.dock_id, side.name, minute, float(round(side.tank.volume_l)))
            )
        self._test_a_craft(minute + 20)
        self._move_between_craft(minute + 40)

    def _test_a_craft(self, minute: int) -> None:
        hull = int(self._rng.integers(len(self._hulls)))
        noise, wet = float(self._rng.normal(0.0, _TEST_SD)), self._rng.random() < _WET
        tank = self._tanks[hull]
        if tank.volume_l < 1 or not self._hulls[hull].is_in_service(minute):
            return
        found = None if wet else round(tank.octane_aki + noise, 1)
        self._book["fuel_tests"].append(
            (self._hulls[hull].hull_id, None, None, minute, found, bool(wet))
        )
        self._book["dips"].append(
            (self._hulls[hull].hull_id, None, None, minute + 1, round(tank.volume_l, 1))
        )

    def _move_between_craft(self, minute: int) -> None:
        order = self._rng.permutation(len(self._hulls)).tolist()
        ready = [i for i in order if self._hulls[i].is_in_service(minute)]
        givers = [i for i in ready if self._tanks[i].volume_l > 3 * _MOVED_L]
        for giver in givers[:1]:
            for taker in ready:
                into = self._tanks[taker]
                near = self._hulls[taker].dock == self._hulls[giver].dock and taker != giver
                if near and into.capacity_l - into.volume_l > 2 * _MOVED_L:
                    out = self._tanks[giver]
                    octane, born = out.octane_aki, out.birth_d
                    into.add(_MOVED_L, octane, born, out.take(_MOVED_L))
                    names = self._hulls[giver].hull_id, self._hulls[taker].hull_id
                    self._book["transfers"].append((*names, minute, _MOVED_L))
                    return
