"""One day on the water: loads for the docks, fills, rides, damage; for every copy at once.

The order within a day is fixed and every draw is made whether or not it is used, so that the
same seed gives two policies the same weather, renters, loads and luck.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from synthetic_data.worlds.failure_law import AT_STAKE, Floats, Ride, hazard_of
from synthetic_data.worlds.fleet_state import FAMILIES, NEW_FAMILY, State, new_set
from synthetic_data.worlds.looking_back import Whole
from synthetic_data.worlds.world import GRADES, SEASON_D, World

SLOTS = 4
MEAN_H = 0.85
TURNS_D = 14.0
GOOD_FRESH_D = 5.0
_TASTES = np.cumsum(
    [(0.65, 0.35, 0.0, 0.0), (0.25, 0.25, 0.25, 0.25), (0.0, 0.0, 0.4, 0.6)], axis=1
)
_BUSY_DAYS = (0, 30, 55, 75, 105, 122, 152)
_BUSY_RATE = (0.30, 0.50, 1.10, 1.50, 1.50, 0.80, 0.25)
_RATES = np.interp(np.arange(SEASON_D), _BUSY_DAYS, _BUSY_RATE)
_WEEKEND, _WEEKDAY = 1.9, 0.75
_SEASON_RATE = float(_RATES.sum()) * (2 * _WEEKEND + 5 * _WEEKDAY) / 7
_DRAWS = 10
"""Uniform draws per slot and place, whether or not they are used."""


@dataclass
class Fill:
    """Fuel put into one tank."""

    at: int
    slot: int
    litres: float
    label: float | None
    """at an outside pump; None: from the home dock"""
    booster: float


@dataclass
class Seen:
    """What happened on one day, for who keeps the books; filled only where they are kept."""

    loads: list[tuple[int, float, float]] = field(default_factory=list)
    """dock, litres, label"""
    fills: list[Fill] = field(default_factory=list)
    rides: list[tuple[int, int, float, float, float]] = field(default_factory=list)
    """place, slot, hours, full-throttle share, litres"""
    drains: list[tuple[int, int, float]] = field(default_factory=list)
    """place, slot, litres taken out"""
    failures: list[tuple[int, int, int]] = field(default_factory=list)
    """place, slot, mode"""


Damage = Callable[[Whole, Floats, Floats, Floats], None]
"""Called with places, growth of the hazard at stake, hours and litres under the fuel rule."""


def season_day(world: World, day: int) -> int | None:
    """Days since the season opened; None outside a season."""
    for year in (*world.years, world.years[-1] + 1):
        since = day - world.opening(year)
        if 0 <= since < SEASON_D:
            return since
    return None


def ride_one_day(
    world: World, state: State, day: int, rng: np.random.Generator, *,
    can_fail: bool = True, fates: np.random.Generator | None = None, damage: Damage | None = None,
    seen: Seen | None = None,
) -> None:  # fmt: skip
    """Move the fleet on by one day.

    Args:
        world: what is true.
        state: the fleet, changed in place.
        day: days since the epoch.
        rng: the day's weather, renters, loads and pumps.
        can_fail: False: hazard is counted and nothing breaks.
        fates: draws the fates of new sets; None: those drawn beforehand.
        damage: is told the growth of the hazard, ride by ride.
        seen: is told what a bystander sees; only of a single copy.
    """
    since = season_day(world, day)
    if since is None:
        return
    copies, docks = state.copies, len(world.docks)
    apart = copies // state.alike  # copies that share their luck get the same draws
    luck = rng.random((apart, docks, 3)), rng.random((_DRAWS, SLOTS, state.places // state.alike))
    load_draws = np.tile(luck[0], (state.alike, 1, 1))
    draws = np.tile(luck[1], state.alike)
    normal = np.tile(rng.standard_normal((3, SLOTS, state.places // state.alike)), state.alike)
    _loads(world, state, day, since, load_draws, seen)
    rate = _RATES[since] * world.season_h / MEAN_H / _SEASON_RATE
    rate *= _WEEKEND if (world.epoch.weekday() + day) % 7 >= 5 else _WEEKDAY
    chance = np.minimum(0.95, rate * state.popularity / SLOTS)
    heat = world.law.heat_on * max(0.0, float(np.sin(np.pi * (since - 15) / 120)))
    dock_log = np.array([dock.hidden_log for dock in world.docks] * copies)
    is_there = (state.from_day <= day) & (state.off_until <= day)
    cruise = np.array([family[2] for family in FAMILIES])[state.family]
    full = np.array([family[3] for family in FAMILIES])[state.family]
    for slot in range(SLOTS):
        u, z = draws[:, slot], normal[:, slot]
        at = np.flatnonzero((u[0] < chance) & is_there & (state.off_until <= day))
        if not at.size:
            continue
        hours = np.clip(MEAN_H + 0.22 * z[0, at], 0.3, 1.25)
        throttle = np.clip(state.throttle_mean[at] + 0.12 * z[1, at], 0.02, 0.9)
        held = state.throttled_until[at] > day
        throttle = np.where(held, 0.02, throttle)
        burn = (cruise[at] * (1 - throttle) + full[at] * throttle) * state.burn_factor[at]
        burn *= np.exp(0.05 * (u[1, at] - 0.5))
        bought = _fill(state, at, hours * burn, day, slot, u, z, seen)
        hours = np.minimum(hours, 0.95 * state.tanks.litres[at] / burn)
        fuel_d = day + 0.6 - state.tanks.birth_d[at]
        need = state.need_aki()[at] + heat - held
        tank_short = np.maximum(0.0, need - state.tanks.octane[at])
        short, age, share, has = state.back.means(at)
        ride = Ride(
            age_h=state.age_h[at], hours=hours, short_on=np.where(has, short, tank_short),
            fuel_d=np.where(has, age, fuel_d),
            full_throttle=np.where(has, share, state.throttle_mean[at]),
            tank_short_on=tank_short, tank_share=hours * burn / state.tank_l[at],
            is_raised=state.is_raised[at], is_forged=state.is_forged[at],
            is_new_family=state.family[at] == NEW_FAMILY, dock_log=dock_log[state.dock[at]],
        )  # fmt: skip
        parts, scaled = hazard_of(world.law, ride)
        growth = parts
        growth[0] = parts[0] + scaled * np.exp(state.own_log[at])
        part = np.ones(at.size)
        if can_fail:
            left = state.fate[:, at] - state.spent[:, at]
            part = np.min(np.minimum(1.0, left / np.maximum(growth, 1e-300)), axis=0)
            struck = np.argmin(left / np.maximum(growth, 1e-300), axis=0)
        hours, litres = hours * part, hours * part * burn
        at_stake = growth[:AT_STAKE].sum(axis=0) * part
        if damage is not None:
            damage(at, at_stake * _after_a_look(state, at, at_stake), hours, bought)
        state.look_left[at] = np.maximum(0.0, state.look_left[at] - at_stake)
        state.spent[:, at] += growth * part
        state.base_spent[at] += scaled * part
        state.age_h[at] += hours
        state.engine_h[at] += hours
        state.last_out[at] = day
        state.tanks.litres[at] = np.maximum(0.0, state.tanks.litres[at] - litres)
        hard = hours * throttle
        state.back.add(
            at, np.stack([hours, hard, hard * tank_short, litres, litres * fuel_d], axis=1)
        )
        if seen is not None:
            seen.rides += list(zip(at.tolist(), [slot] * at.size, hours.tolist(),
                                   throttle.tolist(), litres.tolist(), strict=True))  # fmt: skip
        broken = np.flatnonzero(part < 1.0)
        if broken.size:
            places = at[broken]
            if seen is not None:
                seen.failures += [
                    (int(p), slot, int(m)) for p, m in zip(places, struck[broken], strict=True)
                ]
            state.engine_fails[places] += struck[broken] == 0
            state.off_until[places] = day + 7 + (u[2, places] * 7).astype(np.int64)
            new_set(state, places, fates, world.forged_share)


def _after_a_look(state: State, at: Whole, growth: Floats) -> Floats:
    """Bayes on the last test's reading: hazard within its reach over what it was without it."""
    left = state.look_left[at]
    q = -np.expm1(-np.maximum(left - growth / 2, 0.0))
    finds, clears = LOOK_FINDS, LOOK_CLEARS
    bad = finds / (finds * q + (1 - clears) * (1 - q))
    good = (1 - finds) / ((1 - finds) * q + clears * (1 - q))
    return np.where(left > 0, np.where(state.look_bad[at], bad, good), 1.0)


