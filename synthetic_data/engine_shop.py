"""Engines and what happens to them ashore: swaps, failures, teardowns, rebuilds, tunes.

An engine that fails is lifted out; a spare goes in if there is one, else the hull waits.
The failed engine is opened and rebuilt with a new piston set, or written off and a new
engine bought.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.bench_sheets import (
    Sheet,
    mechanic,
    station_kpa,
    write_acceptance,
    write_running_check,
    write_stated_ok,
)
from synthetic_data.engine_failures import PistonSet, new_piston_set
from synthetic_data.logbook import Logbook
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario
from synthetic_data.teardown_sheets import Opening, settled_cause, write_teardown

_MORNING = 12 * 60  # 7 o'clock on the docks' clocks
_FULL_REBUILD = {"bearing": 1.0, "water": 0.9, "ring_land_fracture": 0.45, "ring_wear": 0.3}
_WRITE_OFF = {"bearing": 0.3, "water": 0.3, "ring_land_fracture": 0.08}
_FOUND_LATER = {"ring_land_fracture": 0.2, "ring_wear": 0.75, "valve_seal": 0.6, "head_gasket": 0.2}
_FAMILIES = (("S3", 3, 18.0, 66.0, 100.0, 50.0), ("S4", 4, 21.0, 76.0, 96.0, 48.0))
_SHOP_ALTITUDE_M = 60.0
_STATED_OK = 0.03
_BOOK_COMPRESSION_KPA = 1215.0
_COMPLAINTS = {
    "ring_land_fracture": ("lost power, smoke, oil in the airbox", "knocked, then down on power"),
    "ring_wear": ("uses oil",),
    "valve_seal": ("hard to start, rough idle",),
    "head_gasket": ("overheat alarm",),
    "bearing": ("knocking noise, oil pressure alarm",),
    "water": ("rolled over, would not restart",),
}


@dataclass(slots=True)
class Trouble:
    """A failure that has struck but is not yet found."""

    mode: str
    struck_minute: int
    cylinder: int
    find_at_engine_h: float
    truth: dict[str, object]
    """its entry in the list of true failures"""


@dataclass(slots=True)
class Engine:
    """An engine, where it is and what it runs."""

    engine_id: str
    cylinders: int
    cruise_l_h: float
    full_l_h: float
    hours: float
    effect: float
    pistons: PistonSet
    calibration: str = "stock"
    need_aki: float = 0.0
    hull: int | None = None
    installed_minute: int = 0
    state: str = "spare"
    """'fitted', 'spare', 'shop', 'written_off' or 'sold'"""
    trouble: Trouble | None = None
    last_good_minute: int | None = None


class EngineShop:
    """All engines of an operator, with the book the shop keeps about them."""

    def __init__(
        self, scenario: Scenario, hull_ids: list[str], altitude_m: list[float], book: Logbook,
        rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self.scenario = scenario
        self.engines: list[Engine] = []
        self.fitted: list[Engine | None] = [None] * len(hull_ids)
        self.failures: list[dict[str, object]] = []
        self._book = book
        self._rng = rng
        self._hull_ids = hull_ids
        self._altitude_m = altitude_m
        self._sets = 0
        self._waiting: list[tuple[int, int]] = []
        self._ready: list[tuple[int, Engine, str]] = []
        self._need = dict(scenario.need_aki)

    def buy(self, minute: int, is_new: bool) -> Engine:
        """An engine comes on record, new or with hours on it."""
        rng = self._rng
        family, cylinders, cruise, full, bore, journal = _FAMILIES[int(rng.random() < 0.4)]
        hours = 0.0 if is_new else round(float(rng.uniform(20, 420)), 1)
        pistons = self._new_set(hours if hours < 300 or rng.random() < 0.6 else hours * 0.4)
        engine = Engine(
            f"E-{1001 + len(self.engines)}", cylinders, cruise, full, hours,
            float(rng.normal(0.0, self.scenario.ring_land.engine_sd)), pistons,
        )  # fmt: skip
        self.engines.append(engine)
        self._book["engines"].append(
            (engine.engine_id, family, "supercharged", cylinders, cruise, full,
             bore, journal, _BOOK_COMPRESSION_KPA, minute, hours)
        )  # fmt: skip
        reason = "factory" if pistons.age_h == hours else "unknown"
        self._write_set(engine, minute, hours - pistons.age_h, reason)
        self.calibrate(engine, minute)
        return engine

    def calibrate(self, engine: Engine, minute: int, to: str | None = None) -> None:
        """Put a calibration in force: the one named, or one drawn."""
        rng = self._rng
        names = [name for name, _ in self.scenario.need_aki]
        name = to or str(rng.choice(names, p=self.scenario.calibration_weights))
        engine.calibration, engine.need_aki = name, self._need[name]
        spark = {"stock": 0.0, "raised": 2.0, "mild": -2.0}[name]
        self._book["calibrations"].append((engine.engine_id, minute, name, engine.need_aki, spark))

    def install(self, engine: Engine, hull: int, minute: int) -> None:
        """Fit an engine to a hull."""
        engine.hull, engine.installed_minute, engine.state = hull, minute, "fitted"
        self.fitted[hull] = engine

    def lift_out(self, engine: Engine, minute: int, state: str) -> None:
        """Take an engine out of its hull and close its stay."""
        if engine.hull is None:
            return
        self._book["installations"].append(
            (engine.engine_id, self._hull_ids[engine.hull], engine.installed_minute, minute)
        )
        self.fitted[engine.hull] = None
        engine.hull, engine.state = None, state

    def close_book(self) -> None:
        """Write the stays that have not ended."""
        for engine in self.engines:
            if engine.hull is not None:
                hull_id = self._hull_ids[engine.hull]
                self._book["installations"].append(
                    (engine.engine_id, hull_id, engine.installed_minute, None)
                )

    def strike(self, engine: Engine, mode: str, minute: int, exposure: dict[str, object]) -> bool:
        """A mode has struck; True if the engine stops there, False if it runs on unnoticed."""
        rng = self._rng
        later = float(rng.uniform(5.0, 30.0) if mode == "ring_wear" else rng.uniform(2.0, 12.0))
        cylinder = int(rng.integers(1, engine.cylinders + 1))
        hull_id = None if engine.hull is None else self._hull_ids[engine.hull]
        truth: dict[str, object] = {
            "engine_id": engine.engine_id,
            "piston_set_id": engine.pistons.set_id,
            "hull_id": hull_id,
            "mode": mode,
            "struck_minute": minute,
            "found_minute": None,
            "struck_engine_h": round(engine.hours, 2),
            "struck_set_h": round(engine.pistons.age_h, 2),
            "cylinder": cylinder,
            **exposure,
        }
        self.failures.append(truth)
        engine.trouble = Trouble(mode, minute, cylinder, engine.hours + later, truth)
        if rng.random() < _FOUND_LATER.get(mode, 0.0):
            return False
        self.find(engine, minute, "ran_to_failure")
        return True

    def find(self, engine: Engine, minute: int, how: str) -> None:
        """The failure is found: engine out, opened, rebuilt or written off; a spare wanted."""
        trouble, hull, rng = engine.trouble, engine.hull, self._rng
        if trouble is None or hull is None:
            return
        trouble.truth["found_minute"] = minute
        if how == "inspection" and trouble.mode != "valve_seal":
            self._check_sheet(engine, minute, hull, trouble.cylinder)
        out = minute + int(rng.integers(60, 1600))
        self.lift_out(engine, out, "shop")
        self._waiting.append((out // MINUTES_PER_DAY + int(rng.integers(1, 3)), hull))
        opened = out + int(rng.integers(1, 4)) * MINUTES_PER_DAY
        self._write_failure(engine, minute, how, opened)
        done_day = opened // MINUTES_PER_DAY + int(rng.integers(5, 22))
        engine.trouble = engine.last_good_minute = None
        if rng.random() < _WRITE_OFF.get(trouble.mode, 0.0):
            engine.state = "written_off"
        self._ready.append((done_day, engine, trouble.mode))

    def _write_failure(self, engine: Engine, minute: int, how: str, opened: int) -> None:
        rng, trouble = self._rng, engine.trouble
        if trouble is None:
            return
        last_good = engine.last_good_minute if how == "inspection" else None
        is_raised = engine.calibration == "raised"
        told = str(rng.choice(_COMPLAINTS[trouble.mode])) if rng.random() < 0.8 else None
        seen = engine.pistons.window.look_back()
        shortfall_on = seen.shortfall_on if seen else 0.0
        cause = settled_cause(trouble.mode, shortfall_on, is_raised, rng)
        settled = None if cause is None else opened + int(rng.integers(600, 6000))
        self._book["failures"].append(
            (engine.engine_id, minute, trouble.mode, how, last_good, told, cause, settled)
        )
        opening = Opening(engine.engine_id, opened, engine.cylinders)
        write_teardown(
            self._book,
            opening,
            trouble.mode,
            trouble.cylinder,
            is_raised,
            shortfall_on=shortfall_on,
            rng=rng,
        )

    def morning(self, day: int) -> None:
        """Rebuilt and new engines come ready; spares go into waiting hulls."""
        minute = day * MINUTES_PER_DAY + _MORNING
        for item in [item for item in self._ready if item[0] <= day]:
            self._ready.remove(item)
            self._make_ready(item[1], item[2], minute)
        for wait in [wait for wait in self._waiting if wait[0] <= day]:
            spare = next((e for e in self.engines if e.state == "spare"), None)
            if spare is None:
                break
            self._waiting.remove(wait)
            self.install(spare, wait[1], minute + int(self._rng.integers(5, 90)))

    def sell(self, hull: int, minute: int) -> None:
        """A hull leaves the fleet with the engine in it."""
        engine = self.fitted[hull]
        if engine is not None:
            self.lift_out(engine, minute, "sold")
        self._waiting = [wait for wait in self._waiting if wait[1] != hull]

    def swap(self, one: Engine, other: Engine, minute: int) -> None:
        """Exchange the engines of two hulls."""
        hull_one, hull_other = one.hull, other.hull
        if hull_one is None or hull_other is None or one is other:
            return
        self.lift_out(one, minute, "spare")
        self.lift_out(other, minute + 60, "spare")
        self.install(one, hull_other, minute + 240)
        self.install(other, hull_one, minute + 300)

    def renew_pistons(self, engine: Engine, minute: int) -> None:
        """Planned: a new set before the old one broke."""
        self._rebuild(engine, minute, False, "planned")

    def check(self, engine: Engine, minute: int) -> None:
        """A look with the engine in the hull; finds trouble that is there, else it was good."""
        if engine.trouble is not None:
            self.find(engine, minute, "inspection")
            return
        if engine.hull is not None:
            self._check_sheet(engine, minute, engine.hull, None)
            engine.last_good_minute = minute

    def _check_sheet(self, engine: Engine, minute: int, hull: int, bad: int | None) -> None:
        sheet = Sheet(self._book, engine.engine_id, minute, engine.cylinders)
        if bad is None and self._rng.random() < _STATED_OK:
            write_stated_ok(sheet)
            return
        wear = min(1.2, engine.pistons.age_h / 900.0)
        baro = station_kpa(self._altitude_m[hull], self._rng)
        write_running_check(sheet, wear, bad, baro, self._rng)

    def _make_ready(self, engine: Engine, mode: str, minute: int) -> None:
        if engine.state == "written_off":
            self.buy(minute, is_new=True)
            return
        is_full = bool(self._rng.random() < _FULL_REBUILD.get(mode, 0.0))
        self._rebuild(engine, minute, is_full, "after_failure")
        engine.state = "spare"
        if engine.calibration == "raised" and self._rng.random() < 0.3:
            self.calibrate(engine, minute + 4, "stock")

    def _rebuild(self, engine: Engine, minute: int, is_full: bool, reason: str) -> None:
        rng = self._rng
        is_head_tested = bool(rng.random() < (0.8 if is_full else 0.55))
        cost = float(rng.normal(6800 if is_full else 3700, 400))
        self._book["rebuilds"].append(
            (engine.engine_id, minute, "full" if is_full else "top_end",
             is_head_tested, round(cost, -1))
        )  # fmt: skip
        sheet = Sheet(self._book, engine.engine_id, minute, engine.cylinders, mechanic(rng))
        write_acceptance(sheet, is_full, is_head_tested, station_kpa(_SHOP_ALTITUDE_M, rng), rng)
        engine.pistons = self._new_set(0.0)
        self._write_set(engine, minute, engine.hours, reason)

    def _new_set(self, age_h: float) -> PistonSet:
        self._sets += 1
        return new_piston_set(self.scenario, f"P-{self._sets:04d}", age_h, self._rng)

    def _write_set(self, engine: Engine, minute: int, fitted_engine_h: float, reason: str) -> None:
        grade = "original" if self._rng.random() < 0.75 else "aftermarket"
        kind = "forged" if engine.pistons.is_forged else "cast"
        self._book["piston_sets"].append(
            (engine.pistons.set_id, engine.engine_id, minute, round(fitted_engine_h, 1), kind,
             grade, reason)
        )  # fmt: skip
