"""A rental fleet run forward in time: fuel bought, burned, damage done, engines broken.

The operator, its docks and all its records are invented.  Order within a day: loads,
engines and checks in the morning, then rentals by time of start, each with its fill
before it.  Draws from a perfectly mixed tank do not change its mix, so that order is
exact.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil

import numpy as np
import polars as pl

from synthetic_data.build_sheets import write_build_limits, write_build_sheets, write_evidence
from synthetic_data.craft_fuel import CraftFuel
from synthetic_data.data_faults import RawCells, plant_faults
from synthetic_data.engine_failures import Exposure, run_set
from synthetic_data.engine_shop import Engine, EngineShop
from synthetic_data.fuel_supply import MixedTank
from synthetic_data.logbook import Logbook, empty_logbook
from synthetic_data.operator_calendar import Hull, OperatorCalendar, enrol_hulls
from synthetic_data.paperwork import (
    as_frames,
    at_minutes,
    write_costs,
    write_jobs_done,
    write_releases,
)
from synthetic_data.rental_demand import draw_habits, plan_rentals
from synthetic_data.scenario import MINUTES_PER_DAY, Scenario
from synthetic_data.true_account import TRUTH_SCHEMA, account_of_truth, causes_of

OLD_AFTER_D = 28.0


@dataclass(frozen=True)
class Fleet:
    """A simulated operator: what was written down, and what was true."""

    records: dict[str, pl.DataFrame]
    """one frame per record kind, typed as its contract says"""
    raw_cells: RawCells
    """cells holding text that no type can hold: (kind, row, column) -> text"""
    truth_sessions: pl.DataFrame
    """one row per rental that took place; columns in `true_account.TRUTH_SCHEMA`"""
    truth: dict[str, object]
    """parameters, true failures, litres in and out, unrecorded fills, planted faults"""


def simulate_fleet(scenario: Scenario, rng_seed: int) -> Fleet:
    """One operator over its seasons; the same scenario and seed give the same fleet."""
    streams = np.random.SeedSequence(rng_seed).spawn(8)
    use, fuel, engines, calendar, paper, faults, unwritten, sheets = (
        np.random.default_rng(s) for s in streams
    )
    book = empty_logbook()
    hulls = enrol_hulls(scenario, book, calendar)
    habits = draw_habits(scenario, [hull.dock for hull in hulls], use)
    rentals = plan_rentals(scenario, habits, use)
    altitude = [scenario.docks[hull.dock].altitude_m for hull in hulls]
    shop = EngineShop(scenario, [hull.hull_id for hull in hulls], altitude, book, engines)
    craft = CraftFuel(scenario, hulls, habits, book, fuel, unwritten)
    diary = OperatorCalendar(scenario, hulls, shop, book, calendar)
    water = _OnTheWater(scenario, hulls, shop, craft, book, paper)
    begin, end = scenario.record_begins_day, scenario.record_ends_day
    bounds = np.searchsorted(rentals.day, np.arange(begin, end + 2)).tolist()
    noise = np.exp(use.normal(0.0, 0.05, len(rentals.day)))
    plan = list(
        zip(
            rentals.hull.tolist(), rentals.start_minute.tolist(), rentals.running_h.tolist(),
            rentals.throttle.tolist(), (habits.burn_factor[rentals.hull] * noise).tolist(),
            strict=True,
        )
    )  # fmt: skip
    usual = habits.throttle_mean.tolist()
    for at, day in enumerate(range(begin, end + 1)):
        craft.morning(day)
        shop.morning(day)
        diary.morning(day)
        for hull, start, wanted_h, throttle, factor in plan[bounds[at] : bounds[at + 1]]:
            engine = shop.fitted[hull]
            if engine is None or not hulls[hull].is_in_service(start):
                continue
            if start < engine.installed_minute:
                continue
            rate = engine.cruise_l_h * (1 - throttle) + engine.full_l_h * throttle
            rate *= factor
            tank = craft.ready(hull, start, wanted_h * rate)
            hours = min(wanted_h, 0.95 * tank.volume_l / rate)
            water.rent(
                engine, hull, start, tank, hours=hours, throttle=throttle, rate=rate,
                usual_throttle=usual[hull],
            )  # fmt: skip
    craft.drain_withdrawn()
    shop.close_book()
    write_costs(scenario, book)
    write_releases(scenario, book)
    write_jobs_done(scenario, book)
    write_build_limits(book)
    write_build_sheets(book, sheets)
    write_evidence(book, sheets)
    truth_sessions = pl.DataFrame(water.truth_rows, schema=TRUTH_SCHEMA, orient="row")
    truth_sessions = truth_sessions.with_columns(started_at=at_minutes("started_at", scenario))
    records = as_frames(scenario, book, paper)
    planted = plant_faults(records, faults) if scenario.with_faults else None
    truth = account_of_truth(
        scenario, rng_seed, shop.failures, craft.litres() | {"burned_l": water.burned_l}, planted
    )
    truth["unwritten_l"] = {hull: round(litres, 3) for hull, litres in craft.unwritten_l.items()}
    if planted is None:
        return Fleet(records, {}, truth_sessions, truth)
    return Fleet(planted.records, planted.raw_cells, truth_sessions, truth)


class _OnTheWater:
    """Rentals as they happen, with what was true of each."""

    def __init__(  # noqa: PLR0917 - all that a ride has to do with
        self, scenario: Scenario, hulls: list[Hull], shop: EngineShop, craft: CraftFuel,
        book: Logbook, rng: np.random.Generator,
    ) -> None:  # fmt: skip
        self.truth_rows: list[tuple[object, ...]] = []
        self.burned_l = 0.0
        self._scenario = scenario
        self._hulls = hulls
        self._shop = shop
        self._craft = craft
        self._book = book
        self._rng = rng

    def rent(
        self, engine: Engine, hull: int, start: int, tank: MixedTank, *, hours: float,
        throttle: float, rate: float, usual_throttle: float,
    ) -> None:  # fmt: skip
        """One rental: fuel burned, the set aged, perhaps a failure."""
        pistons, shop = engine.pistons, self._shop
        now_d = start / MINUTES_PER_DAY
        octane, age_d = tank.octane_aki, now_d - tank.birth_d
        old_share = tank.share_older(now_d, OLD_AFTER_D)
        need = engine.need_aki
        short = max(0.0, need - octane)
        seen = pistons.window.look_back() or Exposure(short, age_d, usual_throttle)
        is_raised = engine.calibration == "raised"
        was_sound = engine.trouble is None
        age_start, struck = pistons.age_h, None
        if was_sound:
            strike = run_set(
                self._scenario,
                pistons,
                hours,
                seen,
                is_raised=is_raised,
                engine_effect=engine.effect,
            )
            if strike is not None:
                struck = strike.mode
                engine.hours += strike.after_h
                minute = start + out_minutes(strike.after_h)
                effects = causes_of(self._scenario, strike.mode, seen, is_raised, pistons.is_forged)
                if shop.strike(engine, struck, minute, effects):
                    hours = strike.after_h
                else:
                    engine.hours += hours - strike.after_h
            else:
                engine.hours += hours
        else:
            engine.hours += hours
        litres = hours * rate
        tank_before_l = tank.volume_l
        ended = start + out_minutes(hours)
        octane, born_d, first_l = self._craft.burn(hull, start, ended, litres)
        if first_l < litres:
            short, age_d = max(0.0, need - octane), now_d - born_d
            old_share *= first_l / litres
        self.burned_l += litres
        pistons.window.add(hours, throttle, short, litres, age_d)
        boat = self._hulls[hull]
        boat.meter_h += hours
        self._write(boat.hull_id, start, ended, hours=hours, throttle=throttle, litres=litres)
        self.truth_rows.append(
            (boat.hull_id, start, engine.engine_id, pistons.set_id, octane, age_d, old_share, short,
             need, hours, throttle, litres, tank_before_l, age_start if was_sound else None,
             pistons.age_h if was_sound else None, seen.shortfall_on, seen.fuel_age_d,
             seen.full_throttle, is_raised, pistons.is_forged, struck)
        )  # fmt: skip
        trouble = engine.trouble
        if trouble is not None and engine.hours >= trouble.find_at_engine_h:
            shop.find(engine, ended + 30, "inspection")

    def _write(
        self, hull_id: str, start: int, ended: int, *, hours: float, throttle: float, litres: float
    ) -> None:
        draw = self._rng.random(2)
        share = None if draw[0] < 0.10 else round(throttle, 2)
        burned = round(litres, 1) if draw[1] < 0.03 else None
        self._book["sessions"].append(
            (hull_id, start, ended, max(0.1, round(hours, 1)), share, burned)
        )


def out_minutes(running_h: float) -> int:
    """Minutes between leaving and coming back: a little more than the engine ran."""
    return max(4, ceil(running_h * 66) + 1)
