"""The hazard of a piston set over the hours ahead when something is changed today.

Covariates named "25h" look back over a window of running, so a change made today enters
them hour by hour as the window fills, and leaves the same way when it ends.  The hours
ahead are cut into pieces over which the share of changed running is held at its middle.

Running ahead is taken to go on as of late, unless a column `usual_<covariate>` says what it
would be if nothing were done: a hull kept on good fuel by a rule shows no shortfall, and
would show one again without the rule.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.assumptions import Assumptions
from ringland.fleet_risk.fleet_hazard import FleetFits, ModeFit
from ringland.service_week.action_catalogue import Action, Effect

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

USUAL = "usual_"
"""Prefix of the columns that say what running ahead is like if nothing is done."""

PIECES = 8
"""Pieces a window is cut into: cumulative hazards are then within 1 % of those at 64, which
`test_cutting_the_window_finer_moves_no_hazard_by_one_percent` holds them to."""


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
        sets: covariates of the running sets as of today.
        age_h: age of each set at the start, h.
        hours: running ahead of each, h.
        actions: what is done, in order; those after the first see what it leaves.
        window_h: how far back the "25h" covariates look.

    Returns:
        Shape (draws, rows of `sets`).
    """
    held: dict[str, list[Held]] = {
        name.removeprefix(USUAL): [] for name in sets.columns if name.startswith(USUAL)
    }
    for action in actions:
        for effect in action.effects:
            held.setdefault(effect.covariate, []).append((effect, action.lasts_h))
    longest = float(hours.max(initial=0.0))
    corners = {lasts_h for found in held.values() for _, lasts_h in found if lasts_h is not None}
    total: Floats | float = 0.0
    start = 0.0
    for end in _piece_ends({0.0, *corners} if held else set(), window_h, longest):
        middle = (start + end) / 2
        exposure = sets.with_columns(
            _covariate_at(middle, name, found, USUAL + name in sets.columns, window_h)
            for name, found in held.items()
        )
        total = total + hazard(
            age_h + np.minimum(start, hours), age_h + np.minimum(end, hours), exposure
        )
        start = end
    return np.asarray(total)


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


Held = tuple[Effect, float | None]
"""An effect and the hours it lasts; None: to the end."""


def _covariate_at(
    run_h: float, name: str, held: Sequence[Held], has_usual: bool, window_h: float
) -> pl.Expr:
    """The covariate after `run_h` hours of running from today.

    One that looks back is a mean over the window: what was run before today as it is now,
    the rest as usual, changed by what was in force.
    """
    now = pl.col(name).cast(pl.Float64)
    usual = pl.col(USUAL + name).cast(pl.Float64) if has_usual else now

    def running_at(hour: float) -> pl.Expr:
        value = usual
        for effect, lasts_h in held:
            if lasts_h is None or hour <= lasts_h:
                value = changed(effect, value)
        return value

    if name not in LOOKING_BACK:
        return running_at(run_h).alias(name)
    edges = sorted({0.0, run_h, *(at for _, at in held if at is not None and at < run_h)})
    mean = now * max(0.0, 1.0 - run_h / window_h)
    for begin, end in pairwise(edges):
        inside = max(0.0, end - max(begin, run_h - window_h))
        if inside > 0:
            mean = mean + running_at(end) * (inside / window_h)
    return mean.alias(name)


def _piece_ends(corners: set[float], window_h: float, hours: float) -> list[float]:
    """Ends of the pieces, the last at `hours`; one piece where nothing changes."""
    steps = [window_h * step / PIECES for step in range(PIECES + 1)]
    ends = sorted({corner + step for corner in corners for step in steps} - {0.0})
    return [*[end for end in ends if end < hours], hours]
