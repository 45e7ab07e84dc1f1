"""A law scaled so that a world breaks about as many ring lands as it was drawn to."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from synthetic_data.worlds.fleet_state import first_state
from synthetic_data.worlds.riding import ride_one_day
from synthetic_data.worlds.world import SEASON_D, World


def scaled_to_rate(world: World) -> World:
    """The world with `law.scale` set by one season in which nothing breaks."""
    start = world.opening(world.years[0])
    state = first_state(world, np.random.default_rng([world.seed, 4]))
    state.from_day[:] = 0
    for day in range(start, start + SEASON_D):
        luck = np.random.default_rng([world.seed, 5, day])
        ride_one_day(world, state, day, luck, can_fail=False)
    per_season = float((state.base_spent * np.exp(state.own_log)).mean())
    scale = world.law.scale * world.fails_per_season / max(per_season, 1e-12)
    return replace(world, law=replace(world.law, scale=scale))
