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

from ringland.decision.action_catalogue import Action, Effect
from ringland.risk.exposure_ahead import Change, CumulativeHazard, Floats, hazard_along
from ringland.risk.fleet_hazard import FleetFits
from ringland.settings.assumptions import Assumptions

__all__ = [
    "CumulativeHazard",
    "Floats",
    "after_actions",
    "changed",
    "hazard_ahead",
    "planning_hazard",
]


def planning_hazard(fits: FleetFits, assumptions: Assumptions) -> CumulativeHazard:
    """The fleet's hazard over the modes at stake together, on `planning.draws` of its draws.

    Raises:
        ValueError: no mode has a fit.
    """
    if not fits.at_stake:
        raise ValueError(f"no hazard to plan on: {fits.cannot_tell}")
    wanted = int(assumptions.number("planning.draws"))
    modes = [mode.thinned(wanted) for mode in fits.at_stake]

    def hazard(start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        by_mode = [mode.cumulative_hazard(start_h, stop_h, exposure) for mode in modes]
        return np.asarray(np.sum(by_mode, axis=0))

    return hazard


def hazard_ahead(
    hazard: CumulativeHazard,
    sets: pl.DataFrame,
    age_h: Floats,
    hours: Floats,
    *,
    actions: Sequence[Action],
    window_h: float,
) -> Floats:
    """Cumulative hazard over the next `hours` of running, the actions done today.

    Args:
        hazard: the fleet's hazard.
        sets: covariates of the running sets as of today, with their `usual_` columns.
        age_h: age of each set at the start, h.
        hours: running ahead of each, h.
        actions: what is done, in order; those after the first see what it leaves.
        window_h: how far back the "25h" covariates look.

    Returns:
        Shape (draws, rows of `sets`).
    """
    changes = [
        Change(effect.covariate, partial(changed, effect), action.lasts_h)
        for action in actions
        for effect in action.effects
    ]
    return hazard_along(hazard, sets, age_h, hours, window_h=window_h, changes=changes)


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
