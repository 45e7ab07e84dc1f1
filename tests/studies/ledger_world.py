"""Invented docks and craft whose every litre is known, and what somebody wrote down of them.

Each tank is a list of parcels (litres, octane and day of birth); a draw takes the
same share of all.  Nothing is shared with the ledger.  What is left out of the record is the point
of each case.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
from numpy.typing import NDArray

START = datetime(2026, 5, 1, 12, tzinfo=UTC)
CRUISE_L_H, FULL_L_H = 20.0, 60.0
GRADES = (87.0, 89.0, 91.0, 93.0)
LOAD_D, OUTSIDE_D, UNSEEN_D = (1.0, 5.0), (0.0, 14.0), (0.0, 60.0)
"""Ages of what is pumped, as wide as the settings take them."""
Fuel = NDArray[np.float64]
"""Octane and day of birth."""


def days(at: datetime) -> float:
    """Days since 1970."""
    return at.timestamp() / 86_400.0


@dataclass(frozen=True)
class World:
    """What happens and what of it is written down; all chances are per occasion."""

    hulls: int = 8
    rides: int = 50
    """per hull"""
    label_off_on: float = 0.5
    """what is pumped lies anywhere within this of its label"""
    tank_l: float = 70.0
    dock_l: float = 8000.0
    grades: tuple[float, ...] = (93.0,)
    """of the dock's tanks, one each"""
    outside: float = 0.05
    steady: float = 0.6
    """share of hulls filled to the brim or nearly; the others take what they take"""
    outside_lost: float = 0.0
    """chance of an outside fill that nobody wrote down, before a ride that needs fuel"""
    customer: float = 0.0
    delivery_lost: float = 0.0
    """chance that a load was of another grade and is not on record"""
    dock_heel_l: float = 0.0
    craft_heel: float = 0.0
    wrong_fuel: float = 0.0
    measured: bool = False
    """burns metered, the dock's tank dipped and the counter read every day"""


@dataclass
class Tank:
    """A mixed tank as parcels."""

    holds: float
    parcels: list[tuple[float, Fuel]] = field(default_factory=list)

    @property
    def litres(self) -> float:
        return sum(litres for litres, _ in self.parcels)

    @property
    def blend(self) -> Fuel:
        return np.sum([litres * fuel for litres, fuel in self.parcels], axis=0) / self.litres

    def pour(self, litres: float, fuel: Fuel) -> None:
        self.parcels.append((litres, fuel))

    def draw(self, litres: float) -> Fuel:
        """Take litres out; gives what they were."""
        blend, keep = self.blend, 1.0 - litres / self.litres
        self.parcels = [(part * keep, fuel) for part, fuel in self.parcels if part * keep > 1e-9]
        return blend


@dataclass
class Written:
    """The record, row by row, and beside it the truth of each ride."""

    rows: dict[str, list[dict[str, Any]]]
    rides: list[dict[str, Any]]
    truth: list[tuple[str, datetime, float, float]]
    """hull, start, octane and mean age in days at its end"""


