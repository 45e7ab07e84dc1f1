"""What the operator does by the calendar: hulls in and out, meters, checks, tunes, swaps."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.engine_shop import Engine, EngineShop
from synthetic_data.logbook import Logbook
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario

_SEASON_DAYS = 153
_HULLS_FOR_COMINGS_AND_GOINGS = 20
"""A smaller operator neither buys nor sells hulls here."""
_MONDAY = 0


@dataclass(slots=True)
class Hull:
    """A hull, its dock, its stay in the fleet and the hour meter mounted in it."""

    hull_id: str
    dock: int
    tank_l: float
    in_minute: int
    out_minute: int | None
    meter_id: str
    meter_h: float

    def is_in_service(self, minute: int) -> bool:
        """Whether it belongs to the fleet at that minute."""
        return minute >= self.in_minute and (self.out_minute is None or minute < self.out_minute)


def enrol_hulls(scenario: Scenario, book: Logbook, rng: np.random.Generator) -> list[Hull]:
    """All hulls of the operator, spread evenly over its docks."""
    begin = scenario.record_begins_day * MINUTES_PER_DAY + 8 * 60
    n, docks = scenario.hulls, len(scenario.docks)
    width = max(2, len(str(n)))
    comes_later: set[int] = set()
    sold: dict[int, int] = {}
    if n >= _HULLS_FOR_COMINGS_AND_GOINGS and len(scenario.seasons) > 1:
        chosen = [int(i) for i in rng.choice(n, 5, replace=False)]
        comes_later = set(chosen[:3])
        sold = {
            chosen[3]: scenario.day_of(scenario.seasons[0], 10, 20),
            chosen[4]: scenario.day_of(scenario.seasons[1], 8, 27),
        }
    hulls = []
    for i in range(n):
        dock = i * docks // n
        first = begin
        if i in comes_later:
            first = scenario.day_of(scenario.seasons[1], 4, 18) * MINUTES_PER_DAY + 8 * 60
        out = sold[i] * MINUTES_PER_DAY + 9 * 60 if i in sold else None
        hull = Hull(
            hull_id=f"{scenario.docks[dock].hull_prefix}-{i + 1:0{width}d}",
            dock=dock,
            tank_l=float(rng.choice([60.0, 70.0, 78.0])),
            in_minute=first,
            out_minute=out,
            meter_id=f"M-{4001 + i}",
            meter_h=round(float(rng.uniform(0, 400)), 1),
        )
        hulls.append(hull)
        book["hulls"].append((hull.hull_id, scenario.docks[dock].dock_id, hull.tank_l, first, out))
    return hulls


class OperatorCalendar:
    """The dated work on hulls and engines that is not caused by a failure."""

    def __init__(
        self, scenario: Scenario, hulls: list[Hull], shop: EngineShop, book: Logbook,
        rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self._scenario = scenario
        self._hulls = hulls
        self._shop = shop
        self._book = book
        self._rng = rng
        self._openings = {scenario.day_of(year, 4, 20) for year in scenario.seasons}
        self._season_days = {
            day
            for year in scenario.seasons
            for day in range(scenario.day_of(year, 4, 28), scenario.day_of(year, 10, 5))
        }
        days = sorted(self._season_days)
        self._new_meters: dict[int, list[int]] = {}
        for hull in rng.choice(len(hulls), max(1, len(hulls) // 12), replace=False):
            self._new_meters.setdefault(int(rng.choice(days[20:-20])), []).append(int(hull))
        for _ in range(scenario.spare_engines):
            shop.buy(scenario.record_begins_day * MINUTES_PER_DAY + 8 * 60, is_new=False)

    def morning(self, day: int) -> None:
        """Everything the calendar has for this day, before the docks open."""
        base = day * MINUTES_PER_DAY
        for i, hull in enumerate(self._hulls):
            if hull.in_minute // MINUTES_PER_DAY == day:
                engine = self._shop.buy(hull.in_minute, is_new=bool(self._rng.random() < 0.25))
                self._shop.install(engine, i, hull.in_minute)
            if hull.out_minute is not None and hull.out_minute // MINUTES_PER_DAY == day:
                self._read_meter(hull, hull.out_minute - 30)
                self._shop.sell(i, hull.out_minute)
        if day in self._openings:
            self._open_season(base)
        if day not in self._season_days:
            return
        self._in_season(base)
        weekday = (self._scenario.epoch.weekday() + day) % 7
        for i in self._new_meters.get(day, []):
            self._replace_meter(self._hulls[i], base + 12 * 60 + 10)
        if weekday == _MONDAY:
            for hull in self._hulls:
                minute = base + 12 * 60 + 30 + int(self._rng.integers(0, 60))
                if hull.is_in_service(minute) and self._rng.random() < 0.85:
                    self._read_meter(hull, minute)

    def _fit(self) -> list[Engine]:
        return [e for e in self._shop.fitted if e is not None and e.trouble is None]

    def _open_season(self, base: int) -> None:
        rng, shop, scenario = self._rng, self._shop, self._scenario
        is_first = base // MINUTES_PER_DAY <= scenario.record_begins_day + 10
        for engine in [e for e in shop.fitted if e is not None]:
            if rng.random() < 0.85:
                shop.check(engine, base + int(rng.integers(12 * 60, 20 * 60)))
        if is_first:
            return
        later = base + 2 * MINUTES_PER_DAY
        for engine in self._fit():
            old = engine.pistons.age_h > scenario.planned_set_h
            if old and rng.random() < scenario.planned_sets_per_spring:
                shop.renew_pistons(engine, later + int(rng.integers(12 * 60, 20 * 60)))
            if rng.random() < scenario.changed_calibrations_per_season * 0.5:
                shop.calibrate(engine, later + MINUTES_PER_DAY + int(rng.integers(720, 1200)))
        fit = self._fit()
        for _ in range(len(fit) // 20):
            one, other = rng.choice(len(fit), 2, replace=False)
            shop.swap(
                fit[one], fit[other], later + 3 * MINUTES_PER_DAY + int(rng.integers(720, 900))
            )
            fit = [e for k, e in enumerate(fit) if k not in (one, other)]

    def _in_season(self, base: int) -> None:
        rng, shop = self._rng, self._shop
        rate = self._scenario.changed_calibrations_per_season * 0.5 / _SEASON_DAYS
        for engine in [e for e in shop.fitted if e is not None]:
            if rng.random() < 0.8 / _SEASON_DAYS:
                shop.check(engine, base + 12 * 60 + int(rng.integers(0, 90)))
            elif engine.trouble is None and rng.random() < rate:
                shop.calibrate(engine, base + 12 * 60 + int(rng.integers(0, 90)))

    def _read_meter(self, hull: Hull, minute: int) -> None:
        self._book["hour_readings"].append(
            (hull.hull_id, hull.meter_id, minute, round(hull.meter_h, 1))
        )

    def _replace_meter(self, hull: Hull, minute: int) -> None:
        if not hull.is_in_service(minute):
            return
        self._read_meter(hull, minute)
        hull.meter_id, hull.meter_h = f"M-{int(hull.meter_id[2:]) + 5000}", 0.0
        self._read_meter(hull, minute + 15)
