"""The hazard over the hours ahead, as the exposure of late gives way to the usual.

Covariates named "25h" look back over a window of running.  What was run before today leaves
that window hour by hour; what comes in is what is usual for the hull (columns
`usual_<covariate>`), changed by what is done about it.  The hours ahead are cut into pieces
over which the share of the old running is held at its middle.  Without a `usual_` column
and without a change, running ahead is as of late.  What turns with the season stands above or
below the usual by `turn_<covariate>` for the first `near_h` hours, by `later_turn_<covariate>`
from then on.
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

OPEN = "open_usual_"
"""Prefix of the columns that say how far the usual may lie from what the days ahead bring."""

TURN, LATER_TURN = "turn_", "later_turn_"
"""Prefixes of the columns that say how far the days ahead, and those after them, stand above the
usual; a frame holds both or neither."""

NEAR_H = "near_h"
"""Hours of each set in the days that `TURN` speaks of; what is run beyond is `LATER_TURN`'s."""

PIECES = 8
"""Pieces a window is cut into: cumulative hazards are then within 1 % of those at 64, which
`test_cutting_the_window_finer_moves_no_hazard_by_one_percent` holds them to."""


ROWS_AT_ONCE = 6_000
"""Rows handed to the hazard in one call: few calls, and arrays that fit a laptop's memory."""


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


@dataclass(frozen=True)
class Walk:
    """Running ahead of every set from an age, with what is done, to one or more stops.

    `age_h` and each of `stops_h` (running from today, h) hold one figure per set; changes
    after the first see what it leaves.
    """

    age_h: Floats
    stops_h: Sequence[Floats]
    changes: Sequence[Change] = ()


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
    walk = Walk(age_h, (hours,), changes)
    return hazards_along(hazard, sets, [walk], window_h=window_h)[0][0]


def hazards_along(
    hazard: CumulativeHazard, sets: pl.DataFrame, walks: Sequence[Walk], *, window_h: float
) -> list[list[Floats]]:
    """Cumulative hazard at every stop of every walk, in few calls of the hazard.

    Args:
        hazard: the fleet's hazard.
        sets: covariates of the running sets as of today, with their `usual_` columns.
        walks: which ways ahead.
        window_h: how far back the "25h" covariates look.

    Returns:
        For each walk, for each stop, shape (draws, rows of `sets`).
    """
    laid = [_laid_out(sets, walk, window_h) for walk in walks]
    found: list[list[Floats]] = []
    begin = 0
    while begin < len(laid):
        end, rows = begin, 0
        while end < len(laid) and (end == begin or rows + laid[end].rows.height <= ROWS_AT_ONCE):
            rows += laid[end].rows.height
            end += 1
        together = pl.concat([one.rows for one in laid[begin:end]], how="vertical_relaxed")
        summed = hazard(
            together["_age_from"].to_numpy(),
            together["_age_to"].to_numpy(),
            together.drop("_age_from", "_age_to"),
        )
        at = 0
        for one in laid[begin:end]:
            found.append(one.at_stops(summed[:, at : at + one.rows.height]))
            at += one.rows.height
        begin = end
    return found


def usual_covariates(sets: pl.DataFrame) -> list[str]:
    """The covariates that `sets` has both as of late and as usual."""
    return [name for name in sets.columns if USUAL + name in sets.columns]


def read_ahead(sets: pl.DataFrame, covariates: Sequence[str]) -> list[str]:
    """The columns of `sets` that say what these covariates are, now and ahead."""
    return [
        name
        for name in sets.columns
        if name == NEAR_H
        or any(name.removeprefix(prefix) in covariates for prefix in ("", USUAL, TURN, LATER_TURN))
    ]


def standing_in(columns: Mapping[str, str], sets: pl.DataFrame) -> list[pl.Expr]:
    """Each covariate as another column has it, and the usual of it as that column's usual."""
    usual = {USUAL + name: USUAL + column for name, column in columns.items()}
    return [
        pl.col(column).alias(name)
        for name, column in (dict(columns) | usual).items()
        if not name.startswith(USUAL) or column in sets.columns
    ]


@dataclass(frozen=True)
class _LaidOut:
    """A walk as rows of exposure held over a stretch: its whole pieces, then each stop's rest."""

    rows: pl.DataFrame
    n_sets: int
    n_pieces: int
    piece_of_stop: Sequence[NDArray[np.int64]]
    """How many whole pieces lie before each set's stop."""

    def at_stops(self, summed: Floats) -> list[Floats]:
        """The pieces' hazards added up to each stop."""
        parts = summed.reshape(len(summed), -1, self.n_sets)
        whole = np.zeros((len(summed), self.n_pieces + 1, self.n_sets))
        np.cumsum(parts[:, : self.n_pieces], axis=1, out=whole[:, 1:])
        each = np.arange(self.n_sets)
        return [
            whole[:, before, each] + parts[:, self.n_pieces + at]
            for at, before in enumerate(self.piece_of_stop)
        ]


