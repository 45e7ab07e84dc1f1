"""What the ledger's octane may be wrong by, in two kinds that a fit must treat apart.

*What is possible.*  Where the ledger gives a mean over what the tank may have held, or a
grade's own number for fuel that scatters about it, the truth lies about the written value
(Berkson).  It hardly attenuates an effect; it widens what each set may have been through.
Its standard deviation goes into the fit beside the value and is summed out there.

*What was written.*  A grade misread or noted wrongly scatters the written value about the truth
(classical), and an effect estimated on it is drawn towards none.  With a stated error of a
whole set's mean, the true means of like sets (of one dock and calibration, which the fit takes in
beside it) are taken as normal about their own middle, cut off at zero, with one spread for all.
Both are weighed by what the written ones say of them, and each set is believed to be at the mean
of what it may then have been (regression calibration: Carroll, Ruppert, Stefanski & Crainiceanu
2006, chapter 4; Prentice 1982 for hazards).  A form of their own (maximum likelihood on a grid;
Laird 1978) was tried and left: it takes part of the error for truth.  What stays open after that
is of the first kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import special

from ringland.exposure.factor_registry import FACTORS
from ringland.risk.exposure_ahead import USUAL
from ringland.settings.assumptions import Assumptions

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


STEPS_A_SD, SPREADS = 4, 10
"""Grid of true means in parts of the error; how many spreads of them are weighed."""

LEAST_SPREAD, MOST_SPREAD = 0.15, 1.5
"""Spreads weighed: from this share of the error to this of the written means' spread."""

TINY = 1e-300


@dataclass(frozen=True)
class ExposureError:
    """How each set's shortfall is believed, and how open it stays.

    `shift_on` is what is added to a set's written shortfall, `left_on` the standard deviation
    of what is open after that; a set not on record is believed as written, give or take
    `written_on`.  `possible_on` is the standard deviation of the truth about what is written.
    """

    shift_on: dict[str, float]
    left_on: dict[str, float]
    written_on: float
    possible_on: float

    def believed(self, frame: pl.DataFrame) -> pl.DataFrame:
        """The frame with its shortfall, bounds and usual values as believed, not below zero."""
        if not self.shift_on:
            return frame
        entry = FACTORS["shortfall_25h_on"]
        names = [entry.name, *(entry.bounds or ())]
        columns = [name for one in names for name in (one, USUAL + one) if name in frame.columns]
        shift = (
            pl.col("piston_set_id")
            .replace_strict(self.shift_on, default=0.0, return_dtype=pl.Float64)
            .fill_null(0.0)
        )
        return frame.with_columns(
            (pl.col(name).cast(pl.Float64) + shift).clip(lower_bound=0.0) for name in columns
        )

    def blur(self, frame: pl.DataFrame, names: tuple[str, ...]) -> Floats | None:
        """Standard deviation of what is open about each factor, shape (rows, factors).

        None where the frame does not hold the bounds.  Between its bounds a value is taken as
        anywhere alike; fuel that is above need whatever it was is not open at all.
        """
        entry = FACTORS["shortfall_25h_on"]
        if entry.bounds is None or entry.name not in names:
            return None
        if not set(entry.bounds) <= set(frame.columns):
            return None
        low, high = (frame[name].cast(pl.Float64).to_numpy() for name in entry.bounds)
        value = frame[entry.name].cast(pl.Float64).to_numpy()
        found = np.zeros((frame.height, len(names)))
        is_open = np.maximum(high, value) > 0
        left = np.full(frame.height, self.written_on)
        if self.left_on and "piston_set_id" in frame.columns:
            whose = frame["piston_set_id"].to_list()
            left = np.array([self.left_on.get(one, self.written_on) for one in whose])
        spread = np.sqrt((high - low) ** 2 / 12.0 + self.possible_on**2 + left**2)
        found[:, names.index(entry.name)] = np.where(is_open, spread, 0.0)
        return found


def exposure_error(spells: pl.DataFrame, assumptions: Assumptions) -> ExposureError:
    """How far this record's shortfall is to be believed, set by set.

    Args:
        spells: `Spells` as written.
        assumptions: exposure_error.written_on and exposure_error.possible_on.
    """
    written = assumptions.number("exposure_error.written_on")
    possible = assumptions.number("exposure_error.possible_on")
    if written <= 0 or spells.is_empty():
        return ExposureError({}, {}, written, possible)
    hours = pl.col("stop_h") - pl.col("start_h")
    sets = (
        spells.group_by("piston_set_id", maintain_order=True)
        .agg(
            mean=(pl.col("shortfall_25h_on") * hours).sum() / hours.sum(),
            alike=pl.struct("dock_id", "is_raised_calibration").sort_by("start_h").last(),
        )
        .sort("piston_set_id")
    )
    mean, spread = _true_means(
        sets["mean"].to_numpy(),
        sets["alike"].rank("dense").to_numpy().astype(np.int64) - 1,
        written,
    )
    names = sets["piston_set_id"].to_list()
    shift = mean - sets["mean"].to_numpy()
    return ExposureError(
        dict(zip(names, shift.tolist(), strict=True)),
        dict(zip(names, spread.tolist(), strict=True)),
        written,
        possible,
    )


def _true_means(written_mean: Floats, dock: Ints, error: float) -> tuple[Floats, Floats]:
    """Mean and standard deviation of what each set's true mean may be, given its written one.

    The truth is not below zero, and a written zero stands for anything at or below it.
    """
    top = float(written_mean.max()) + 2 * error
    grid = np.arange(-top, top + error, error / STEPS_A_SD)
    away = (written_mean[:, None] - grid) / error
    chance = np.where(
        written_mean[:, None] > 0, np.exp(-0.5 * away**2), special.ndtr(-grid / error)
    )
    most = max(2 * error, MOST_SPREAD * float(written_mean.std()))
    spreads = np.geomspace(LEAST_SPREAD * error, most, SPREADS)
    middles = grid[:: STEPS_A_SD // 2]
    # shape (grid, middles of a dock, spreads)
    lies = special.softmax(-0.5 * ((grid[:, None, None] - middles[:, None]) / spreads) ** 2, axis=0)
    says = np.log(chance @ lies.reshape(len(grid), -1) + TINY).reshape(-1, *lies.shape[1:])
    by_dock = np.zeros((dock.max() + 1, *lies.shape[1:]))
    np.add.at(by_dock, dock, says)
    likely = special.softmax(special.logsumexp(by_dock, axis=1).sum(axis=0))
    weight = np.einsum("dms,gms->dg", special.softmax(by_dock, axis=1) * likely, lies)
    given = chance * weight[dock]
    given /= given.sum(axis=1, keepdims=True)
    truth = np.maximum(grid, 0.0)
    mean = given @ truth
    return mean, np.sqrt(np.maximum(given @ truth**2 - mean**2, 0.0))
