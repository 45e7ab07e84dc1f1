"""What happens to engines ashore, and what the shop writes of it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from synthetic_data.worlds.failure_law import AT_STAKE, MODES, draw_own
from synthetic_data.worlds.faulty_paper import rated_burn
from synthetic_data.worlds.fleet_state import CALIBRATIONS, NEW_FAMILY, State, new_set
from synthetic_data.worlds.record_book import RecordBook
from synthetic_data.worlds.riding import LOOK_CLEARS, LOOK_FINDS
from synthetic_data.worlds.world import MINUTES_PER_DAY, NEED, World

PRICES = {
    "check": 180.0, "drain_refill": 170.0, "top_end_planned": 3500.0,
    "full_rebuild_unplanned": 7000.0, "lost_rental_day": 400.0, "days_lost_unplanned": 10.0,
    "days_lost_planned": 3.0,
}  # fmt: skip
"""The operator's prices, of every season."""

COMPRESSION_PSI = 176.0
_MORNING = 12 * 60
_SPARK_DEG = {"stock": 0.0, "raised": 2.0, "mild": -2.0}


@dataclass
class ShopFloor:
    """The shop of one operator; every method takes the day on which it happens."""

    world: World
    state: State
    book: RecordBook
    hull_ids: list[str]
    luck: np.random.Generator
    """faults of the shop's paper and scatter of its readings"""
    engine_ids: list[str] = field(default_factory=list)
    written_calibration: list[str] = field(default_factory=list)
    """what the record says each place's engine runs"""
    _installed: list[int] = field(default_factory=list)
    _sets: int = 0
    _engines: int = 0

    def open_books(self, day: int) -> None:
        """Docks, hulls, engines, sets, calibrations and prices as the record begins."""
        world, state, book = self.world, self.state, self.book
        minute = day * MINUTES_PER_DAY + _MORNING
        counts = np.bincount(state.dock, minlength=len(world.docks))
        for dock, count in zip(world.docks, counts, strict=True):
            tank_l = max(600.0, round(dock.l_per_hull * max(1, int(count)), -2))
            book.write("docks", minute, dock.dock_id, tank_l, 60.0, "America/Chicago", "US")
        for season in world.years:
            for item, amount in PRICES.items():
                book.write("costs", minute, item, float(season), amount, "USD", None)
        for at, hull_id in enumerate(self.hull_ids):
            came = int(state.from_day[at]) * MINUTES_PER_DAY + _MORNING
            dock = world.docks[int(state.dock[at])]
            book.write("hulls", came, hull_id, dock.dock_id, float(state.tank_l[at]),
                       book.instant(came), None)  # fmt: skip
            self.engine_ids.append("")
            self.written_calibration.append("")
            self._installed.append(came)
            self._engine_comes(at, came)

    def _engine_comes(self, at: int, minute: int) -> None:
        state, book = self.state, self.book
        self._engines += 1
        self.engine_ids[at] = f"E-{1000 + self._engines}"
        self._installed[at] = minute
        name, cylinders, cruise, full = rated_burn(int(state.family[at]))
        book.write("engines", minute, self.engine_ids[at], name, "supercharged",
                   float(cylinders), cruise, full, 100.0, 50.0, 1215.0, book.instant(minute),
                   round(float(state.engine_h[at]), 1))  # fmt: skip
        book.write("installations", minute, self.engine_ids[at], self.hull_ids[at],
                   book.instant(minute), None)  # fmt: skip
        hours = float(state.engine_h[at])
        self._write_set(at, minute, hours - float(state.age_h[at]),
                        "factory" if state.age_h[at] == hours else "unknown")  # fmt: skip
        hidden = state.calibration[at] == 0 and (
            self.luck.random() < self.world.faults.calibration_not_entered
        )
        self._write_calibration(at, minute, "stock" if hidden else None)
        if hidden:
            state.calibration[at] = 1

    def _write_calibration(self, at: int, minute: int, written: str | None = None) -> None:
        name = written or CALIBRATIONS[int(self.state.calibration[at])]
        self.written_calibration[at] = name
        off = self.world.faults.need_written_sd_on * float(self.luck.standard_normal())
        self.book.write("calibrations", minute, self.engine_ids[at], self.book.instant(minute),
                        name, round(NEED[name] + off, 1), _SPARK_DEG[name], None)  # fmt: skip

    def _write_set(self, at: int, minute: int, fitted_h: float, reason: str) -> None:
        self._sets += 1
        late = self._late(minute)
        self.book.write("piston_sets", late or minute, f"P-{self._sets:05d}", self.engine_ids[at],
                        self.book.instant(minute), round(fitted_h, 1),
                        "forged" if self.state.is_forged[at] else "cast", "original", reason,
                        self.book.instant(late))  # fmt: skip

    def _late(self, minute: int) -> int | None:
        if self.luck.random() >= self.world.faults.late_shop:
            return None
        return minute + int(self.luck.integers(300, 5 * MINUTES_PER_DAY))

    def broke(self, at: int, minute: int, mode: int) -> None:
        """A failure was found at the dock; the set that now runs is the new one."""
        book, engine = self.book, self.engine_ids[at]
        back = int(self.state.off_until[at]) * MINUTES_PER_DAY - 600
        name, late = MODES[mode], self._late(minute)
        if self.luck.random() >= self.world.faults.failure_not_entered:
            book.write("failures", late or minute, engine, book.instant(minute), name,
                       "ran_to_failure", None, "down on power", book.instant(late))  # fmt: skip
            opened = minute + 2 * MINUTES_PER_DAY
            finding = "second land broken down" if mode == 0 else "even bore wear"
            book.write("teardowns", opened, engine, book.instant(opened), 1.0, "piston", finding,
                       "seen" if mode < AT_STAKE else "not_seen", None, None, None)  # fmt: skip
        scope = "full" if mode >= AT_STAKE or self.luck.random() < 0.4 else "top_end"
        book.write("rebuilds", back, engine, book.instant(back), scope,
                   True, 6800.0 if scope == "full" else 3700.0, None)  # fmt: skip
        self._write_set(at, back, float(self.state.engine_h[at]), "after_failure")
        self._accept(at, back)

    def renew(self, at: int, day: int, days_off: float, scope: str = "top_end") -> None:
        """A planned new set; the hull is back after the days off."""
        minute = day * MINUTES_PER_DAY + _MORNING
        new_set(self.state, np.array([at]), None, self.world.forged_share)
        self.state.off_until[at] = max(int(self.state.off_until[at]), day + round(days_off))
        self.book.write("rebuilds", minute, self.engine_ids[at], self.book.instant(minute), scope,
                        True, 3500.0, None)  # fmt: skip
        self._write_set(at, minute, float(self.state.engine_h[at]), "planned")
        self._accept(at, minute)

    def _accept(self, at: int, minute: int) -> None:
        """The leak-down and compression with which a build is handed over: part of its price.

        Its scatter is its own, so that nobody's luck hangs on what is written down.
        """
        engine, when = self.engine_ids[at], self.book.instant(minute + 60)
        scatter = np.random.default_rng([self.world.seed, 78, at, minute])
        for cylinder in range(1, rated_burn(int(self.state.family[at]))[1] + 1):
            for measure, value, unit in (
                ("compression", COMPRESSION_PSI + scatter.normal(0, 2.2), "psi"),
                ("leak_down", 4.5 + abs(scatter.normal(0, 1.0)), "%"),
            ):
                self.book.write("inspections", minute + 60, engine, when, measure,
                                float(cylinder), None, "measured", float(round(value)), unit, None,
                                101.3, True, self.book.instant(minute), None)  # fmt: skip

    def calibrate(self, at: int, day: int, to: str) -> None:
        """Read the calibration out and put one in force; the record then tells the truth."""
        self.state.calibration[at] = CALIBRATIONS.index(to)
        self._write_calibration(at, day * MINUTES_PER_DAY + _MORNING)

    def drain(self, at: int, day: int) -> None:
        """Drain a tank and fill it with fresh fuel that meets the need on record."""
        state, book = self.state, self.book
        minute = day * MINUTES_PER_DAY + _MORNING
        aki = 93.0 if self.written_calibration[at] == "raised" else 91.0
        if state.tanks.litres[at] > 1.0:
            book.write("drains", minute, self.hull_ids[at], book.instant(minute), None, "old fuel")
        litres = float(np.floor(0.95 * state.tank_l[at]))
        state.tanks.litres[at] = 0.0
        here = np.array([at])
        state.tanks.pour(here, np.array([litres]), np.array([aki]), np.array([day - 3.0]))
        book.write("fills", minute + 5, self.hull_ids[at], book.instant(minute + 5), litres,
                   "outside", None, aki, None, None, None, 1.3, None, None)  # fmt: skip

    def look(self, at: int, day: int, ahead: float, *, finds: float = LOOK_FINDS) -> bool:
        """Leak-down and compression, cylinder by cylinder; whether the engine reads badly.

        `ahead` is the growth of the hazard at stake within the test's reach.
        """
        state, luck = self.state, self.luck
        left = state.fate[:AT_STAKE, at] - state.spent[:AT_STAKE, at]
        is_near = bool(left.min() < ahead)
        draw = _dice(self.world.seed, at, day)
        is_bad = bool(draw < finds) if is_near else bool(draw > LOOK_CLEARS)
        state.look_left[at], state.look_bad[at] = ahead, is_bad
        minute = day * MINUTES_PER_DAY + _MORNING + 60
        wear = min(1.2, float(state.age_h[at]) / 900.0)
        engine, when = self.engine_ids[at], self.book.instant(minute)
        cylinders = rated_burn(int(state.family[at]))[1]
        hit = int(luck.integers(1, cylinders + 1)) if is_bad else 0
        for cylinder in range(1, cylinders + 1):
            psi = COMPRESSION_PSI - 14 * wear + luck.normal(0, 2.2)
            leak = 4.5 + 4 * wear + abs(luck.normal(0, 1.0))
            if cylinder == hit:
                psi, leak = psi - luck.uniform(45, 70), leak + luck.uniform(18, 30)
            for measure, value, unit in (("compression", psi, "psi"), ("leak_down", leak, "%")):
                self.book.write("inspections", minute, engine, when, measure, float(cylinder),
                                None, "measured", float(round(value)), unit, None, 101.3, True,
                                None, None)  # fmt: skip
        return is_bad

    def spring(self, day: int, year: int) -> None:
        """Before a season: old sets renewed, calibrations changed, engines swapped or replaced."""
        world, state, luck = self.world, self.state, self.luck
        n = state.places
        draws = luck.random((4, n))
        here = state.from_day <= day
        for at in np.flatnonzero(here):
            if world.renewed_in == year and draws[3, at] < world.renewed_share:
                self._replace_engine(int(at), day)
            elif state.age_h[at] > world.planned_set_h and draws[0, at] < world.planned_share:
                self.renew(int(at), day, 0.0)
            if draws[1, at] < 0.1:
                self.calibrate(int(at), day + 1, str(luck.choice(["stock", "stock", "raised"])))
        pairs = luck.permutation(n)[: 2 * (n // 20)].reshape(-1, 2)
        for one, other in pairs:
            if here[one] and here[other]:
                self._swap(int(one), int(other), day + 3)

    def _replace_engine(self, at: int, day: int) -> None:
        minute, state = day * MINUTES_PER_DAY + _MORNING, self.state
        self._close_stay(at, minute - 60)
        here = np.array([at])
        new_set(state, here, None, self.world.forged_share)
        state.family[at], state.build[at] = NEW_FAMILY, 1
        state.engine_no[at] = state.places + self._engines
        state.own_log[at] = float(draw_own(self.world.law, self.luck, 1)[0])
        state.own_need_on[at] = self.world.law.need_sd_on * float(self.luck.standard_normal())
        state.meter_off_h[at] += state.engine_h[at]
        state.base_spent[at] = state.engine_h[at] = 0.0
        state.engine_fails[at] = 0
        self._engine_comes(at, minute)

    def _close_stay(self, at: int, minute: int) -> None:
        stay = (self.book.instant(self._installed[at]), self.book.instant(minute))
        self.book.write("installations", minute, self.engine_ids[at], self.hull_ids[at], *stay)

    def _swap(self, one: int, other: int, day: int) -> None:
        state, minute = self.state, day * MINUTES_PER_DAY + _MORNING
        total = state.meter_off_h + state.engine_h
        self._close_stay(one, minute)
        self._close_stay(other, minute + 60)
        places, back = np.array([one, other]), np.array([other, one])
        for name in ("engine_no", "family", "own_log", "own_need_on", "calibration", "engine_h",
                     "base_spent", "engine_fails", "set_no", "build", "is_forged", "age_h",
                     "look_left", "look_bad"):  # fmt: skip
            values = getattr(state, name)
            values[places] = values[back]
        for values in (state.spent, state.fate):
            values[:, places] = values[:, back]
        state.fates[:, :, places] = state.fates[:, :, back]
        looked = state.back
        for values in (looked.total, looked.newest, looked.oldest):
            values[places] = values[back]
        looked.kept[:, places] = looked.kept[:, back]
        state.meter_off_h[places] = total[places] - state.engine_h[places]
        ids = self.engine_ids
        ids[one], ids[other] = ids[other], ids[one]
        runs = self.written_calibration
        runs[one], runs[other] = runs[other], runs[one]
        for at, at_minute in ((one, minute + 240), (other, minute + 300)):
            self._installed[at] = at_minute
            self.book.write("installations", at_minute, ids[at], self.hull_ids[at],
                            self.book.instant(at_minute), None)  # fmt: skip


def _dice(seed: int, at: int, day: int) -> float:
    """The same for every policy that looks at a hull on a day."""
    return float(np.random.default_rng([seed, 77, at, day]).random())
