"""What the ledger's octane may be wrong by, in two kinds that a fit must treat apart.

*What is possible.*  Where the ledger gives a mean over what the tank may have held, or a
grade's own number for fuel that scatters about it, the truth lies about the written value
(Berkson).  It hardly attenuates an effect; it widens what each set may have been through.
Its standard deviation goes into the fit beside the value and is summed out there.

*What was written.*  A grade misread or noted wrongly scatters the written value about the truth
(classical), and an effect estimated on it is drawn towards none.  With a stated error of a
whole set's mean, how the true means of sets lie at a dock is estimated from the written ones
without a form of its own (maximum likelihood on a grid, stopped early; Laird 1978), and each set
is believed to be at the mean of what it may then have been (regression calibration: Carroll,
Ruppert, Stefanski & Crainiceanu 2006, chapter 4; Prentice 1982 for hazards).  What stays open
after that is of the first kind.
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


STEPS_A_SD, ROUNDS = 4, 40
"""Grid of true means in parts of the error; rounds of the estimate, few enough to be smooth."""

POOLED_SETS = 10.0
"""Sets of the whole fleet that weigh as much as a dock's own in how its true means lie."""


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
            left = (
                frame["piston_set_id"]
                .replace_strict(self.left_on, default=self.written_on, return_dtype=pl.Float64)
                .fill_null(self.written_on)
                .to_numpy()
            )
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
            dock_id=pl.col("dock_id").sort_by("start_h").last(),
        )
        .sort("piston_set_id")
    )
    mean, spread = _true_means(
        sets["mean"].to_numpy(),
        np.unique(sets["dock_id"].to_numpy(), return_inverse=True)[1],
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
    grid = np.arange(0.0, top + error, error / STEPS_A_SD)
    away = (written_mean[:, None] - grid) / error
    chance = np.where(
        written_mean[:, None] > 0, np.exp(-0.5 * away**2), special.ndtr(-grid / error)
    )
    in_dock = (dock[:, None] == np.arange(dock.max() + 1)).astype(float)
    weight = np.full((in_dock.shape[1], len(grid)), 1.0 / len(grid))
    for _ in range(ROUNDS):
        given = chance * weight[dock]
        given /= given.sum(axis=1, keepdims=True)
        own = in_dock.T @ given
        pooled = POOLED_SETS * given.mean(axis=0)
        weight = (own + pooled) / (own + pooled).sum(axis=1, keepdims=True)
    mean = given @ grid
    return mean, np.sqrt(np.maximum(given @ grid**2 - mean**2, 0.0))
