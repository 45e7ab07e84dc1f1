"""The hazard of a piston set over the hours ahead when something is changed today.

Covariates named "25h" look back over a window of running, so a change made today enters
them hour by hour as the window fills, and leaves the same way when it ends.  The hours
ahead are cut into pieces over which the share of changed running is held at its middle.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.assumptions import Assumptions
from ringland.service_week.action_catalogue import Action, Effect
from ringland.service_week.fleet_hazard import FleetFits, ModeFit

Floats = NDArray[np.float64]

LOOKING_BACK = frozenset(
    {
        "shortfall_25h_on",
        "shortfall_25h_low_on",
        "shortfall_25h_high_on",
        "fuel_age_25h_d",
        "share_over_28d_25h",
        "full_throttle_25h",
    }
)
"""Covariates that are means over the window; the others change at once."""

PIECES = 4
"""Pieces a window is cut into; from 4 to 32 a cumulative hazard moves by under 1 %."""


class CumulativeHazard(Protocol):
    """Hazard summed over (start_h, stop_h] of set age with exposure held, by parameter draw."""

    def __call__(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        """Shape (draws, rows); a stretch of no length has none."""


def planning_hazard(fits: FleetFits, assumptions: Assumptions) -> CumulativeHazard:
    """The fleet's hazard over the modes at stake together, on `planning.draws` of its draws.

    Raises:
        ValueError: no mode has a fit.
    """
    if not fits.at_stake:
        raise ValueError(f"no hazard to plan on: {fits.cannot_tell}")
    wanted = int(assumptions.number("planning.draws"))

    def thinned(mode: ModeFit) -> ModeFit:
        fit = mode.hazard
        if fit is None:
            return mode
        every = max(1, len(fit.draws) // wanted)
        return replace(mode, hazard=replace(fit, draws=fit.draws[::every][:wanted]))

    modes = [thinned(mode) for mode in fits.at_stake]

    def hazard(start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        return np.sum([m.cumulative_hazard(start_h, stop_h, exposure) for m in modes], axis=0)

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
        sets: covariates of the running sets as of today.
        age_h: age of each set at the start, h.
        hours: running ahead of each, h.
        actions: what is done, in order; those after the first see what it leaves.
        window_h: how far back the "25h" covariates look.

    Returns:
        Shape (draws, rows of `sets`).
    """
    effects = [(effect, action.lasts_h) for action in actions for effect in action.effects]
    ends = _piece_ends([lasts for _, lasts in effects], window_h, float(hours.max(initial=0.0)))
    total: Floats | float = 0.0
    start = 0.0
    for end in ends:
        middle = (start + min(end, float(hours.max(initial=0.0)))) / 2
        exposure = sets
        for effect, lasts_h in effects:
            share = _changed_share(middle, lasts_h, window_h)
            exposure = exposure.with_columns(_mixed(effect, share))
        total = total + hazard(
            age_h + np.minimum(start, hours), age_h + np.minimum(end, hours), exposure
        )
        start = end
    return np.asarray(total)


def changed(effect: Effect) -> pl.Expr:
    """The covariate as the effect leaves it, as a number not below zero.

    Null stays null but under `set`, which makes it known.
    """
    now = pl.col(effect.covariate).cast(pl.Float64)
    by = effect.by.value
    after = {
        "set": pl.lit(by, dtype=pl.Float64),
        "cap": now.clip(upper_bound=by),
        "scale": now * by,
        "add": now + by,
    }[effect.how]
    return after.clip(lower_bound=0.0).alias(effect.covariate)


def _mixed(effect: Effect, share: float) -> pl.Expr:
    """The covariate when `share` of its window was run with the change."""
    if effect.covariate not in LOOKING_BACK:
        share = float(share > 0)
    now = pl.col(effect.covariate).cast(pl.Float64)
    return (now + share * (changed(effect) - now)).alias(effect.covariate)


def _changed_share(run_h: float, lasts_h: float | None, window_h: float) -> float:
    """Share of the window behind `run_h` that was run while the change held."""
    held_to = run_h if lasts_h is None else min(run_h, lasts_h)
    return max(0.0, held_to - max(0.0, run_h - window_h)) / window_h


def _piece_ends(lasts: Sequence[float | None], window_h: float, hours: float) -> list[float]:
    """Ends of the pieces, the last at or beyond `hours`; one piece where nothing changes."""
    if not lasts:
        return [hours]
    corners = {0.0, *(end for end in lasts if end is not None)}
    steps = [window_h * step / PIECES for step in range(PIECES + 1)]
    ends = sorted({corner + step for corner in corners for step in steps} - {0.0})
    return [*[end for end in ends if end < hours], hours]
