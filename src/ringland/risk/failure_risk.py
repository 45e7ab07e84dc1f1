"""The chance that a running piston set fails soon, with its range, and what drives it.

A chance is one minus the chance of surviving the expected hours, given survival to now, as
the exposure of late gives way to the hull's usual (`exposure_ahead`).  It is averaged over
the parameter draws of the fleet's fits.  The range takes the outer quantiles over those
draws and over the best and worst fuel that the open part of the record may have been.
Other failure modes are left aside: within 30 days they hardly change the answer.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial

import numpy as np
import polars as pl

from ringland.contracts.risk_tables import HullChances, HullDrivers
from ringland.exposure.factor_registry import BOUNDS, COVARIATES, RESTS_ON
from ringland.risk.exposure_ahead import Floats, hazard_along
from ringland.risk.fleet_hazard import AGE_FACTOR, FleetFits, exposure_values, with_bound
from ringland.settings.assumptions import Assumptions

HORIZONS_D = {"7d": 7.0, "30d": 30.0}


def hull_chances(
    fits: FleetFits,
    running: pl.DataFrame,
    assumptions: Assumptions,
) -> pl.DataFrame:
    """The chance of a ring-land or ring-wear failure in 7 and in 30 days, hull by hull.

    Args:
        fits: the fleet's fits of this week.
        running: one row per hull in service, as `running_sets` returns it.
        assumptions: settings.

    Returns:
        `HullChances`, in order of hull.  A hull whose record does not carry an answer has
        nulls and the reason in `why_not`.
    """
    told = running.filter(pl.col("why_not").is_null())
    columns: dict[str, Floats] = {}
    for name, days in HORIZONS_D.items():
        hours = told["use_h_d"].to_numpy() * days
        columns[f"expected_h_{name}"] = hours
        middle, low, high = chance_with_range(fits, told, hours, assumptions)
        columns[f"chance_{name}"] = middle
        columns[f"chance_{name}_low"] = low
        columns[f"chance_{name}_high"] = high
    chances = told.select("hull_id").with_columns(
        pl.Series(name, values, dtype=pl.Float64) for name, values in columns.items()
    )
    known = ["hull_id", "dock_id", "engine_id", "piston_set_id", "age_h"]
    return HullChances.validate(
        running.select(*known, "why_not")
        .join(chances, on="hull_id", how="left")
        .select(HullChances.column_names())
        .sort("hull_id")
    )


def chance_with_range(
    fits: FleetFits, sets: pl.DataFrame, hours: Floats, assumptions: Assumptions
) -> tuple[Floats, Floats, Floats]:
    """Chance of failing within `hours`, and the ends of its range, for each running set.

    Args:
        fits: the fleet's fits.
        sets: running sets with `age_h`, the covariates and their `usual_` columns.
        hours: expected engine hours of each.
        assumptions: the share of the parameter draws the range holds, and the look-back.

    Returns:
        (middle, low, high), each of shape (number of sets,).
    """
    if sets.is_empty():
        return np.empty(0), np.empty(0), np.empty(0)
    age = sets["age_h"].to_numpy()
    tail = (1 - assumptions.number("survival.confidence")) / 2
    lows, highs = [], []
    for bound in ("as_recorded", *BOUNDS):
        draws = chances_ahead(fits, with_bound(sets, bound), age, hours, assumptions)
        if bound == "as_recorded":
            middle = draws.mean(axis=0)
        lows.append(np.quantile(draws, tail, axis=0))
        highs.append(np.quantile(draws, 1 - tail, axis=0))
    # A mean over few, skewed draws may leave its own quantiles; the range must hold it.
    return (
        middle,
        np.minimum(np.min(lows, axis=0), middle),
        np.maximum(np.max(highs, axis=0), middle),
    )


def chances_ahead(
    fits: FleetFits, sets: pl.DataFrame, age_h: Floats, hours: Floats, assumptions: Assumptions
) -> Floats:
    """The chance of each set to fail within `hours` if nothing is done, by draw.

    Returns:
        Shape (draws, rows of `sets`).
    """
    return chances_of(
        hazard_along(
            partial(cumulative_hazard, fits),
            sets,
            age_h,
            hours,
            window_h=assumptions.number("exposure.trailing_h"),
        )
    )


def cumulative_hazard(
    fits: FleetFits, start_h: Floats, stop_h: Floats, exposure: pl.DataFrame
) -> Floats:
    """H over (start_h, stop_h] with exposure held, over the modes at stake; (draws, rows)."""
    parts = [fit.cumulative_hazard(start_h, stop_h, exposure) for fit in fits.at_stake]
    return np.asarray(np.sum(parts, axis=0))


def chances_of(hazard: Floats) -> Floats:
    """The chance to fail within a cumulative hazard."""
    return np.asarray(-np.expm1(-hazard))


def hull_drivers(fits: FleetFits, running: pl.DataFrame, assumptions: Assumptions) -> pl.DataFrame:
    """Each factor's part of a hull's log hazard of ring-land fracture, against the fleet's middle.

    The hazard is that of today, with the exposure of late.

    The middle is the median over the hulls with a chance; of a yes/no factor, what most
    have.  Age enters through the Weibull shape, over the hull's next 30 days.

    Returns:
        `HullDrivers`, hull by hull, the largest part first; empty without a fit.
    """
    told = running.filter(pl.col("why_not").is_null())
    fit = fits.ring_land
    if fit.hazard is None or told.is_empty():
        return HullDrivers.create_empty()
    mean = {name: float(exposure_values(told, name).mean()) for name in COVARIATES}
    middle = {name: float(np.median(exposure_values(told, name))) for name in COVARIATES}
    hours = told["use_h_d"].to_numpy() * HORIZONS_D["30d"]
    age = told["age_h"].to_numpy()
    middle[AGE_FACTOR], middle_hours = float(np.median(age)), float(np.median(hours))
    known_enough = 1 - assumptions.number("record.assumed_beyond_share")
    parts = []
    for name in (*fit.covariates, AGE_FACTOR):
        if name == AGE_FACTOR:
            values = age
            base = _at(told.height, mean)
            here = fit.cumulative_hazard(age, age + middle_hours, base)
            there_age = np.full_like(age, middle[AGE_FACTOR])
            there = fit.cumulative_hazard(there_age, there_age + middle_hours, base)
        else:
            values = exposure_values(told, name)
            span = (np.zeros_like(age), np.ones_like(age))
            here = fit.cumulative_hazard(*span, _at(told.height, mean | {name: values}))
            there = fit.cumulative_hazard(*span, _at(told.height, mean | {name: middle[name]}))
        parts.append(
            told.select(
                "hull_id",
                factor=pl.lit(name),
                value=pl.Series(values, dtype=pl.Float64),
                fleet_middle=pl.lit(middle[name]),
                log_hazard_part=pl.Series(np.log(here / there).mean(axis=0), dtype=pl.Float64),
                is_assumed=pl.col(RESTS_ON[name]).fill_null(0) < known_enough
                if name in RESTS_ON
                else pl.lit(value=False),
            )
        )
    return HullDrivers.validate(
        pl.concat(parts).sort(
            "hull_id", pl.col("log_hazard_part").abs().neg(), "factor", descending=False
        )
    )


def _at(n_rows: int, values: Mapping[str, float | Floats]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            name: np.broadcast_to(np.asarray(values[name], dtype=float), (n_rows,))
            for name in COVARIATES
        }
    )
