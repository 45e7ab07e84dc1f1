"""When a piston set fails and of what: hazards run forward from the fuel it burned.

Each mode has an exponential threshold drawn when the set comes under observation; the
mode strikes when its cumulative hazard crosses it.  Cumulative hazards start at zero at
entry, which is the same as conditioning on having lived until then (delayed entry).
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass, field
from math import exp

import numpy as np

from synthetic_data.scenario import RingLandTruth, Scenario


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a set looks back on before a session, over its trailing engine hours."""

    shortfall_on: float
    """mean over full-throttle hours of max(0, need - supplied)"""
    fuel_age_d: float
    """litres-weighted mean age"""
    full_throttle: float
    """share of running hours"""


class TrailingWindow:
    """Running sums over the last engine hours of a set; the oldest session counts in part."""

    __slots__ = ("_age", "_hard", "_hours", "_length_h", "_litres", "_sessions", "_short")

    def __init__(self, length_h: float) -> None:
        self._length_h = length_h
        self._sessions: deque[tuple[float, float, float, float, float]] = deque()
        self._hours = self._hard = self._short = self._litres = self._age = 0.0

    def add(
        self, hours: float, throttle: float, shortfall_on: float, litres: float, age_d: float
    ) -> None:
        """Take in one session."""
        hard = hours * throttle
        row = (hours, hard, hard * shortfall_on, litres, litres * age_d)
        self._sessions.append(row)
        self._shift(row, 1.0)
        while self._hours - self._sessions[0][0] >= self._length_h:
            self._shift(self._sessions.popleft(), -1.0)

    def look_back(self) -> Exposure | None:
        """The exposure so far; None before the set's first session."""
        if not self._sessions:
            return None
        oldest = self._sessions[0]
        beyond = max(0.0, self._hours - self._length_h) / oldest[0]
        hours, hard, short, litres, age = (
            total - beyond * part
            for total, part in zip(
                (self._hours, self._hard, self._short, self._litres, self._age),
                oldest,
                strict=True,
            )
        )
        # Sums taken from as well as added to may end a rounding below zero.
        return Exposure(max(0.0, short) / hard if hard > 0 else 0.0, age / litres, hard / hours)

    def _shift(self, row: tuple[float, float, float, float, float], sign: float) -> None:
        self._hours += sign * row[0]
        self._hard += sign * row[1]
        self._short += sign * row[2]
        self._litres += sign * row[3]
        self._age += sign * row[4]


def ring_land_log_hazard_ratio(
    truth: RingLandTruth, seen: Exposure, is_raised: bool, is_forged: bool, engine_effect: float
) -> float:
    """Log of the hazard against a stock, cast set on fresh fuel of enough octane."""
    return (
        truth.beta_shortfall * seen.shortfall_on
        + truth.beta_age * seen.fuel_age_d
        + truth.beta_wot * seen.full_throttle
        + truth.beta_raised * is_raised
        + truth.beta_forged * is_forged
        + engine_effect
    )


@dataclass(slots=True)
class PistonSet:
    """A piston set under observation."""

    set_id: str
    is_forged: bool
    age_h: float
    thresholds: tuple[float, ...]
    """one per mode: ring-land fracture first, then the scenario's other modes"""
    window: TrailingWindow
    spent: list[float] = field(default_factory=list)
    """cumulative hazard since entry, per mode"""


def new_piston_set(
    scenario: Scenario, set_id: str, age_h: float, rng: np.random.Generator
) -> PistonSet:
    """A set that comes under observation at some age, with its fate drawn."""
    modes = 1 + len(scenario.other_modes)
    return PistonSet(
        set_id=set_id,
        is_forged=bool(rng.random() < scenario.forged_share),
        age_h=age_h,
        thresholds=tuple(float(x) for x in rng.exponential(1.0, modes)),
        window=TrailingWindow(scenario.ring_land.trailing_h),
        spent=[0.0] * modes,
    )


@dataclass(frozen=True, slots=True)
class Strike:
    """A failure: how far into the session, and its mode."""

    after_h: float
    mode: str


def run_set(
    scenario: Scenario,
    pistons: PistonSet,
    hours: float,
    seen: Exposure,
    *,
    is_raised: bool,
    engine_effect: float,
) -> Strike | None:
    """Age the set by some hours; the first mode to strike within them, or None."""
    truth = scenario.ring_land
    log_ratio = ring_land_log_hazard_ratio(truth, seen, is_raised, pistons.is_forged, engine_effect)
    first = _cross(pistons, 0, (truth.shape, truth.scale_h), log_ratio, hours)
    strike = None if first is None else Strike(first, "ring_land_fracture")
    for at, mode in enumerate(scenario.other_modes, start=1):
        log_ratio = mode.beta_age * seen.fuel_age_d
        after_h = _cross(pistons, at, (mode.shape, mode.scale_h), log_ratio, hours)
        if after_h is not None and (strike is None or after_h < strike.after_h):
            strike = Strike(after_h, mode.mode)
    pistons.age_h += hours if strike is None else strike.after_h
    return strike


def _cross(
    pistons: PistonSet, mode: int, weibull: tuple[float, float], log_ratio: float, hours: float
) -> float | None:
    shape, scale_h = weibull
    ratio = exp(log_ratio)
    before = (pistons.age_h / scale_h) ** shape
    rise = ratio * (((pistons.age_h + hours) / scale_h) ** shape - before)
    spent = pistons.spent[mode]
    left = pistons.thresholds[mode] - spent
    pistons.spent[mode] = spent + rise
    if rise < left:
        return None
    age_h: float = scale_h * (before + left / ratio) ** (1.0 / shape)
    return age_h - pistons.age_h