LOOK_FINDS, LOOK_CLEARS = 0.5, 0.9
"""How often the worlds' leak-down test reads badly on a set within its reach, and well on others;
nobody knows the true figures."""


def _loads(
    world: World, state: State, day: int, since: int, draws: Floats, seen: Seen | None
) -> None:
    docks = len(world.docks)
    hulls = np.maximum(1, np.bincount(state.dock, minlength=docks * state.copies))
    for k, dock in enumerate(world.docks):
        at = np.arange(k, docks * state.copies, docks)
        room = np.maximum(500.0, dock.l_per_hull * hulls[at])
        below, to = dock.order_below, dock.fill_to
        if since == 0:
            below, to = 0.4, 0.45
        elif since > 120:
            below, to = 0.1, 0.3
        u = draws[:, k]
        due = (state.bulk.litres[at] < below * room) & (since < 148)
        label = np.minimum(3, np.searchsorted(np.cumsum(dock.grade_weights), u[:, 0]))
        litres = np.round(np.maximum(100.0, to * room - state.bulk.litres[at]), -1)
        aki = np.array(GRADES)[label]
        octane = aki + 0.4 * (u[:, 1] - 0.5)
        birth = day - 1.0 - 4.0 * u[:, 2]
        go = at[due]
        state.bulk.pour(go, litres[due], octane[due], birth[due])
        if seen is not None and due[0]:
            seen.loads.append((k, float(litres[0]), float(aki[0])))


