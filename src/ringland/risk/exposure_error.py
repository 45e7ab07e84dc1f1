"""What the ledger's octane may be wrong by, in two kinds that a fit must treat apart.

*What is possible.*  Where the ledger gives a mean over what the tank may have held, or a
grade's own number for fuel that scatters about it, the truth lies about the written value
(Berkson).  It hardly attenuates an effect; it widens what each set may have been through.
Its standard deviation goes into the fit beside the value and is summed out there.

*What was written.*  A grade misread or noted wrongly scatters the written value about the truth
(classical), and an effect estimated on it is drawn towards none.  With a stated error of a
whole set's mean, the means of sets at one dock vary by more than the truth does; each is drawn
to its dock's by the share of that variance that is real (regression calibration: Carroll,
Ruppert, Stefanski & Crainiceanu 2006, chapter 4; Prentice 1982 for hazards), and what then
stays open is of the first kind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import FACTORS
from ringland.risk.exposure_ahead import USUAL
from ringland.settings.assumptions import Assumptions

Floats = NDArray[np.float64]


LEAST_REAL = 0.2
"""Share of the variance between sets taken as real at least: below, the error is misstated."""


@dataclass(frozen=True)
class ExposureError:
    """How each set's shortfall is believed: shifted to its dock's mean, and how open it stays.

    `shift_on` is by piston set; a set not on record is believed as written.  `real_share` is
    the share of the variance between sets at one dock that is no error.
    """

    shift_on: dict[str, float]
    real_share: float
    open_on: float

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
        spread = np.sqrt((high - low) ** 2 / 12.0 + self.open_on**2)
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
        return ExposureError({}, 1.0, possible)
    hours = pl.col("stop_h") - pl.col("start_h")
    value = pl.col("shortfall_25h_on")
    sets = (
        spells.group_by("piston_set_id", maintain_order=True)
        .agg(
            mean=(value * hours).sum() / hours.sum(),
            hours=hours.sum(),
            dock_id=pl.col("dock_id").sort_by("start_h").last(),
        )
        .sort("piston_set_id")
        .with_columns(
            dock_mean=(pl.col("mean") * pl.col("hours")).sum().over("dock_id")
            / pl.col("hours").sum().over("dock_id")
        )
    )
    away = (sets["mean"] - sets["dock_mean"]).to_numpy()
    freedom = sets.height - sets["dock_id"].n_unique()
    seen = float(away @ away) / freedom if freedom > 0 else 0.0
    real = max(1.0 - written**2 / seen, LEAST_REAL) if seen > 0 else LEAST_REAL
    shift = dict(zip(sets["piston_set_id"].to_list(), (-(1.0 - real) * away).tolist(), strict=True))
    return ExposureError(shift, real, float(np.sqrt(possible**2 + real * written**2)))
