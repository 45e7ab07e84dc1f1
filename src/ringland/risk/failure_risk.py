"""The chance that a running piston set fails soon, with its range, and what drives it.

A chance is one minus the chance of surviving the expected hours, given survival to now, as
the exposure of late gives way to the hull's usual (`exposure_ahead`).  It is averaged over
draws that hold what is not known: the fit's parameters, the engine's and the dock's own
hazard, what the fuel record leaves open, the hours ahead with the season's turn, and how far
the days ahead lie from the usual.  The range takes the outer quantiles over the same draws.
Other failure modes are left aside: within 30 days they hardly change the answer.
"""

from __future__ import annotations

import zlib
from collections.abc import Mapping
from functools import partial

import numpy as np
import polars as pl
from scipy import special

from ringland.contracts.risk_tables import HullChances, HullDrivers
from ringland.exposure.factor_registry import COVARIATES, FACTORS, RESTS_ON
from ringland.risk.exposure_ahead import OPEN, USUAL, Floats, hazard_along
from ringland.risk.fleet_hazard import AGE_FACTOR, FleetFits
from ringland.risk.hazard_inputs import exposure_values
from ringland.settings.assumptions import Assumptions

HORIZONS_D = {"7d": 7.0, "30d": 30.0}
SCORE_SEED = 19140631  # any fixed number: the same fits must give the same range


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
        middle, low, high = chance_with_range(fits, told, hours, assumptions, days=days)
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
    fits: FleetFits,
    sets: pl.DataFrame,
    hours: Floats,
    assumptions: Assumptions,
    *,
    days: float | None = None,
) -> tuple[Floats, Floats, Floats]:
    """Chance of failing within `hours`, and the ends of its range, for each running set.

    Args:
        fits: the fleet's fits.
        sets: running sets with `age_h`, the covariates and their `usual_` columns, and, where
            known, the `open_usual_` ones, `use_sd_log` and `turn_sd_log`.
        hours: expected engine hours of each.
        assumptions: the share of the draws the range holds, and the look-back.
        days: over which the hours are expected; None: the hours are given, not expected.

    Returns:
        (middle, low, high), each of shape (number of sets,).
    """
    if sets.is_empty():
        return np.empty(0), np.empty(0), np.empty(0)
    tail = (1 - assumptions.number("survival.confidence")) / 2
    draws = chances_of(hazards_shown(fits, sets, hours, assumptions, days=days))
    middle = draws.mean(axis=0)
    low, high = np.quantile(draws, [tail, 1 - tail], axis=0)
    # A mean over few, skewed draws may leave its own quantiles; the range must hold it.
    return middle, np.minimum(low, middle), np.maximum(high, middle)


def hazards_shown(
    fits: FleetFits,
    sets: pl.DataFrame,
    hours: Floats,
    assumptions: Assumptions,
    *,
    days: float | None = None,
) -> Floats:
    """Cumulative hazard over the hours ahead by draw, with all that the range holds.

    Beside the fit's own draws (parameters, engine, dock, open fuel record) each draw has a
    season's turn, hours and a usual exposure of its own.  The turn is one for all hulls, with
    `turn_sd_log` (`rest_turn_sd_log` beyond 30 days); what is left of `use_sd_log` is each
    hull's own, over a shorter time than 30 days the more.  Both are log-normal about the hours
    expected; the hazard is taken in proportion to them.  The usual of each covariate scatters
    by its `open_usual_` column; what that does to the log hazard is taken as straight in it.

    Returns:
        Shape (draws, rows of `sets`).
    """
    ahead = partial(_hazard_ahead, fits, hours=hours, assumptions=assumptions)
    found = ahead(sets)
    if days is None:
        return found
    turn, *usual = _scores(len(found), 1 + len(FACTORS))
    shared, own = _hours_spread(sets, days)
    log_shift = turn[:, None] * shared + _own_scores(len(found), sets) * own
    log_shift -= (shared**2 + own**2) / 2
    for score, name in zip(usual, FACTORS, strict=True):
        if OPEN + name not in sets.columns or not sets[OPEN + name].sum():
            continue
        off = pl.col(OPEN + name).fill_null(0.0)
        there = ahead(sets.with_columns(pl.col(USUAL + name) + off))
        by = log_ratio(there, found)
        log_shift += score[:, None] * by - by**2 / 2
    return np.asarray(found * np.exp(log_shift))


