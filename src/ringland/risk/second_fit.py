"""The evidence worked out a second time, by a library that shares no code with ours.

lifelines refits, each week, the Cox regression of ring-land fracture and the Kaplan-Meier curve of
the same spells.  What is compared is what that library does rightly with late entry: coefficients
and their plain standard errors by its time-varying fitter, and the product limit.  Its baseline
with late entry is not (see the fits' own tests), so no chance is held against it.
"""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.risk.fleet_hazard import FleetFits
from ringland.risk.hazard_inputs import covariate_matrix
from ringland.settings.assumptions import Assumptions
from ringland.survival.cox.cox_fit import CoxFit
from ringland.survival.lives.life_data import LifeDataError
from ringland.survival.lives.life_tables import kaplan_meier

LIBRARY_SETTLES = 1e-12
"""Its default stops up to 5e-5 off."""

SCHEMA = {
    "quantity": pl.String,
    "ours": pl.Float64,
    "second": pl.Float64,
    "apart": pl.Float64,
    "tolerance": pl.Float64,
}


@dataclass(frozen=True)
class SecondFit:
    """Ours and the library's figures side by side, or why there is no second fit.

    `rows` has one row per quantity: quantity, ours, second, apart and tolerance.  `apart` is the
    distance in standard errors for a coefficient, in share of sets for the curve (the largest at
    any age, of which `ours` and `second` are the values).
    """

    rows: pl.DataFrame
    problem: str | None

    @property
    def differs(self) -> tuple[str, ...]:
        """The quantities on which the two are further apart than the tolerance."""
        beyond = ~(pl.col("apart") <= pl.col("tolerance"))  # nan is beyond too
        return tuple(self.rows.filter(beyond)["quantity"])


def second_fit(spells: pl.DataFrame, fits: FleetFits, assumptions: Assumptions) -> SecondFit:
    """The Cox coefficients and the survival curve of ring-land fracture by both programs.

    Args:
        spells: `Spells` the fits were made from.
        fits: as `fit_fleet` returns them.
        assumptions: settings; the tolerances.
    """
    spells = fits.error.believed(spells)  # as the Cox fit took them
    mode = fits.ring_land.mode
    failed = (spells["mode"] == mode).fill_null(False).to_numpy()
    rows: list[dict[str, object]] = []
    problem = fits.cox.problem
    tolerance = assumptions.number("model.second_fit_curve")
    if spells.height:
        try:
            rows.append(_curve(spells, failed) | {"tolerance": tolerance})
        except LifeDataError as error:
            problem = str(error)
    if fits.cox.fit is not None:
        tolerance = assumptions.number("model.second_fit_errors")
        try:
            found = _cox(spells, failed, fits.cox.fit)
            rows += [row | {"tolerance": tolerance} for row in found]
        except _LibraryError as error:
            problem = str(error)
    return SecondFit(pl.DataFrame(rows, schema=SCHEMA), problem)


class _LibraryError(RuntimeError):
    """The library has no answer where ours has."""


def _curve(spells: pl.DataFrame, failed: np.ndarray) -> dict[str, object]:
    """The survival curve by both, at the age where they are furthest apart."""
    from lifelines import KaplanMeierFitter  # noqa: PLC0415 (heavy)

    start, stop = (spells[name].to_numpy() for name in ("start_h", "stop_h"))
    ours = kaplan_meier(stop, failed, entry=start)
    if ours.time.size == 0:
        raise LifeDataError("no failure on record, so no curve to compare")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns of thin early risk sets; so do our own checks
        other = KaplanMeierFitter().fit(stop, failed, entry=start)
    theirs = other.survival_function_at_times(ours.time).to_numpy()
    worst = int(np.argmax(np.abs(theirs - ours.estimate)))
    return {
        "quantity": "survival",
        "ours": float(ours.estimate[worst]),
        "second": float(theirs[worst]),
        "apart": float(abs(theirs[worst] - ours.estimate[worst])),
    }


def _cox(spells: pl.DataFrame, failed: np.ndarray, fit: CoxFit) -> list[dict[str, object]]:
    import pandas as pd  # noqa: PLC0415 (heavy)
    from lifelines import CoxTimeVaryingFitter  # noqa: PLC0415 (heavy)
    from lifelines.exceptions import ConvergenceError  # noqa: PLC0415

    names = list(fit.names)
    frame = pl.DataFrame(covariate_matrix(spells, names), schema=names, orient="row").with_columns(
        unit=pl.Series(np.arange(spells.height)),
        start=spells["start_h"],
        stop=spells["stop_h"],
        failed=pl.Series(failed),
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of variance and of separation, which ours reports
        try:
            other = CoxTimeVaryingFitter().fit(
                pd.DataFrame(frame.to_dict(as_series=False)),
                id_col="unit",
                event_col="failed",
                start_col="start",
                stop_col="stop",
                fit_options={"precision": LIBRARY_SETTLES},
            )
        except (ConvergenceError, np.linalg.LinAlgError) as error:
            raise _LibraryError(f"The second program has no estimate: {error}") from error
    return [
        {
            "quantity": name,
            "ours": float(ours),
            "second": float(other.params_[name]),
            "apart": abs(float(other.params_[name]) - float(ours))
            / float(other.standard_errors_[name]),
        }
        for name, ours in zip(names, fit.coef, strict=True)
    ]
