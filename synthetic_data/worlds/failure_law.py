"""How a world breaks piston sets: one law with parts that a world's shape turns on or off.

The cumulative hazard of a ring-land fracture over some hours of a set grows by

    scale * wear(t) * exp(effects + own factor + dock) + early(t) + hits,

with wear(t) a Weibull, early(t) = early_part * (1 - exp(-t / early_h)) that no fuel changes,
effects linear or with a jump in the shortfall the set looks back on, and hits the chance,
tank by tank, that fuel too far below need breaks it at once.  Ring wear and the other modes
have Weibulls of their own.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

MODES = ("ring_land_fracture", "ring_wear", "valve_seal", "head_gasket", "bearing", "water")
WORST_AT_D = 60.0
"""Fuel gets no worse after two months: what lay through a winter is as bad as that."""

AT_STAKE = 2
"""The first so many modes are those a chance speaks of."""


@dataclass(frozen=True)
class Law:
    """What is true of failures in one world."""

    scale: float = 1.0
    wear_shape: float = 1.5
    wear_h: float = 1000.0
    early_part: float = 0.0
    early_h: float = 20.0
    per_on: float = 0.0
    """log hazard per octane number of shortfall looked back on"""
    per_fuel_d: float = 0.0
    per_full_throttle: float = 0.0
    raised: float = 0.0
    forged: float = 0.0
    jump: float = 0.0
    """log hazard gained at once where the shortfall looked back on passes `jump_at_on`"""
    jump_at_on: float = 1.5
    hit_hazard: float = 0.0
    """cumulative hazard of one whole tank burned at more than `hit_above_on` below need"""
    hit_above_on: float = 1.5
    own_sd: float = 0.25
    own_df: float = 0.0
    """degrees of freedom of the own factors' logs; 0: normal"""
    heat_on: float = 0.0
    """octane numbers more that every engine needs on the hottest day of the year"""
    need_sd_on: float = 0.0
    """how far an engine's own need lies from what is written down for it"""
    new_family: float = 0.0
    """log hazard of the family that comes with renewed engines"""
    wearing: tuple[float, float] = (2.5, 1500.0)
    """shape and scale of ring wear"""
    others: tuple[tuple[float, float], ...] = (
        (1.6, 3600.0), (1.2, 9000.0), (1.3, 7500.0), (1.0, 9500.0),
    )  # fmt: skip
    """shape and scale of each other mode, in the order of `MODES`"""


@dataclass(frozen=True)
class Ride:
    """What a law sees of some rides; arrays of one entry per ride."""

    age_h: Floats
    hours: Floats
    short_on: Floats
    """shortfall the set looks back on"""
    fuel_d: Floats
    full_throttle: Floats
    tank_short_on: Floats
    """shortfall of the fuel now in the tank"""
    tank_share: Floats
    """litres burned over the tank's capacity"""
    is_raised: Bools
    is_forged: Bools
    is_new_family: Bools
    dock_log: Floats


def draw_own(law: Law, rng: np.random.Generator, size: int | tuple[int, ...]) -> Floats:
    """Logs of engines' own factors."""
    if law.own_df:
        return np.asarray(law.own_sd * rng.standard_t(law.own_df, size))
    return np.asarray(law.own_sd * rng.standard_normal(size))


def hazard_of(law: Law, ride: Ride) -> tuple[Floats, Floats]:
    """Growth of the cumulative hazard by mode, (modes, rides), and the part that own factors scale.

    The second is the growth of ring-land fracture that is to be multiplied by exp(own log) and
    is not yet in the first.
    """
    end_h = ride.age_h + ride.hours
    wear = _rise(law.wear_shape, law.wear_h, ride.age_h, end_h)
    log_ratio = (
        law.per_on * ride.short_on
        + law.per_fuel_d * np.minimum(ride.fuel_d, WORST_AT_D)
        + law.per_full_throttle * (ride.full_throttle - 0.27)
        + law.raised * ride.is_raised
        + law.forged * ride.is_forged
        + law.jump * (ride.short_on > law.jump_at_on)
        + law.new_family * ride.is_new_family
        + ride.dock_log
    )
    hits = law.hit_hazard * ride.tank_share * (ride.tank_short_on > law.hit_above_on)
    scaled = law.scale * (wear * np.exp(log_ratio) + hits)
    early = law.early_part * (np.exp(-ride.age_h / law.early_h) - np.exp(-end_h / law.early_h))
    parts = [early, _rise(*law.wearing, ride.age_h, end_h)]
    parts += [_rise(shape, scale, ride.age_h, end_h) for shape, scale in law.others]
    return np.stack(parts), np.asarray(scaled)


def _rise(shape: float, scale_h: float, start_h: Floats, end_h: Floats) -> Floats:
    return np.asarray((end_h / scale_h) ** shape - (start_h / scale_h) ** shape)
