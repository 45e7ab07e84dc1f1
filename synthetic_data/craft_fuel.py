"""Filling the craft: from the dock's bulk tank, an outside pump or a can."""

from __future__ import annotations

from collections.abc import Sequence
from math import floor

import numpy as np

from synthetic_data.fuel_supply import DockSupply, MixedTank
from synthetic_data.logbook import Cell, Logbook
from synthetic_data.open_fuel import (
    CUSTOMER_FILLS,
    KEPT_SLIPS,
    SIDE_FILLS,
    WRONG_NOZZLE,
    DockDesk,
    SideTank,
    main_name,
    pour_heels,
    tank_name,
)
from synthetic_data.operator_calendar import Hull
from synthetic_data.rental_demand import HullHabits
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario

FILL_MINUTES_BEFORE = 5
_PUMP_GRADES = (87.0, 89.0, 91.0, 93.0)
_TASTES = ((0.65, 0.35, 0.0, 0.0), (0.25, 0.25, 0.25, 0.25), (0.0, 0.0, 0.4, 0.6))
_RON_MON = {87.0: (92.0, 82.0), 89.0: (94.0, 84.0), 91.0: (96.0, 86.0), 93.0: (98.0, 88.0)}
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

    def __init__(  # noqa: PLR0917 - all that fuel has to do with
        self, scenario: Scenario, hulls: Sequence[Hull], habits: HullHabits, book: Logbook,
        rng: np.random.Generator, open_rng: np.random.Generator,
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
        self._open_rng = open_rng
        self._sides = {
            dock: SideTank(plan, open_rng, scenario.octane_label_sd)
            for dock, plan in enumerate(scenario.docks)
            if plan.side_tank_l
        }
        self.opening_l = pour_heels(
            hulls, self.tanks, self.supplies, scenario.record_begins_day, open_rng
        )
        self.unwritten_l = {
            hull.hull_id: tank.volume_l for hull, tank in zip(hulls, self.tanks, strict=True)
        }
        """litres that came into each craft's tank, less those that left it, without a note"""
        self._desk = DockDesk(scenario, self.supplies, hulls, self.tanks, book, open_rng)
        self._last_out = [0] * len(hulls)
        self._openings = {scenario.day_of(year, 4, 26) for year in scenario.seasons}
        self._closings = {scenario.day_of(year, 10, 1) for year in scenario.seasons}
        self._season_day: int | None = None
        for supply in self.supplies:
            plan = supply.plan
            book["docks"].append(
                (plan.dock_id, supply.tank.capacity_l, plan.altitude_m, "America/Chicago")
            )
            if plan.side_tank_l:
                book["dock_tanks"] += [
                    (plan.dock_id, main_name(plan), supply.tank.capacity_l),
                    (plan.dock_id, f"{plan.side_grade_aki:.0f}", plan.side_tank_l),
                ]

    def morning(self, day: int) -> None:
        """Loads that come this morning."""
        if day in self._openings:
            self._season_day = 0
        elif day in self._closings:
            self._season_day = None
            self._pump_out_sides(day)
        if self._season_day is None:
            return
        for supply in self.supplies:
            load = supply.morning(day, self._season_day)
            if load is not None:
                octane = self._label_as_written(supply, load.label_aki)
                price = round(supply.plan.price_per_l * 0.78 + 0.02 * (load.label_aki - 87) / 2, 2)
                self._book["deliveries"].append(
                    (
                        supply.plan.dock_id,
                        main_name(supply.plan),
                        load.minute,
                        load.litres,
                        *octane,
                        price,
                    )
                )
        for side in self._sides.values():
            side.morning(day, self._season_day, self._book)
        self._desk.morning(day, self._season_day, self._sides)
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
            self.unwritten_l[hull_id] -= litres - (written or 0.0)
            drained = minute + _DRAINED_MINUTES_AFTER
            self._book["drains"].append((hull_id, drained, written, "left the fleet"))

    def burn(self, hull: int, start: int, ended: int, litres: float) -> tuple[float, float, float]:
        """Burn a ride's litres; gives their octane, birth and how many of them before a fill.

        Now and then the customer fills up on the way back.
        """
        tank, rng = self.tanks[hull], self._open_rng
        octane, born = tank.octane_aki, tank.birth_d
        is_filled, share, kept, room = rng.random(4)
        first = litres * (0.75 + 0.22 * share)
        minute = start + int((ended - start) * first / litres)
        wanted = floor((0.4 + 0.5 * room) * (tank.capacity_l - tank.volume_l + first))
        if is_filled >= CUSTOMER_FILLS or wanted < _LEAST_FILL_L or not start < minute < ended:
            tank.burn(litres)
            return octane, born, litres
        tank.burn(first)
        label = float(rng.choice(_PUMP_GRADES, p=_TASTES[1]))
        slip = self._outside(hull, minute, float(wanted), label, rng)
        if kept < KEPT_SLIPS:
            self._book["fills"].append(slip)
        else:
            self.unwritten_l[self._hulls[hull].hull_id] += float(wanted)
        rest = litres - first
        octane = (first * octane + rest * tank.octane_aki) / litres
        born = (first * born + rest * tank.birth_d) / litres
        tank.burn(rest)
        return octane, born, first

    def _pump_out_sides(self, day: int) -> None:
        """Empty the small tanks for the winter; the litres are written down every other year."""
        for side in self._sides.values():
            litres = side.tank.volume_l
            if litres <= 0:
                continue
            side.tank.take(litres)
            self.drained_l += litres
            written = max(0.1, round(litres, 1)) if day % 2 else None
            minute = day * MINUTES_PER_DAY + 10 * 60
            self._book["pump_outs"].append(
                (side.plan.dock_id, side.name, minute, written, "end of season")
            )

    def _bought(self) -> list[DockSupply | SideTank]:
        return [*self.supplies, *self._sides.values()]

    def _is_late(self) -> bool:
        return self._season_day is not None and self._season_day > _LATE_SEASON_DAY

    def litres(self) -> dict[str, float]:
        """Litres that came in and litres left, over all tanks."""
        return {
            "opening_l": self.opening_l,
            "delivered_l": sum(bought.delivered_l for bought in self._bought()),
            "outside_l": self.outside_l,
            "drained_l": self.drained_l,
            "left_in_docks_l": sum(bought.tank.volume_l for bought in self._bought()),
            "left_in_craft_l": sum(tank.volume_l for tank in self.tanks),
        }

    def _fill(self, hull: int, minute: int, litres: float) -> None:
        rng, tank, habits = self._rng, self.tanks[hull], self._habits
        hull_id = self._hulls[hull].hull_id
        supply = self.supplies[self._hulls[hull].dock]
        side = self._sides.get(self._hulls[hull].dock)
        if side is not None and side.tank.volume_l > litres + 1.0:
            draw = float(self._open_rng.random())
            if draw < SIDE_FILLS:
                self._fill_from_side(hull, minute, litres, side)
                return
            if draw < SIDE_FILLS + WRONG_NOZZLE:
                litres = self._wrong_nozzle(hull, minute, litres, side)
                minute += 2
        is_outside = rng.random() < habits.outside_share[hull]
        if is_outside or supply.tank.volume_l < litres + 1.0:
            label = float(rng.choice(_PUMP_GRADES, p=_TASTES[int(habits.outside_taste[hull])]))
            self._book["fills"].append(
                self._outside(hull, minute, float(floor(litres)), label, rng)
            )
        else:
            points = None
            if rng.random() < habits.booster_share[hull]:
                points = float(rng.choice([20.0, 30.0]))
            octane = supply.tank.octane_aki
            if points is not None:
                octane += points / 10.0 * self._scenario.booster_benefit
            birth_d = supply.tank.birth_d
            tank.add(litres, octane, birth_d, supply.tank.take(litres))
            supply.drawn_l += litres
            name = tank_name(supply.plan, self._open_rng)
            place = ("dock", supply.plan.dock_id, name)
            price = supply.plan.price_per_l
            self._book["fills"].append(
                (hull_id, minute, litres, *place, None, None, None, price, points)
            )

    def _outside(
        self, hull: int, minute: int, litres: float, label: float, rng: np.random.Generator
    ) -> tuple[Cell, ...]:
        """Fill at an outside pump or from a can; gives the row."""
        is_can = rng.random() < 0.12
        age_d = float(rng.uniform(10, 40) if is_can else rng.uniform(3, 11))
        birth_d = minute / MINUTES_PER_DAY - age_d
        true_aki = label + float(rng.normal(0.0, self._scenario.octane_label_sd))
        self.tanks[hull].add(litres, true_aki, birth_d, {birth_d: litres})
        self.outside_l += litres
        price = None if is_can else round(1.08 + 0.05 * (label - 87) / 2, 2)
        place = ("outside", None, None)
        return (
            self._hulls[hull].hull_id, minute, litres, *place, label, None, None, price, None
        )  # fmt: skip

    def _fill_from_side(self, hull: int, minute: int, litres: float, side: SideTank) -> None:
        octane, born = side.tank.octane_aki, side.tank.birth_d
        self.tanks[hull].add(litres, octane, born, side.tank.take(litres))
        side.drawn_l += litres
        label = side.plan.side_grade_aki
        place = ("dock", side.plan.dock_id, None if self._open_rng.random() < 0.5 else side.name)
        price = round(side.plan.price_per_l * 0.85, 2)
        self._book["fills"].append(
            (self._hulls[hull].hull_id, minute, litres, *place, label, None, None, price, None)
        )  # fmt: skip

    def _wrong_nozzle(self, hull: int, minute: int, litres: float, side: SideTank) -> float:
        """The other grade goes in, is noticed and pumped out; gives the litres wanted then."""
        self._fill_from_side(hull, minute, litres, side)
        tank = self.tanks[hull]
        out = tank.volume_l
        tank.take(out)
        self.drained_l += out
        written = None if self._open_rng.random() < 0.5 else round(out, 1)
        self.unwritten_l[self._hulls[hull].hull_id] -= out - (written or 0.0)
        self._book["drains"].append((self._hulls[hull].hull_id, minute, written, "wrong fuel"))
        return float(floor(min(out, tank.capacity_l) * 10) / 10)

    def _label_as_written(self, supply: DockSupply, label: float) -> tuple[Cell, Cell, Cell]:
        draw = float(self._rng.random())
        if draw < supply.plan.unknown_grade_share:
            return (None, None, None)
        if draw < supply.plan.unknown_grade_share + supply.plan.ron_mon_share:
            return (None, *_RON_MON[label])
        return (label, None, None)