def _laid_out(sets: pl.DataFrame, walk: Walk, window_h: float) -> _LaidOut:
    held: dict[str, list[Change]] = {name: [] for name in usual_covariates(sets)}
    for change in walk.changes:
        held.setdefault(change.covariate, []).append(change)
    n = sets.height
    longest = max((float(hours.max(initial=0.0)) for hours in walk.stops_h), default=0.0)
    corners = {change.lasts_h for change in walk.changes if change.lasts_h is not None}
    far = [2 * window_h, 4 * window_h, 8 * window_h] if NEAR_H in sets.columns else []
    ends = np.array(_piece_ends({0.0, *corners} if held else set(), window_h, longest, far))
    starts = np.append(0.0, ends[:-1])
    n_pieces = len(ends) - 1
    before = [np.searchsorted(ends[:-1], hours) for hours in walk.stops_h]
    piece_start = np.concatenate(
        [np.repeat(starts[:n_pieces], n), *(starts[piece] for piece in before)]
    )
    piece_end = np.concatenate([np.repeat(ends[:n_pieces], n), *(ends[piece] for piece in before)])
    stop = np.concatenate([np.repeat(ends[:n_pieces], n), *walk.stops_h])
    age_h = np.tile(walk.age_h, n_pieces + len(before))
    rows = pl.concat([sets] * (n_pieces + len(before))).with_columns(
        _run_h=pl.Series((piece_start + stop) / 2, dtype=pl.Float64),
        _piece_end=pl.Series(piece_end, dtype=pl.Float64),
        _age_from=pl.Series(age_h + piece_start, dtype=pl.Float64),
        _age_to=pl.Series(age_h + stop, dtype=pl.Float64),
    )
    covariates = [
        _covariate_at(
            name,
            changes,
            has_usual=USUAL + name in sets.columns,
            turns=TURN + name in sets.columns,
            window_h=window_h,
        )
        for name, changes in held.items()
    ]
    rows = rows.with_columns(covariates).drop("_run_h", "_piece_end")
    return _LaidOut(rows, n, n_pieces, before)


def _covariate_at(
    name: str, held: Sequence[Change], *, has_usual: bool, turns: bool, window_h: float
) -> pl.Expr:
    """The covariate after `_run_h` hours of running, in a piece that ends at `_piece_end`.

    No change ends inside a piece.  A covariate that looks back is a mean over the window:
    what was run before today as it is now, the rest as usual, changed by what was in force.
    """
    now = pl.col(name).cast(pl.Float64)
    usual = pl.coalesce(pl.col(USUAL + name).cast(pl.Float64), now) if has_usual else now

    def running_at(hour: pl.Expr | float, season: pl.Expr | None = None) -> pl.Expr:
        value = usual if season is None else usual * season
        for change in held:
            if change.lasts_h is None:
                value = change.after(value)
            else:
                holds = (
                    pl.lit(hour) <= change.lasts_h
                    if isinstance(hour, float)
                    else (hour <= change.lasts_h)
                )
                value = pl.when(holds).then(change.after(value)).otherwise(value)
        return value

    if name not in LOOKING_BACK:
        return running_at(pl.col("_piece_end")).alias(name)
    run_h = pl.col("_run_h")
    out_of_sight = run_h - window_h
    mean = now * (-out_of_sight / window_h).clip(lower_bound=0.0)
    ends = sorted({change.lasts_h for change in held if change.lasts_h is not None})
    for begin, end in pairwise([0.0, *ends, float("inf")]):
        for since, until, season in _seasons(name, begin, end) if turns else [(begin, end, None)]:
            inside = pl.min_horizontal(_hours(until), run_h) - pl.max_horizontal(
                _hours(since), out_of_sight
            )
            mean = mean + running_at(end, season) * inside.clip(lower_bound=0.0) / window_h
    return mean.alias(name)


def _seasons(
    name: str, begin: float, end: float
) -> list[tuple[pl.Expr | float, pl.Expr | float, pl.Expr]]:
    """A stretch cut into the days ahead and those after: from, to, how they stand to the usual."""
    near_h = pl.col(NEAR_H)
    return [
        (begin, pl.min_horizontal(pl.lit(end), near_h), pl.col(TURN + name)),
        (pl.max_horizontal(pl.lit(begin), near_h), end, pl.col(LATER_TURN + name)),
    ]


def _hours(at: pl.Expr | float) -> pl.Expr:
    return at if isinstance(at, pl.Expr) else pl.lit(at)


def _piece_ends(
    corners: set[float], window_h: float, hours: float, far: Sequence[float] = ()
) -> list[float]:
    """Ends of the pieces, the last at `hours`; one piece where nothing changes, but for `far`."""
    steps = [window_h * step / PIECES for step in range(PIECES + 1)]
    ends = sorted({corner + step for corner in corners for step in steps}.union(far) - {0.0})
    return [*[end for end in ends if end < hours], hours]
