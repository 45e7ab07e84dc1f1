"""The challenger: hazard per engine hour by gradient-boosted trees on the same spells.

A spell's failures over its hours are regressed with Poisson loss, hours as weights: the
piecewise-exponential likelihood (Friedman 1982, Annals of Statistics 10:101-113), here with
trees for the log rate.  It sees the champion's covariates, the set's age and two more of
the record; it gives no range.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.hazard_inputs import covariate_matrix
from ringland.settings.assumptions import Assumptions

FEATURES = (*COVARIATES, "share_over_28d_25h", "shortfall_life_onh")
SEED = 0  # fixes the order in which ties between splits are broken; the fit draws nothing else

Floats = NDArray[np.float64]


class BoostingError(ValueError):
    """The record cannot carry a boosted hazard; the message says why."""


@dataclass(frozen=True)
class BoostedHazard:
    """A fitted challenger."""

    model: Any
    n_failures: int

    def rate(self, middle_h: Floats, exposure: pl.DataFrame) -> Floats:
        """Failures per engine hour at a set age, with exposure held; shape (rows,)."""
        return np.asarray(self.model.predict(_design(middle_h, exposure)))

    def cumulative_hazard(self, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame) -> Floats:
        """Hazard summed over (start_h, stop_h], the rate taken at the middle; shape (rows,)."""
        return self.rate((start_h + stop_h) / 2, exposure) * (stop_h - start_h)


def fit_boosted_hazard(spells: pl.DataFrame, mode: str, assumptions: Assumptions) -> BoostedHazard:
    """The challenger fitted to one failure mode.

    Args:
        spells: `Spells`, a row per interval.
        mode: the failure mode, e.g. 'ring_land_fracture'.
        assumptions: settings of the group `challenger`.

    Raises:
        BoostingError: no failure of the mode, or no running time.
    """
    from sklearn.ensemble import HistGradientBoostingRegressor  # noqa: PLC0415 (takes a second)

    hours = (spells["stop_h"] - spells["start_h"]).to_numpy()
    event = (spells["mode"] == mode).fill_null(False).to_numpy().astype(float)
    if event.sum() == 0:
        raise BoostingError(f"no {mode} on record: trees have nothing to learn a rate from.")
    middle = (spells["start_h"] + spells["stop_h"]).to_numpy() / 2
    model = HistGradientBoostingRegressor(
        loss="poisson",
        learning_rate=assumptions.number("challenger.learning_rate"),
        max_iter=int(assumptions.number("challenger.trees")),
        max_leaf_nodes=int(assumptions.number("challenger.leaves")),
        min_samples_leaf=int(assumptions.number("challenger.least_spells_a_leaf")),
        l2_regularization=assumptions.number("challenger.l2"),
        early_stopping=False,
        random_state=SEED,
    )
    model.fit(_design(middle, spells), event / hours, sample_weight=hours)
    return BoostedHazard(model, int(event.sum()))


def _design(middle_h: Floats, exposure: pl.DataFrame) -> Floats:
    return np.column_stack([covariate_matrix(exposure, FEATURES), middle_h])
