"""How fuel gets into tanks: loads for the docks, fills before rides, drains by age."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from synthetic_data.worlds.failure_law import Bools, Floats
from synthetic_data.worlds.fleet_state import State
from synthetic_data.worlds.looking_back import Whole
from synthetic_data.worlds.world import (
    DELIVERED_PER_L,
    GRADES,
    OUTSIDE_PER_L,
    PER_L_AND_ON,
    World,
    price_of,
)

TURNS_D = 14.0
GOOD_FRESH_D = 5.0
LEAST_FILL_L = 4.0
_LAST_LOAD_DAY = 148
_TASTES = np.cumsum(
    [(0.65, 0.35, 0.0, 0.0), (0.25, 0.25, 0.25, 0.25), (0.0, 0.0, 0.4, 0.6)], axis=1
)


@dataclass(frozen=True)
class Slot:
    """One of a day's times of renting out, with its draws by place, used or not."""

    number: int
    day: int
    u: Floats
    """(draws, places), uniform"""
    z: Floats
    """(draws, places), normal"""


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


def take_loads(
    world: World, state: State, day: int, since: int, draws: Floats, *, seen: Seen | None
) -> None:
    """The loads of a morning; `draws` has three a dock and copy."""
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
        due = (state.bulk.litres[at] < below * room) & (since < _LAST_LOAD_DAY)
        label = np.minimum(3, np.searchsorted(np.cumsum(dock.grade_weights), u[:, 0]))
        wanted = np.maximum(100.0, to * room - state.bulk.litres[at])
        litres: Floats = 10.0 * np.round(wanted / 10.0)
        came = np.array(GRADES, dtype=np.float64)[label]
        aki = np.maximum(came, state.order_aki[at])
        state.paid_for_grade[at] += due * PER_L_AND_ON * (aki - came) * litres
        octane: Floats = aki + 0.4 * (u[:, 1] - 0.5)
        birth = day - 1.0 - 4.0 * u[:, 2]
        state.bulk.pour(at[due], litres[due], octane[due], birth[due])
        if seen is not None and due[0]:
            seen.loads.append((k, float(litres[0]), float(aki[0])))


def fill_up(state: State, at: Whole, burn_l: Floats, slot: Slot, *, seen: Seen | None) -> Floats:
    """Fill where there is too little; money paid under a rule beyond what would have been."""
    tanks, room = state.tanks, state.tank_l[at]
    old = _drain(state, at, slot, seen=seen)
    enough = np.minimum(burn_l * 1.3 + 0.08 * room, room)
    idle = slot.day - state.last_out[at] > TURNS_D
    wants = (tanks.litres[at] < enough) | idle | (slot.u[3, at] < 0.1) | old
    target = np.minimum(room, np.maximum(enough, room * (0.88 + 0.12 * slot.u[4, at])))
    litres = np.floor((target - tanks.litres[at]) * 10) / 10
    wants &= litres >= np.where(tanks.litres[at] < enough, 0.1, LEAST_FILL_L)
    litres = np.where(wants, litres, 0.0)
    outside, dearer, label, age_d = _where_from(state, at, litres, slot, old=old)
    home = state.dock[at]
    boost = np.where(state.boosts[at] & ~outside & (slot.u[9, at] < 0.4), 2.0, 0.0)
    octane = np.where(outside, label + 0.2 * slot.z[2, at], state.bulk.octane[home] + boost)
    birth = np.where(outside, slot.day - age_d, state.bulk.birth_d[home])
    tanks.pour(at, litres, octane, birth)
    drawn = np.bincount(
        home, weights=np.where(outside, 0.0, litres), minlength=state.bulk.litres.size
    )
    state.bulk.litres[:] = np.maximum(0.0, state.bulk.litres - drawn)
    if seen is not None:
        seen.fills += [
            Fill(int(at[i]), slot.number, float(litres[i]), float(label[i]) if outside[i] else None,
                 float(boost[i]) * 10)
            for i in np.flatnonzero(wants)
        ]  # fmt: skip
    return np.asarray(dearer * litres)


def _drain(state: State, at: Whole, slot: Slot, *, seen: Seen | None) -> Bools:
    """Empty the tanks whose fuel is older than their standing rule lets it get."""
    tanks = state.tanks
    age = slot.day + 0.6 - tanks.birth_d[at]
    old = (age > state.drain_at_d[at]) & (tanks.litres[at] > 1.0)
    state.drains[at] += old
    if seen is not None:
        seen.drains += [(int(p), slot.number, float(tanks.litres[p])) for p in at[old]]
    tanks.litres[at[old]] = 0.0
    return old


def _where_from(
    state: State, at: Whole, litres: Floats, slot: Slot, *, old: Bools
) -> tuple[Bools, Floats, Floats, Floats]:
    """Who fills outside, what a litre there costs more by a rule, its label and its age."""
    home, u = state.dock[at], slot.u
    taken = np.bincount(home, weights=litres, minlength=state.bulk.litres.size)
    dry = (taken + 1.0 > state.bulk.litres)[home]
    dock_d = slot.day - state.bulk.birth_d[home]
    rule = state.good_fuel[at] | old | (dock_d > state.drain_at_d[at])
    need = np.minimum(93.0, state.need_aki()[at] - state.own_need_on[at])
    meets = (state.bulk.octane[home] >= need - 0.3) & (dock_d <= TURNS_D)
    unruled = (u[6, at] < state.outside_share[at]) | dry
    outside = np.where(rule, ~meets | dry, unruled)
    taste = _TASTES[state.outside_taste[at]]
    grade = np.minimum(3, (u[5, at][:, None] > taste).sum(axis=1))
    is_good = rule | state.dock_buys_good[at]
    usual = np.array(GRADES)[grade]
    label = np.where(is_good, np.where(need > 91.0, 93.0, 91.0), usual)
    here = price_of(DELIVERED_PER_L, state.bulk.octane[home])
    else_paid = np.where(unruled, price_of(OUTSIDE_PER_L, usual), here)
    more = np.maximum(0.0, price_of(OUTSIDE_PER_L, label) - else_paid)
    dearer = np.where(is_good & outside, more, 0.0)
    usual_d = np.where(u[7, at] < 0.12, 10 + 30 * u[8, at], 3 + 8 * u[8, at])
    return outside, dearer, label, np.where(is_good, GOOD_FRESH_D, usual_d)