class _Play:
    def __init__(self, world: World, seed: int) -> None:
        self.world = world
        self.rng = np.random.default_rng(seed)
        self.birth_rng = np.random.default_rng(seed + 10_000)
        self.docks = [Tank(world.dock_l) for _ in world.grades]
        self.craft = [Tank(world.tank_l) for _ in range(world.hulls)]
        kinds = ("deliveries", "fills", "drains", "dips", "pump_totals")
        self.book = Written({kind: [] for kind in kinds}, [], [])
        self.drawn = [0.0] * len(world.grades)
        self.factor = np.exp(self.rng.normal(0.0, 0.06, world.hulls))
        self.is_steady = self.rng.random(world.hulls) < world.steady

    def true_of(self, label: float) -> float:
        return label + float(self.rng.uniform(-1.0, 1.0)) * self.world.label_off_on

    def fuel(self, octane: float, at: datetime, youngest_d: float, oldest_d: float) -> Fuel:
        """Fuel of an age anywhere between."""
        age = float(self.birth_rng.uniform(youngest_d, oldest_d))
        return np.array([octane, days(at) - age])

    def open(self) -> None:
        """Heels; a tank that begins empty is dipped, so that its beginning is known."""
        w, rng = self.world, self.rng
        for tank in self.docks:
            if w.dock_heel_l:
                tank.pour(w.dock_heel_l, self.fuel(self.true_of(87.0), START, *UNSEEN_D))
        for tank in self.craft:
            if w.craft_heel:
                heel = float(rng.uniform(0.05, w.craft_heel)) * w.tank_l
                tank.pour(heel, self.fuel(float(rng.choice(GRADES)), START, *UNSEEN_D))
        at = START - timedelta(hours=2)
        if not w.dock_heel_l:
            self.dip_docks(at)
        if not w.craft_heel:
            self.book.rows["dips"] += [
                {"hull_id": f"H{i:02d}", "dipped_at": at, "level_l": tank.litres}
                for i, tank in enumerate(self.craft)
            ]

    def dip_docks(self, at: datetime) -> None:
        """Write down what stands in the dock's tanks."""
        for tank, grade in zip(self.docks, self.world.grades, strict=True):
            name = f"{grade:.0f}" if len(self.docks) > 1 else None
            self.book.rows["dips"].append(
                {"dock_id": "north", "tank_id": name, "dipped_at": at, "level_l": tank.litres}
            )

    def order(self, at: datetime) -> None:
        """A load for each tank that is low."""
        w, rng = self.world, self.rng
        for number, (tank, grade) in enumerate(zip(self.docks, w.grades, strict=True)):
            if tank.litres > 0.3 * tank.holds:
                continue
            litres = float(round(rng.uniform(0.85, 0.95) * tank.holds - tank.litres, -1))
            is_lost = rng.random() < w.delivery_lost and tank.litres > 0
            label = float(rng.choice([g for g in GRADES if g != grade])) if is_lost else grade
            tank.pour(litres, self.fuel(self.true_of(label), at, *LOAD_D))
            if not is_lost:
                self.book.rows["deliveries"].append(
                    {"dock_id": "north", "delivered_at": at + timedelta(minutes=number),
                     "volume_l": litres, "octane_aki": label}
                )  # fmt: skip

    def fill(self, hull: int, at: datetime, litres: float, *, kind: str) -> None:
        """Fill a craft: from the dock, outside, or outside without a note."""
        w, rng, tank = self.world, self.rng, self.craft[hull]
        row: dict[str, Any] = {"hull_id": f"H{hull:02d}", "filled_at": at, "volume_l": litres}
        number = int(rng.integers(len(self.docks)))
        if kind == "dock" and self.docks[number].litres > litres + 1:
            tank.pour(litres, self.docks[number].draw(litres))
            self.drawn[number] += litres
            row |= {"source": "dock", "source_dock_id": "north"}
            if len(w.grades) > 1:
                row["octane_aki"] = w.grades[number]
        else:
            label = float(rng.choice(GRADES))
            tank.pour(litres, self.fuel(self.true_of(label), at, *OUTSIDE_D))
            row |= {"source": "outside", "octane_aki": label}
        if kind != "lost":
            self.book.rows["fills"].append(row)

    def ready(self, hull: int, at: datetime, wanted: float) -> None:
        """Fill up before a ride if need be; sometimes the wrong fuel first, pumped out again."""
        w, rng, tank = self.world, self.rng, self.craft[hull]
        if tank.litres > wanted * 1.3 + 4 and rng.random() > 0.1:
            return
        room = tank.holds - tank.litres
        part = rng.uniform(0.88, 1.0) if self.is_steady[hull] else rng.uniform(0.4, 1.0)
        target = max(part * tank.holds, min(wanted * 1.5 + 4, tank.holds))
        litres = float(np.floor(10 * min(max(target - tank.litres, 0.0), room)) / 10)
        if litres < 4:
            return
        if rng.random() < w.wrong_fuel:
            wrong = float(np.floor(rng.uniform(0.3, 0.9) * litres))
            if wrong >= 1:
                label = 87.0
                tank.pour(wrong, self.fuel(self.true_of(label), at, *OUTSIDE_D))
                self.book.rows["fills"].append(
                    {"hull_id": f"H{hull:02d}", "filled_at": at, "volume_l": wrong,
                     "source": "outside", "octane_aki": label}
                )  # fmt: skip
                out = tank.litres if rng.random() < 0.5 else float(np.floor(0.9 * tank.litres))
                is_dry = out == tank.litres
                tank.draw(out) if not is_dry else tank.parcels.clear()
                self.book.rows["drains"].append(
                    {"hull_id": f"H{hull:02d}", "drained_at": at,
                     "volume_l": None if is_dry else out}
                )  # fmt: skip
                litres = float(np.floor(0.95 * (tank.holds - tank.litres)))
                at += timedelta(minutes=2)
        draw = rng.random()
        kind = "dock"
        if draw < w.outside_lost:
            kind = "lost"
        elif draw < w.outside_lost + w.outside:
            kind = "outside"
        self.fill(hull, at, litres, kind=kind)

    def ride(self, hull: int, start: datetime) -> None:
        """One rental, with what it burned."""
        w, rng, tank = self.world, self.rng, self.craft[hull]
        hours = float(round(rng.uniform(0.3, 1.1), 1))
        share = float(round(rng.beta(3.5, 10), 2))
        rate = (CRUISE_L_H * (1 - share) + FULL_L_H * share) * float(self.factor[hull])
        litres = hours * rate * float(np.exp(rng.normal(0.0, 0.05)))
        self.ready(hull, start - timedelta(minutes=5), hours * rate)
        litres = min(litres, 0.95 * tank.litres)
        out = timedelta(minutes=int(hours * 66) + 4)
        if rng.random() < w.customer:
            when = float(rng.uniform(0.75, 0.97))
            first = tank.draw(litres * when)
            room = float(np.floor(rng.uniform(0.4, 1.0) * (tank.holds - tank.litres)))
            if room >= 1:
                self.fill(hull, start + timedelta(seconds=round(out.total_seconds() * when)), room,
                          kind="outside")  # fmt: skip
            burned = when * first + (1 - when) * tank.draw(litres * (1 - when))
        else:
            burned = tank.draw(litres)
        name = f"H{hull:02d}"
        octane, born_d = map(float, burned)
        self.book.truth.append((name, start, octane, days(start + out) - born_d))
        self.book.rides.append(
            {"hull_id": name, "started_at": start, "ended_at": start + out, "running_h": hours,
             "full_throttle_share": share, "burned_l": litres if w.measured else None}
        )  # fmt: skip

    def play(self) -> Written:
        self.open()
        steps = [(day, hull) for day in range(self.world.rides) for hull in range(self.world.hulls)]
        for day, hull in steps:
            start = START + timedelta(days=day, minutes=23 * hull + int(self.rng.integers(20)))
            if hull == 0:
                self.order(START + timedelta(days=day, hours=-1))
                if self.world.measured:
                    self.dip_docks(START + timedelta(days=day, minutes=-50))
                    self.book.rows["pump_totals"] += [
                        {"dock_id": "north", "read_at": START + timedelta(days=day, minutes=-90),
                         "total_l": total}
                        for total in self.drawn[:1]
                    ]  # fmt: skip
            self.ride(hull, start)
        return self.book