def log_ratio(there: Floats, here: Floats) -> Floats:
    """Log of one hazard over another; 0 where either is none, or a rounding below it.

    A new set's hazard of a few hours is 1e-24 in a steep draw, and a difference of sums may fall
    on either side of that.
    """
    both = (there > 0) & (here > 0)
    return np.asarray(np.log(np.divide(there, here, out=np.ones_like(here), where=both)))


def _scores(n_draws: int, n: int) -> Floats:
    """Standard normal scores by draw, each source's in an order of its own; shape (n, draws)."""
    even = special.ndtri((np.arange(n_draws) + 0.5) / n_draws)
    rng = np.random.default_rng(SCORE_SEED)
    return np.stack([rng.permutation(even) for _ in range(n)])


def _hours_spread(sets: pl.DataFrame, days: float) -> tuple[Floats, Floats]:
    """Spread of the log of hours ahead that all hulls share, and that is each hull's own."""

    def spread(name: str) -> Floats:
        column = sets[name].fill_null(0.0) if name in sets.columns else np.zeros(sets.height)
        return np.asarray(column, dtype=np.float64)

    shared, of_use = spread("turn_sd_log"), spread("use_sd_log")
    own = np.sqrt(np.maximum(of_use**2 - shared**2, 0.0)) * (HORIZONS_D["30d"] / days) ** 0.25
    is_beyond = days > HORIZONS_D["30d"] and "rest_turn_sd_log" in sets.columns
    return (spread("rest_turn_sd_log") if is_beyond else shared), own


def _own_scores(n_draws: int, sets: pl.DataFrame) -> Floats:
    """Standard normal scores of each hull's own, whichever hulls stand beside it."""
    even = special.ndtri((np.arange(n_draws) + 0.5) / n_draws)
    hulls = (zlib.crc32(str(hull).encode()) for hull in sets["hull_id"])
    return np.stack(
        [np.random.default_rng([SCORE_SEED, hull]).permutation(even) for hull in hulls], axis=1
    )


def _hazard_ahead(
    fits: FleetFits, sets: pl.DataFrame, *, hours: Floats, assumptions: Assumptions
) -> Floats:
    return hazard_along(
        partial(cumulative_hazard, fits),
        sets,
        sets["age_h"].to_numpy(),
        hours,
        window_h=assumptions.number("exposure.trailing_h"),
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


AN_AGE_H = 100.0
"""An age at which every draw has some hazard; a factor's ratio is the same at any."""
NO_HAZARD = 1e-12
"""Hazard of a stretch below which a draw of a steep baseline is not told from none."""


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
    # out of season nobody runs: an hour then stands for the month
    middle[AGE_FACTOR], middle_hours = float(np.median(age)), max(1.0, float(np.median(hours)))
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
            span = (np.full_like(age, AN_AGE_H), np.full_like(age, AN_AGE_H + 1.0))
            here = fit.cumulative_hazard(*span, _at(told.height, mean | {name: values}))
            there = fit.cumulative_hazard(*span, _at(told.height, mean | {name: middle[name]}))
        parts.append(
            told.select(
                "hull_id",
                factor=pl.lit(name),
                value=pl.Series(values, dtype=pl.Float64),
                fleet_middle=pl.lit(middle[name]),
                log_hazard_part=pl.Series(_log_ratio(here, there), dtype=pl.Float64),
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


def _log_ratio(here: Floats, there: Floats) -> Floats:
    """Mean over the draws of the log ratio; a hazard below `NO_HAZARD` is not told from it."""
    least = (np.maximum(hazard, NO_HAZARD) for hazard in (here, there))
    return np.asarray(np.log(np.divide(*least)).mean(axis=0))


def _at(n_rows: int, values: Mapping[str, float | Floats]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            name: np.broadcast_to(np.asarray(values[name], dtype=float), (n_rows,))
            for name in COVARIATES
        }
    )
