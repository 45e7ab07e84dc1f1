"""The hazard of a piston set over the hours ahead when something is done today.

How exposure of late gives way to the usual, and how a change enters it, is
`exposure_ahead`'s; here actions of the catalogue become changes, and the fleet's fits the
hazard that planning uses.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.decision.actions.action_catalogue import Action, Effect
from ringland.decision.value.harm_course import HarmCourse
from ringland.exposure.factor_registry import BOUNDS
from ringland.risk.exposure_ahead import (
    USUAL,
    Change,
    CumulativeHazard,
    Floats,
    usual_covariates,
)
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions

__all__ = [
    "CumulativeHazard",
    "Floats",
    "after_actions",
    "as_usual",
    "changed",
    "changes_of",
    "planning_hazard",
    "with_effects",
]


def planning_hazard(
    fits: FleetFits,
    assumptions: Assumptions,
    n_draws: int | None = None,
    *,
    harming: Sequence[str] = (),
    on: pl.DataFrame | None = None,
) -> CumulativeHazard:
    """The fleet's hazard over the modes at stake together, on `planning.draws` of its draws.

    With `n_draws`, on that many of those.  Covariates named in `harming` are held to harm
    (`harm_course`) about what is usual among the sets `on`.

    Raises:
        ValueError: no mode has a fit.
    """
    if not fits.at_stake:
        raise ValueError(f"no hazard to plan on: {fits.cannot_tell}")
    wanted = int(assumptions.number("planning.draws"))
    modes = [mode.thinned(wanted) for mode in fits.at_stake]
    if n_draws is not None:
        modes = [mode.thinned(n_draws) for mode in modes]
    found = [
        [HarmCourse.of(mode, on, name) for name in harming if on is not None] for mode in modes
    ]
    courses = [[course for course in some if course is not None] for some in found]

    def hazard(start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        total = np.zeros((1, 1))
        for mode, held in zip(modes, courses, strict=True):
            summed = mode.cumulative_hazard(start_h, stop_h, exposure)
            for course in held:
                summed = course.held_to_harm(summed, exposure)
            total = np.add(total, summed, out=summed)
        return total

    return hazard


def changes_of(actions: Sequence[Action], sets: pl.DataFrame) -> list[Change]:
    """What the actions change ahead, in order, on the bounds of a covariate as on itself."""
    return [
        Change(name, partial(changed, effect), action.lasts_h)
        for action in actions
        for effect in action.effects
        for name in _with_bounds(effect.covariate, sets)
    ]


def _with_bounds(covariate: str, sets: pl.DataFrame) -> list[str]:
    bounds = [columns[covariate] for columns in BOUNDS.values() if covariate in columns]
    return [covariate, *(name for name in bounds if name in sets.columns)]


def after_actions(
    sets: pl.DataFrame, actions: Sequence[Action], *, where: NDArray[np.bool_]
) -> pl.DataFrame:
    """The covariates of the sets as lasting effects leave them, on the rows marked `where`."""
    done = pl.lit(pl.Series(where, dtype=pl.Boolean))
    for action in actions:
        for effect in action.effects if action.lasts_h is None else ():
            now = pl.col(effect.covariate)
            sets = sets.with_columns(
                pl.when(done).then(changed(effect, now)).otherwise(now.cast(pl.Float64))
                .alias(effect.covariate)
            )  # fmt: skip
    return sets


def changed(effect: Effect, covariate: pl.Expr) -> pl.Expr:
    """The covariate as the effect leaves it, as a number not below zero.

    Null stays null but under `set`, which makes it known.
    """
    now = covariate.cast(pl.Float64)
    by = effect.by.value
    after = {
        "set": pl.lit(by, dtype=pl.Float64),
        "cap": now.clip(upper_bound=by),
        "scale": now * by,
        "add": now + by,
    }[effect.how]
    return after.clip(lower_bound=0.0)


def as_usual(sets: pl.DataFrame) -> pl.DataFrame:
    """The sets with every covariate as it is usual for the hull."""
    usual = {
        name: pl.coalesce(pl.col(USUAL + name), pl.col(name)) for name in usual_covariates(sets)
    }
    return sets.with_columns(**usual)


def with_effects(sets: pl.DataFrame, effects: Sequence[Effect]) -> pl.DataFrame:
    """The sets as they are if the effects held all along, of late and as usual."""
    for effect in effects:
        both = [n for name in _with_bounds(effect.covariate, sets) for n in (name, USUAL + name)]
        names = [name for name in both if name in sets.columns]
        sets = sets.with_columns(changed(effect, pl.col(n)).alias(n) for n in names)
    return sets