def written(world: World, seed: int) -> Written:
    """What was written down in a world, and the truth."""
    return _Play(world, seed).play()


CASES: dict[str, World] = {
    "fully recorded, burns metered": World(measured=True, steady=1.0),
    "fully recorded, burns estimated": World(),
    "outside fill not written down": World(outside_lost=0.15),
    "customer fills before coming back": World(customer=0.12),
    "delivery of another grade lost": World(delivery_lost=0.3, dock_l=4000.0),
    "dock tank not empty at first": World(dock_heel_l=3000.0, dock_l=16_000.0),
    "two grades at one dock": World(grades=(87.0, 93.0)),
    "wrong fuel pumped out": World(wrong_fuel=0.1),
}
"""The seven cases of what nobody wrote down, beside the record that lacks nothing."""
_ALL = World(
    outside_lost=0.08, customer=0.06, delivery_lost=0.15, dock_heel_l=2000.0, craft_heel=0.4,
    grades=(87.0, 93.0), wrong_fuel=0.04,
)  # fmt: skip
MIXTURES: dict[str, World] = {
    "lost fills and a dock's heel": World(outside_lost=0.1, dock_heel_l=3000.0, craft_heel=0.4),
    "customers and lost deliveries": World(customer=0.1, delivery_lost=0.25),
    "two grades, wrong fuel, lost fills": replace(_ALL, customer=0.0, delivery_lost=0.0),
    "all of it": _ALL,
}