def _fill(
    state: State, at: Whole, burn_l: Floats, day: int, slot: int, u: Floats, z: Floats,
    seen: Seen | None,
) -> Floats:  # fmt: skip
    """Fill where there is too little; litres bought under the fuel rule, dearer than the dock's."""
    tanks, room = state.tanks, state.tank_l[at]
    enough = np.minimum(burn_l * 1.3 + 0.08 * room, room)
    age = day + 0.6 - tanks.birth_d[at]
    rule = state.good_fuel[at]
    old = (age > state.drain_at_d[at]) & (tanks.litres[at] > 1.0)
    state.drains[at] += old
    if seen is not None:
        seen.drains += [(int(p), slot, float(tanks.litres[p])) for p in at[old]]
    tanks.litres[at[old]] = 0.0
    idle = day - state.last_out[at] > 14
    wants = (tanks.litres[at] < enough) | idle | (u[3, at] < 0.1) | old
    target = np.minimum(room, np.maximum(enough, room * (0.88 + 0.12 * u[4, at])))
    litres = np.floor((target - tanks.litres[at]) * 10) / 10
    wants &= litres >= np.where(tanks.litres[at] < enough, 0.1, 4.0)
    home = state.dock[at]
    taken = np.bincount(home[wants], weights=litres[wants], minlength=state.bulk.litres.size)
    dry = (taken + 1.0 > state.bulk.litres)[home]
    taste = _TASTES[state.outside_taste[at]]
    grade = np.minimum(3, (u[5, at][:, None] > taste).sum(axis=1))
    outside = (u[6, at] < state.outside_share[at]) | dry
    need = np.minimum(93.0, state.need_aki()[at] - state.own_need_on[at])
    meets = (state.bulk.octane[home] >= need - 0.3) & (day - state.bulk.birth_d[home] <= TURNS_D)
    stale = day - state.bulk.birth_d[home] > state.drain_at_d[at]  # who drains buys none such
    rule = rule | old | stale
    outside = np.where(rule, ~meets | dry, outside)
    label = np.where(rule, np.where(need > 91.0, 93.0, 91.0), np.array(GRADES)[grade])
    can = u[7, at] < 0.12
    bought_d = np.where(rule, GOOD_FRESH_D, np.where(can, 10 + 30 * u[8, at], 3 + 8 * u[8, at]))
    boost = np.where(state.boosts[at] & ~outside & (u[9, at] < 0.4), 2.0, 0.0)
    octane = np.where(outside, label + 0.2 * z[2, at], state.bulk.octane[home] + boost)
    birth = np.where(outside, day - bought_d, state.bulk.birth_d[home])
    litres = np.where(wants, litres, 0.0)
    tanks.pour(at, litres, octane, birth)
    order = np.where(outside, 0.0, litres)
    state.bulk.litres -= np.bincount(home, weights=order, minlength=state.bulk.litres.size)
    np.maximum(state.bulk.litres, 0.0, out=state.bulk.litres)
    if seen is not None:
        for i in np.flatnonzero(wants):
            seen.fills.append(
                Fill(int(at[i]), slot, float(litres[i]), float(label[i]) if outside[i] else None,
                     float(boost[i]) * 10)
            )  # fmt: skip
    return np.where(rule & outside, litres, 0.0)
