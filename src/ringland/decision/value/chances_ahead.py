"""The chance of each running set to fail over the days ahead, under what may be done about it.

One store for a fleet and a season: what several options ask for is walked once, and as much
as possible in one call of the hazard.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import polars as pl

from ringland.decision.actions.action_catalogue import Action, Effect
from ringland.decision.value.hazard_ahead import (
    CumulativeHazard,
    Floats,
    as_usual,
    changes_of,
    with_effects,
)
from ringland.decision.value.last_readings import LastReadings
from ringland.risk.expected_use import hours_ahead
from ringland.risk.exposure_ahead import Walk, hazards_along, read_ahead
from ringland.risk.fleet_hazard import READS

Ask = tuple[Sequence[Action], float, Action | None]
"""What is done to exposure, over how many days, and the renewal done first, if any."""


_Beyond = tuple[bytes, tuple[Effect, ...]]


@dataclass(frozen=True)
class _Way:
    """What tells one way ahead from another: what is done, and to what set."""

    state: tuple[tuple[tuple[Effect, ...], float | None], ...]
    is_new: bool
    with_new: tuple[Effect, ...]

    @classmethod
    def of(cls, state: Sequence[Action], new: Action | None) -> _Way:
        held = tuple((action.effects, action.lasts_h) for action in state)
        return cls(held, new is not None, () if new is None else new.effects)


@dataclass
class ChancesAhead:
    """Chances by draw, shape (draws, sets), of the sets as they are or of new ones."""

    sets: pl.DataFrame
    hazard: CumulativeHazard
    window_h: float
    longest_d: float = np.inf
    """days looked ahead at most"""
    readings: LastReadings | None = None
    """what the last tests of the sets as they are read"""
    _found: dict[tuple[_Way, float], Floats] = field(default_factory=dict, repr=False)
    _read: dict[tuple[_Way, float], Floats] = field(default_factory=dict, repr=False)
    _beyond: dict[_Beyond, Floats] = field(default_factory=dict, repr=False)

    @cached_property
    def _exposed(self) -> pl.DataFrame:
        """What the hazard looks at of the sets."""
        return self.sets.select(read_ahead(self.sets, READS))

    def hours(self, days: float) -> Floats:
        """Engine hours of each set in the days ahead."""
        return hours_ahead(self.sets, days)

    def ages(self) -> Floats:
        """Engine hours since each set was fitted."""
        return self.sets["age_h"].to_numpy().astype(float)

    def chance(self, state: Sequence[Action], days: float, new: Action | None = None) -> Floats:
        """To fail within the days ahead, exposure as `state` makes it.

        Args:
            state: what is done about exposure.
            days: how far ahead.
            new: the renewal done first; None: the set goes on.
        """
        key = _Way.of(state, new), days
        if key not in self._found:
            self.foresee([(state, days, new)])
        if new is not None or self.readings is None or days <= 0:
            return self._found[key]
        near_d = min(self.readings.reach_d, self.longest_d)
        near = key[0], near_d
        if near not in self._found:
            self.foresee([(state, near_d, None)])
        if key not in self._read:
            self._read[key] = self.readings.told(self._found[key], days, self._found[near], near_d)
        return self._read[key]

    def foresee(self, asks: Iterable[Ask]) -> None:
        """Work out many chances in few calls of the hazard."""
        wanted: dict[_Way, tuple[Sequence[Action], Action | None, set[float]]] = {}
        for state, days, new in asks:
            way = _Way.of(state, new)
            if (way, days) not in self._found:
                wanted.setdefault(way, (state, new, set()))[2].add(days)
        walks, keys = [], []
        for way, (state, new, days_asked) in wanted.items():
            changes = changes_of(state if new is None else [*state, new], self.sets)
            age_h = self.ages() if new is None else np.zeros(self.sets.height)
            stops = sorted(days_asked)
            walks.append(Walk(age_h, [self.hours(days) for days in stops], changes))
            keys.append([(way, days) for days in stops])
        summed = hazards_along(self.hazard, self._exposed, walks, window_h=self.window_h)
        for of_walk, found in zip(keys, summed, strict=True):
            self._found |= {key: -np.expm1(-each) for key, each in zip(of_walk, found, strict=True)}

    def more_than_new(self, age_h: Floats, hours: float, lasting: Sequence[Action] = ()) -> Floats:
        """Failures that sets of an age have in the next hours beyond new ones left as they are.

        Args:
            age_h: hours since fitting, of each set.
            hours: how far ahead.
            lasting: what was done to them that needs no keeping up.
        """
        effects = tuple(effect for action in lasting for effect in action.effects)
        key = age_h.tobytes(), effects
        if key not in self._beyond:
            settled = as_usual(self._exposed)
            there = with_effects(settled, effects)
            ages = np.concatenate([age_h, np.zeros_like(age_h)])
            rows = pl.concat([there, settled], how="vertical_relaxed")
            both = self.hazard(ages, ages + hours, rows)
            self._beyond[key] = both[:, : len(age_h)] - both[:, len(age_h) :]
        return self._beyond[key]
