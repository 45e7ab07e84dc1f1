"""Filling the craft: from the dock's bulk tank, an outside pump or a can."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

import numpy as np

from synthetic_data.fuel_supply import DockSupply, MixedTank
from synthetic_data.logbook import Cell, Logbook
from synthetic_data.operator_calendar import Hull
from synthetic_data.rental_demand import HullHabits
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario

FILL_MINUTES_BEFORE = 5
_PUMP_GRADES = (87.0, 89.0, 91.0, 93.0)
_TASTES = ((0.65, 0.35, 0.0, 0.0), (0.25, 0.25, 0.25, 0.25), (0.0, 0.0, 0.4, 0.6))
_RON_MON = {87.0: (92.0, 82.0), 89.0: (94.0, 84.0), 91.0: (96.0, 86.0), 93.0: (98.0, 88.0)}
_E10 = 10.0
_LEAST_FILL_L = 4.0
_TOPPED_UP = 0.10
"""Chance that a tank with enough in it is filled all the same."""
_LAIN_D = 14
"""A craft that has lain longer is filled up before it goes out."""
_DRAINED_MINUTES_AFTER = 8 * 60
_LATE_SEASON_DAY = 143
_LATE_FILL = 0.55
"""From that day tanks are filled by halves, so as not to winter much fuel in the hulls."""


class CraftFuel:
    """All tanks of an operator, and the book of loads and fills."""

    def __init__(
        self, scenario: Scenario, hulls: Sequence[Hull], habits: HullHabits, book: Logbook,
        rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self._scenario = scenario
        self._hulls = hulls
        self._habits = habits
        self._book = book
        self._rng = rng
        counts = [sum(hull.dock == dock for hull in hulls) for dock in range(len(scenario.docks))]
        self.supplies = [
            DockSupply(plan, count, scenario.octane_label_sd, rng)
            for plan, count in zip(scenario.docks, counts, strict=True)
        ]
        self.tanks = [MixedTank(hull.tank_l) for hull in hulls]
        self.outside_l = 0.0
        self.drained_l = 0.0
        self._last_out = [0] * len(hulls)
        self._openings = {scenario.day_of(year, 4, 26) for year in scenario.seasons}
        self._closings = {scenario.day_of(year, 10, 1) for year in scenario.seasons}
        self._season_day: int | None = None
        for supply in self.supplies:
            plan = supply.plan
            book["docks"].append(
                (plan.dock_id, supply.tank.capacity_l, plan.altitude_m, "America/Chicago")
            )

    def morning(self, day: int) -> None:
        """Loads that come this morning."""
        if day in self._openings:
            self._season_day = 0
        elif day in self._closings:
            self._season_day = None
        if self._season_day is None:
            return
        for supply in self.supplies:
            load = supply.morning(day, self._season_day)
            if load is not None:
                octane = self._label_as_written(supply, load.label_aki)
                price = round(supply.plan.price_per_l * 0.78 + 0.02 * (load.label_aki - 87) / 2, 2)
                self._book["deliveries"].append(
                    (supply.plan.dock_id, load.minute, load.litres, *octane, _E10, price)
                )
        self._season_day += 1

    def ready(self, hull: int, start_minute: int, expected_burn_l: float) -> MixedTank:
        """The hull's tank with enough in it for a ride, filled before it if need be."""
        tank, rng = self.tanks[hull], self._rng
        enough = expected_burn_l * 1.3 + 0.08 * tank.capacity_l
        has_lain = start_minute - self._last_out[hull] > _LAIN_D * MINUTES_PER_DAY
        self._last_out[hull] = start_minute
        if tank.volume_l < enough or has_lain or rng.random() < _TOPPED_UP:
            full = _LATE_FILL if self._is_late() else 1.0
            target = max(enough, full * tank.capacity_l * float(rng.uniform(0.88, 1.0)))
            target = min(target, tank.capacity_l)
            litres = floor((target - tank.volume_l) * 10) / 10
            if litres >= _LEAST_FILL_L:
                self._fill(hull, start_minute - FILL_MINUTES_BEFORE, litres)
        return tank

    def drain_withdrawn(self) -> None:
        """Empty the tank of every hull that left the fleet, in the evening of its last day.

        Nobody rides it again, so this may be done once all rides are over.  Of every other
        hull the litres are written down.
        """
        withdrawn = [
            (at, hull.hull_id, hull.out_minute)
            for at, hull in enumerate(self._hulls)
            if hull.out_minute is not None
        ]
        for number, (at, hull_id, minute) in enumerate(withdrawn):
            litres = self.tanks[at].volume_l
            self.tanks[at] = MixedTank(self._hulls[at].tank_l)
            self.drained_l += litres
            written = max(0.1, round(litres, 1)) if number % 2 == 0 else None
            drained = minute + _DRAINED_MINUTES_AFTER
            self._book["drains"].append((hull_id, drained, written, "left the fleet"))

    def _is_late(self) -> bool:
        return self._season_day is not None and self._season_day > _LATE_SEASON_DAY

    def litres(self) -> dict[str, float]:
        """Litres that came in and litres left, over all tanks."""
        return {
            "delivered_l": sum(supply.delivered_l for supply in self.supplies),
            "outside_l": self.outside_l,
            "drained_l": self.drained_l,
            "left_in_docks_l": sum(supply.tank.volume_l for supply in self.supplies),
            "left_in_craft_l": sum(tank.volume_l for tank in self.tanks),
        }

    def _fill(self, hull: int, minute: int, litres: float) -> None:
        rng, tank, habits = self._rng, self.tanks[hull], self._habits
        hull_id = self._hulls[hull].hull_id
        supply = self.supplies[self._hulls[hull].dock]
        is_outside = rng.random() < habits.outside_share[hull]
        if is_outside or supply.tank.volume_l < litres + 1.0:
            label = float(rng.choice(_PUMP_GRADES, p=_TASTES[int(habits.outside_taste[hull])]))
            is_can = rng.random() < 0.12
            age_d = float(rng.uniform(10, 40) if is_can else rng.uniform(3, 11))
            litres = float(floor(litres))
            birth_d = minute / MINUTES_PER_DAY - age_d
            true_aki = label + float(rng.normal(0.0, self._scenario.octane_label_sd))
            tank.add(litres, true_aki, birth_d, {birth_d: litres})
            self.outside_l += litres
            price = None if is_can else round(1.08 + 0.05 * (label - 87) / 2, 2)
            row: tuple[Cell, ...] = ("outside", None, label, None, None, _E10, price, None)
        else:
            points = None
            if rng.random() < habits.booster_share[hull]:
                points = float(rng.choice([20.0, 30.0]))
            octane = supply.tank.octane_aki
            if points is not None:
                octane += points / 10.0 * self._scenario.booster_benefit
            birth_d = supply.tank.birth_d
            tank.add(litres, octane, birth_d, supply.tank.take(litres))
            price = supply.plan.price_per_l
            row = ("dock", supply.plan.dock_id, None, None, None, None, price, points)
        self._book["fills"].append((hull_id, minute, litres, *row))

    def _label_as_written(self, supply: DockSupply, label: float) -> tuple[Cell, Cell, Cell]:
        draw = float(self._rng.random())
        if draw < supply.plan.unknown_grade_share:
            return (None, None, None)
        if draw < supply.plan.unknown_grade_share + supply.plan.ron_mon_share:
            return (None, *_RON_MON[label])
        return (label, None, None)
