"""When hulls would be rented, if they were fit to go: busy weekends, July and August.

Demand does not look at fuel, engines or failures.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from synthetic_data.scenario import MINUTES_PER_DAY, Scenario

SEASON_DAYS = 153
SLOTS = 6
FIRST_SLOT_MINUTE = 14 * 60  # 9 o'clock on the docks' clocks
SLOT_MINUTES = 105
LONGEST_H = 1.25  # with the jitter it leaves time to fill before the next slot
JITTER_MINUTES = 10

_BUSY_DAYS = (0, 30, 55, 75, 105, 122, 152)
_BUSY_RATE = (0.30, 0.50, 1.10, 1.50, 1.50, 0.80, 0.25)
_WEEKEND_RATE = 1.9
_WEEKDAYS_BEFORE_WEEKEND = 5


@dataclass(frozen=True)
class HullHabits:
    """How each hull is used and fuelled; one entry per hull."""

    popularity: NDArray[np.float64]
    throttle_mean: NDArray[np.float64]
    is_late_starter: NDArray[np.bool_]
    outside_share: NDArray[np.float64]
    outside_taste: NDArray[np.int64]
    """0 cheap, 1 any, 2 premium"""
    booster_share: NDArray[np.float64]
    burn_factor: NDArray[np.float64]


@dataclass(frozen=True)
class Rentals:
    """Planned rentals in order of start: all arrays have one entry per rental."""

    day: NDArray[np.int64]
    hull: NDArray[np.int64]
    start_minute: NDArray[np.int64]
    running_h: NDArray[np.float64]
    throttle: NDArray[np.float64]


def draw_habits(scenario: Scenario, dock_of: list[int], rng: np.random.Generator) -> HullHabits:
    """Habits of each hull; heavy use of outside pumps is spread over all docks."""
    n = scenario.hulls
    heavy = rng.random(n) < 0.3
    boosted = np.array([scenario.docks[d].booster_hull_share for d in dock_of])
    return HullHabits(
        popularity=np.exp(rng.normal(-0.03, 0.25, n)),
        throttle_mean=rng.uniform(0.17, 0.37, n),
        is_late_starter=rng.random(n) < 0.25,
        outside_share=np.where(heavy, rng.uniform(0.25, 0.65, n), rng.uniform(0.0, 0.08, n)),
        outside_taste=rng.integers(0, 3, n),
        booster_share=np.where(rng.random(n) < boosted, rng.uniform(0.25, 0.6, n), 0.0),
        burn_factor=np.exp(rng.normal(0.0, 0.06, n)),
    )


def plan_rentals(scenario: Scenario, habits: HullHabits, rng: np.random.Generator) -> Rentals:
    """Every rental the operator could sell, in order of start."""
    parts = [_season(scenario, year, habits, rng) for year in scenario.seasons]
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    order = np.lexsort((columns[1], columns[2]))
    day, hull, start, running, throttle = (column[order] for column in columns)
    return Rentals(day, hull, start, running, throttle)


def _season(
    scenario: Scenario, year: int, habits: HullHabits, rng: np.random.Generator
) -> list[NDArray[np.generic]]:
    opening = scenario.day_of(year, 5, 1)
    days = np.arange(SEASON_DAYS)
    weekday = np.array(
        [(scenario.epoch + timedelta(days=int(opening + d))).weekday() for d in days]
    )
    rate = np.interp(days, _BUSY_DAYS, _BUSY_RATE)
    rate = rate * np.where(weekday >= _WEEKDAYS_BEFORE_WEEKEND, _WEEKEND_RATE, 1.0)
    mean_h = 0.85
    rate *= scenario.season_h_per_hull / mean_h / rate.sum()
    wanted = rate[None, :] * habits.popularity[:, None]
    shoulder = (days < 40) | (days > 128)
    wanted = np.where(habits.is_late_starter[:, None] & shoulder[None, :], 0.08 * wanted, wanted)
    count = np.minimum(rng.poisson(wanted), SLOTS)
    rank = rng.random((*count.shape, SLOTS)).argsort(axis=2).argsort(axis=2)
    hull, season_day, slot = np.nonzero(rank < count[:, :, None])
    n = len(hull)
    running = np.clip(rng.normal(mean_h, 0.22, n), 0.3, LONGEST_H)
    day = opening + season_day
    jitter = rng.integers(0, JITTER_MINUTES + 1, n)
    start = day * MINUTES_PER_DAY + FIRST_SLOT_MINUTE + slot * SLOT_MINUTES + jitter
    mean = habits.throttle_mean[hull]
    firmness = 12.0
    throttle = rng.beta(mean * firmness, (1 - mean) * firmness)
    return [day, hull, start, running, throttle]
