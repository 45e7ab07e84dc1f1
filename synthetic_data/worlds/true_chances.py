"""The true chance that each hull's running set fails soon, given all that is true of it today.

The fleet is tiled and lived forward under many weathers, renters and loads; nothing breaks
in it, the hazard at stake is counted, and a chance is the mean of one minus exp of minus that.
The engine's own factor is known; `averaged_30d` draws it from what is left open of it once the
engine's past is known (the law itself known): a chance averaged over the luck of engines.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from synthetic_data.worlds.failure_law import Floats, Law, draw_own
from synthetic_data.worlds.fleet_state import State
from synthetic_data.worlds.looking_back import Whole
from synthetic_data.worlds.riding import ride_one_day
from synthetic_data.worlds.world import SEASON_D, World

AHEAD_H = 25.0
_DRAWN = 400


@dataclass(frozen=True)
class TrueChances:
    """By hull, of a ring-land fracture or ring wear."""

    in_7d: Floats
    in_30d: Floats
    in_25h: Floats
    in_season: Floats
    averaged_30d: Floats
    """over what an engine's past leaves open of its own factor"""
    hours_30d: Floats
    """mean engine hours of the next 30 days"""


def true_chances(
    world: World, state: State, day: int, seed: int, copies: int | None = None
) -> TrueChances:
    """The chances of a single fleet at the morning of a day of the season.

    Args:
        world: what is true.
        state: the fleet; it is left as it is.
        day: days since the epoch.
        seed: of the futures.
        copies: futures played; None: so many that a big fleet takes no longer than a small one.
    """
    n = state.places
    times = copies or max(16, min(64, 1500 // n))
    ahead = state.tiled(times)
    ahead.off_until[:] = np.minimum(ahead.off_until, day)
    ahead.look_left[:] = 0.0
    total, ran = np.zeros(n * times), np.zeros(n * times)
    at_25h = np.full(n * times, np.nan)

    def count(at: Whole, growth: Floats, hours: Floats, _bought: Floats) -> None:
        before, after = ran[at], ran[at] + hours
        crosses = (before < AHEAD_H) & (after >= AHEAD_H)
        part = (AHEAD_H - before[crosses]) / hours[crosses]
        at_25h[at[crosses]] = total[at[crosses]] + part * growth[crosses]
        total[at] += growth
        ran[at] = after

    def chance(hazard: Floats) -> Floats:
        return np.asarray(-np.expm1(-hazard.reshape(times, n)).mean(axis=0))

    opened = next(o for o in map(world.opening, reversed(world.years)) if o <= day)
    found: dict[str, Floats] = {}
    for gone in range(max(30, opened + SEASON_D - day)):
        luck = np.random.default_rng([seed, 2, day + gone])
        ride_one_day(world, ahead, day + gone, luck, can_fail=False, damage=count)
        if gone + 1 == 7:
            found["in_7d"] = chance(total)
        if gone + 1 == 30:
            found["in_30d"] = chance(total)
            found["hours_30d"] = ran.reshape(times, n).mean(axis=0)
            scaled = ahead.base_spent - np.tile(state.base_spent, times)
            maybe = own_given_past(world.law, state, times, np.random.default_rng([seed, 1]))
            others = total - scaled * np.exp(ahead.own_log)
            found["averaged_30d"] = chance(others + scaled * np.exp(maybe))
    found["in_season"] = chance(total)
    found["in_25h"] = chance(np.where(np.isnan(at_25h), total, at_25h))
    return TrueChances(**found)


def own_given_past(law: Law, state: State, copies: int, rng: np.random.Generator) -> Floats:
    """Own factors' logs by Bayes: drawn from the law, weighted by each engine's past."""
    n = state.places
    drawn = draw_own(law, rng, (_DRAWN, n))
    score = state.engine_fails * drawn - state.base_spent * np.exp(drawn)
    weight = np.exp(score - score.max(axis=0))
    edges = np.cumsum(weight / weight.sum(axis=0), axis=0)
    picks = (rng.random((copies, 1, n)) > edges[None, :, :]).sum(axis=1)
    return np.take_along_axis(drawn, np.minimum(picks, _DRAWN - 1), axis=0).reshape(copies * n)
