"""One day on the water: loads for the docks, fills, rides, damage; for every copy at once.

The order within a day is fixed and every draw is made whether or not it is used, so that the
same seed gives two policies the same weather, renters, loads and luck.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from synthetic_data.worlds.failure_law import AT_STAKE, Floats, Ride, hazard_of
from synthetic_data.worlds.fleet_state import FAMILIES, NEW_FAMILY, State, new_set
from synthetic_data.worlds.fuelling import Seen, Slot, fill_up, take_loads
from synthetic_data.worlds.looking_back import Whole
from synthetic_data.worlds.world import SEASON_D, World

SLOTS = 4
MEAN_H = 0.85
LOOK_FINDS, LOOK_CLEARS = 0.5, 0.9
"""How often the worlds' leak-down test reads badly on a set within its reach, and well on others;
nobody knows the true figures."""

_BUSY_DAYS = (0, 30, 55, 75, 105, 122, 152)
_BUSY_RATE = (0.30, 0.50, 1.10, 1.50, 1.50, 0.80, 0.25)
_RATES = np.interp(np.arange(SEASON_D), _BUSY_DAYS, _BUSY_RATE)
_WEEKEND, _WEEKDAY = 1.9, 0.75
_SEASON_RATE = float(_RATES.sum()) * (2 * _WEEKEND + 5 * _WEEKDAY) / 7
_DRAWS = 10
"""Uniform draws per slot and place, whether or not they are used."""

Damage = Callable[[Whole, Floats, Floats, Floats], None]
"""Called with places, growth of the hazard at stake, hours and dearer fuel under a rule, money."""


@dataclass(frozen=True)
class _Out:
    """The rides of one slot as they would be if nothing broke."""

    hours: Floats
    throttle: Floats
    burn_l_h: Floats
    fuel_d: Floats
    tank_short_on: Floats
    bought: Floats
    """money paid for fuel under a rule beyond what would have been"""


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
    apart = state.copies // state.alike  # copies that share their luck get the same draws
    loads = np.tile(rng.random((apart, len(world.docks), 3)), (state.alike, 1, 1))
    places = state.places // state.alike
    uniform = np.tile(rng.random((_DRAWS, SLOTS, places)), state.alike)
    normal = np.tile(rng.standard_normal((3, SLOTS, places)), state.alike)
    take_loads(world, state, day, since, loads, seen=seen)
    rate = _RATES[since] * world.season_h / MEAN_H / _SEASON_RATE
    rate *= _WEEKEND if (world.epoch.weekday() + day) % 7 >= 5 else _WEEKDAY
    chance = np.minimum(0.95, rate * state.popularity / SLOTS)
    heat = world.law.heat_on * max(0.0, float(np.sin(np.pi * (since - 15) / 120)))
    for number in range(SLOTS):
        slot = Slot(number, day, uniform[:, number], normal[:, number])
        at = np.flatnonzero(
            (slot.u[0] < chance) & (state.from_day <= day) & (state.off_until <= day)
        )
        if not at.size:
            continue
        out = _go_out(state, at, slot, heat, seen=seen)
        growth, scaled = _growth(world, state, at, out)
        part = np.ones(at.size)
        if can_fail:
            left = (state.fate[:, at] - state.spent[:, at]) / np.maximum(growth, 1e-300)
            part = np.minimum(1.0, left.min(axis=0))
            mode = left.argmin(axis=0)
        at_stake = growth[:AT_STAKE].sum(axis=0) * part
        if damage is not None:
            seen_growth = at_stake * _after_a_look(state, at, at_stake)
            damage(at, seen_growth, out.hours * part, out.bought)
        state.look_left[at] = np.maximum(0.0, state.look_left[at] - at_stake)
        state.spent[:, at] += growth * part
        state.base_spent[at] += scaled * part
        _come_back(state, at, out, part, slot, seen=seen)
        if (part < 1.0).any():
            _break(world, state, at[part < 1.0], mode[part < 1.0], slot, fates=fates, seen=seen)


def _go_out(state: State, at: Whole, slot: Slot, heat: float, *, seen: Seen | None) -> _Out:
    """Fuel bought and the ride begun."""
    cruise = np.array([family[2] for family in FAMILIES])[state.family[at]]
    full = np.array([family[3] for family in FAMILIES])[state.family[at]]
    hours = np.clip(MEAN_H + 0.22 * slot.z[0, at], 0.3, 1.25)
    held = state.throttled_until[at] > slot.day
    throttle = np.clip(state.throttle_mean[at] + 0.12 * slot.z[1, at], 0.02, 0.9)
    throttle = np.where(held, 0.02, throttle)
    burn = (cruise * (1 - throttle) + full * throttle) * state.burn_factor[at]
    burn *= np.exp(0.05 * (slot.u[1, at] - 0.5))
    bought = fill_up(state, at, hours * burn, slot, seen=seen)
    hours = np.minimum(hours, 0.95 * state.tanks.litres[at] / burn)
    need = state.need_aki()[at] + heat - held  # a stop at three quarters needs one number less
    return _Out(
        hours=hours, throttle=throttle, burn_l_h=burn,
        fuel_d=slot.day + 0.6 - state.tanks.birth_d[at],
        tank_short_on=np.maximum(0.0, need - state.tanks.octane[at]), bought=bought,
    )  # fmt: skip


def _growth(world: World, state: State, at: Whole, out: _Out) -> tuple[Floats, Floats]:
    """Growth of the hazard by mode over whole rides, and the part own factors scale."""
    short, age, share, has = state.back.means(at)
    dock_log = np.array([dock.hidden_log for dock in world.docks] * state.copies)
    ride = Ride(
        age_h=state.age_h[at], hours=out.hours, short_on=np.where(has, short, out.tank_short_on),
        fuel_d=np.where(has, age, out.fuel_d),
        full_throttle=np.where(has, share, state.throttle_mean[at]),
        tank_short_on=out.tank_short_on, tank_share=out.hours * out.burn_l_h / state.tank_l[at],
        is_raised=state.is_raised[at], is_forged=state.is_forged[at],
        is_new_family=state.family[at] == NEW_FAMILY, dock_log=dock_log[state.dock[at]],
    )  # fmt: skip
    growth, scaled = hazard_of(world.law, ride)
    growth[0] += scaled * np.exp(state.own_log[at])
    return growth, scaled


def _come_back(
    state: State, at: Whole, out: _Out, part: Floats, slot: Slot, *, seen: Seen | None
) -> None:
    """Hours, fuel and exposure of the rides, so far as they went."""
    hours = out.hours * part
    litres, hard = hours * out.burn_l_h, hours * out.throttle
    state.age_h[at] += hours
    state.engine_h[at] += hours
    state.last_out[at] = slot.day
    state.tanks.litres[at] = np.maximum(0.0, state.tanks.litres[at] - litres)
    rides = [hours, hard, hard * out.tank_short_on, litres, litres * out.fuel_d]
    state.back.add(at, np.stack(rides, axis=1))
    if seen is not None:
        columns = (hours.tolist(), out.throttle.tolist(), litres.tolist())
        seen.rides += list(zip(at.tolist(), [slot.number] * at.size, *columns, strict=True))


def _break(
    world: World, state: State, at: Whole, mode: Whole, slot: Slot, *,
    fates: np.random.Generator | None, seen: Seen | None,
) -> None:  # fmt: skip
    """Failures: the hull is ashore for a week or two and comes back with a new set."""
    if seen is not None:
        seen.failures += [(int(p), slot.number, int(m)) for p, m in zip(at, mode, strict=True)]
    state.engine_fails[at] += mode == 0
    state.off_until[at] = slot.day + 7 + (slot.u[2, at] * 7).astype(np.int64)
    new_set(state, at, fates, world.forged_share)


def _after_a_look(state: State, at: Whole, growth: Floats) -> Floats:
    """Bayes on the last test's reading: hazard within its reach over what it was without it."""
    left = state.look_left[at]
    q = -np.expm1(-np.maximum(left - growth / 2, 0.0))
    bad = LOOK_FINDS / (LOOK_FINDS * q + (1 - LOOK_CLEARS) * (1 - q))
    good = (1 - LOOK_FINDS) / ((1 - LOOK_FINDS) * q + LOOK_CLEARS * (1 - q))
    return np.where(left > 0, np.where(state.look_bad[at], bad, good), 1.0)
