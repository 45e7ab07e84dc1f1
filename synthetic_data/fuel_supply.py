"""Fuel from the road tanker to the craft: perfectly mixed tanks as lists of lots.

A lot is known by the day its fuel left the refinery (its birth).  A burn takes the same
share of every lot.  Octane is carried as the mean of the mix, linear by volume.  This is
written from scratch and shares nothing with the ledger that must find it out again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from synthetic_data.scenario import MINUTES_PER_DAY, DockPlan

TRACE_L = 1e-4
"""Lots below a tenth of a millilitre are forgotten; the volume is carried apart from them."""

_LAST_ORDER_DAY = 148
"""Ten days before the docks close; what is left then winters in the tank."""


@dataclass(slots=True)
class MixedTank:
    """A perfectly mixed tank: litres, mean octane, mean birth day, and litres by birth day."""

    capacity_l: float
    volume_l: float = 0.0
    octane_aki: float = 0.0
    birth_d: float = 0.0
    lots: dict[float, float] = field(default_factory=dict)

    def add(
        self, litres: float, octane_aki: float, birth_d: float, lots: dict[float, float]
    ) -> None:
        """Pour in litres of a given mix; `lots` are its litres by birth day."""
        total = self.volume_l + litres
        old, new = self.volume_l / total, litres / total
        self.octane_aki = old * self.octane_aki + new * octane_aki
        self.birth_d = old * self.birth_d + new * birth_d
        self.volume_l = total
        mine = self.lots
        for birth, lot_l in lots.items():
            mine[birth] = mine.get(birth, 0.0) + lot_l

    def take(self, litres: float) -> dict[float, float]:
        """Draw litres of the mix; gives the drawn litres by birth day."""
        share = litres / self.volume_l
        keep = 1.0 - share
        drawn = {birth: lot_l * share for birth, lot_l in self.lots.items()}
        self.lots = {b: rest for b, lot_l in self.lots.items() if (rest := lot_l * keep) > TRACE_L}
        self.volume_l -= litres
        return drawn

    def burn(self, litres: float) -> None:
        """Draw litres that nobody asks about again."""
        keep = 1.0 - litres / self.volume_l
        self.lots = {b: rest for b, lot_l in self.lots.items() if (rest := lot_l * keep) > TRACE_L}
        self.volume_l -= litres

    def share_older(self, now_d: float, days: float) -> float:
        """Share of the litres older than a number of days."""
        total = sum(self.lots.values())
        return sum(lot_l for birth, lot_l in self.lots.items() if birth < now_d - days) / total


@dataclass(slots=True)
class Delivery:
    """One load pumped into a dock's tank; `label_aki` is what its papers say."""

    minute: int
    litres: float
    label_aki: float


class DockSupply:
    """A dock's bulk tank and the way its fuel is ordered."""

    def __init__(
        self, plan: DockPlan, hulls: int, label_sd: float, rng: np.random.Generator
    ) -> None:
        self.plan = plan
        self.tank = MixedTank(round(max(plan.tank_l_per_hull * hulls, 600.0), -2))
        self.delivered_l = 0.0
        self.drawn_l = 0.0
        self._label_sd = label_sd
        self._rng = rng

    def morning(self, day: int, season_day: int) -> Delivery | None:
        """The load that comes this morning, or none; season_day counts from the opening."""
        plan, tank = self.plan, self.tank
        if season_day >= _LAST_ORDER_DAY:
            return None
        if season_day == 0:
            order_below, fill_to = plan.opening_fill_to, plan.opening_fill_to
        elif season_day >= plan.late_from_season_day:
            order_below, fill_to = plan.late_order_below, plan.late_fill_to
        else:
            order_below, fill_to = plan.order_below, plan.fill_to
        wanted = tank.capacity_l * fill_to - tank.volume_l
        if tank.volume_l > order_below * tank.capacity_l or wanted < 100.0:
            return None
        rng = self._rng
        litres = float(max(100.0, round(wanted * rng.uniform(0.92, 1.0), -1)))
        label = float(rng.choice(plan.grades_aki, p=plan.grade_weights))
        minute = day * MINUTES_PER_DAY + 12 * 60 + int(rng.integers(0, 60))
        birth_d = minute / MINUTES_PER_DAY - float(rng.uniform(1.0, 5.0))
        true_aki = label + float(rng.normal(0.0, self._label_sd))
        tank.add(litres, true_aki, birth_d, {birth_d: litres})
        self.delivered_l += litres
        return Delivery(minute, litres, label)
