"""The hazard over the hours ahead, as the exposure of late gives way to the usual.

Covariates named "25h" look back over a window of running.  What was run before today leaves
that window hour by hour; what comes in is what is usual for the hull (columns
`usual_<covariate>`), changed by what is done about it.  The hours ahead are cut into pieces
over which the share of the old running is held at its middle.  Without a `usual_` column
and without a change, running ahead is as of late.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import LOOKING_BACK

Floats = NDArray[np.float64]

USUAL = "usual_"
"""Prefix of the columns that say what running ahead is like if nothing is done."""

PIECES = 8
"""Pieces a window is cut into: cumulative hazards are then within 1 % of those at 64, which
`test_cutting_the_window_finer_moves_no_hazard_by_one_percent` holds them to."""


class CumulativeHazard(Protocol):
    """Hazard summed over (start_h, stop_h] of set age with exposure held, by parameter draw."""

    def __call__(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        """Shape (draws, rows); a stretch of no length has none."""


@dataclass(frozen=True)
class Change:
    """What is done to one covariate from today on, for `lasts_h` hours; None: to the end."""

    covariate: str
    after: Callable[[pl.Expr], pl.Expr]
    lasts_h: float | None = None


def hazard_along(
    hazard: CumulativeHazard,
    sets: pl.DataFrame,
    age_h: Floats,
    hours: Floats,
    *,
    window_h: float,
    changes: Sequence[Change] = (),
) -> Floats:
    """Cumulative hazard over the next `hours` of running.

    Args:
        hazard: the fleet's hazard.
        sets: covariates of the running sets as of today, with their `usual_` columns.
        age_h: age of each set at the start, h.
        hours: running ahead of each, h.
        window_h: how far back the "25h" covariates look.
        changes: what is done, in order; those after the first see what it leaves.

    Returns:
        Shape (draws, rows of `sets`).
    """
    held: dict[str, list[Change]] = {name: [] for name in usual_covariates(sets)}
    for change in changes:
        held.setdefault(change.covariate, []).append(change)
    longest = float(hours.max(initial=0.0))
    corners = {change.lasts_h for change in changes if change.lasts_h is not None}
    total: Floats | float = 0.0
    start = 0.0
    for end in _piece_ends({0.0, *corners} if held else set(), window_h, longest):
        # Each set's own middle: its hours may end within the piece.
        middle = pl.lit(pl.Series((start + np.clip(hours, start, end)) / 2, dtype=pl.Float64))
        exposure = sets.with_columns(
            _covariate_at(
                middle,
                (start, end),
                name,
                found,
                has_usual=USUAL + name in sets.columns,
                window_h=window_h,
            )
            for name, found in held.items()
        )
        total = total + hazard(
            age_h + np.minimum(start, hours), age_h + np.minimum(end, hours), exposure
        )
        start = end
    return np.asarray(total)


def usual_covariates(sets: pl.DataFrame) -> list[str]:
    """The covariates that `sets` has both as of late and as usual."""
    return [name for name in sets.columns if USUAL + name in sets.columns]


def standing_in(columns: Mapping[str, str], sets: pl.DataFrame) -> list[pl.Expr]:
    """Each covariate as another column has it, and the usual of it as that column's usual."""
    usual = {USUAL + name: USUAL + column for name, column in columns.items()}
    return [
        pl.col(column).alias(name)
        for name, column in (dict(columns) | usual).items()
        if not name.startswith(USUAL) or column in sets.columns
    ]


def _covariate_at(
    run_h: pl.Expr,
    piece: tuple[float, float],
    name: str,
    held: Sequence[Change],
    *,
    has_usual: bool,
    window_h: float,
) -> pl.Expr:
    """The covariate after `run_h` hours of running from today, within a piece of them.

    No change ends inside a piece.  A covariate that looks back is a mean over the window:
    what was run before today as it is now, the rest as usual, changed by what was in force.
    """
    now = pl.col(name).cast(pl.Float64)
    usual = pl.coalesce(pl.col(USUAL + name).cast(pl.Float64), now) if has_usual else now

    def running_at(hour: float) -> pl.Expr:
        value = usual
        for change in held:
            if change.lasts_h is None or hour <= change.lasts_h:
                value = change.after(value)
        return value

    if name not in LOOKING_BACK:
        return running_at(piece[1]).alias(name)
    ends = [change.lasts_h for change in held if change.lasts_h is not None]
    edges = sorted({0.0, *(at for at in ends if at <= piece[0])})
    out_of_sight = run_h - window_h
    mean = now * (-out_of_sight / window_h).clip(lower_bound=0.0)
    for begin, end in pairwise(edges):
        inside = (end - pl.max_horizontal(pl.lit(begin), out_of_sight)).clip(lower_bound=0.0)
        mean = mean + running_at(end) * inside / window_h
    inside = run_h - pl.max_horizontal(pl.lit(edges[-1]), out_of_sight)
    return (mean + running_at(piece[1]) * inside / window_h).alias(name)


def _piece_ends(corners: set[float], window_h: float, hours: float) -> list[float]:
    """Ends of the pieces, the last at `hours`; one piece where nothing changes."""
    steps = [window_h * step / PIECES for step in range(PIECES + 1)]
    ends = sorted({corner + step for corner in corners for step in steps} - {0.0})
    return [*[end for end in ends if end < hours], hours]
