"""The evidence behind the chances, as frames: curves, numbers at risk, effects, counts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from ringland.exposure.factor_registry import COVARIATES
from ringland.risk.fleet_hazard import MODES_AT_STAKE, FleetFits
from ringland.risk.second_fit import SecondFit, second_fit
from ringland.risk.shared_effects import SharedEffects
from ringland.settings.assumptions import Assumptions
from ringland.survival.estimates import normal_deviate
from ringland.survival.lives.competing_risks import aalen_johansen
from ringland.survival.lives.life_data import LifeDataError, PistonLifeColumns, piston_life_columns
from ringland.survival.lives.life_limits import B10, SCALE, SHAPE, profile_limits
from ringland.survival.lives.life_tables import kaplan_meier
from ringland.survival.lives.parametric_life import (
    FEW_FAILURES,
    LifeFit,
    NoFiniteFitError,
    fit_life,
)
from ringland.survival.lives.probability_plot import ProbabilityPlot, probability_plot
from ringland.words.fixed_words import COX_MODEL, PRIOR_MODEL, UNAIDED_MODEL

MOST_TICKS = 6
"""Ages, beside 0 h, at which the numbers at risk are printed under a curve."""

SMOOTH_POINTS = 60


@dataclass(frozen=True)
class LifeCurve:
    """How long piston sets last towards one mode.

    `steps` holds at_h, estimate, low, high from 0 h; `at_risk` at_h, at_risk and failed, the
    failures up to then; `smooth`
    at_h, estimate of the Weibull; `weibull` quantity, value, low, high (profile limits).
    `problem` says why there is no curve, `weibull_problem` why no Weibull.
    """

    mode: str
    n_failures: int
    n_sets: int
    steps: pl.DataFrame
    at_risk: pl.DataFrame
    smooth: pl.DataFrame
    weibull: pl.DataFrame
    problem: str | None
    weibull_problem: str | None
    warnings: tuple[str, ...]
    is_doubtful: bool
    plot: ProbabilityPlot | None
    """None where no Weibull was fitted, or too few failed."""


@dataclass(frozen=True)
class FleetEvidence:
    """Curves by mode, cumulative incidence (mode, at_h, estimate, low, high), effects, counts.

    `effects` holds model, factor, step, hazard_ratio, low, high, prior_share (null where no
    prior is used), n_failures.  `mode_counts` holds mode, n_failures.
    """

    curves: tuple[LifeCurve, ...]
    incidence: pl.DataFrame
    incidence_problem: str | None
    effects: pl.DataFrame
    mode_counts: pl.DataFrame
    n_sets: int
    n_running: int
    n_without_hours: int
    second: SecondFit
    shared: SharedEffects | None = None
    """What others share with this home, and the fit took as its prior; None: nothing."""


def fleet_evidence(
    lives: pl.DataFrame,
    spells: pl.DataFrame,
    fits: FleetFits,
    assumptions: Assumptions,
    shared: SharedEffects | None = None,
) -> FleetEvidence:
    """The evidence from piston lives and from this week's fits.

    Args:
        lives: `PistonLives` as known at the report's instant.
        spells: `Spells` the fits were made from.
        fits: as `fit_fleet` returns them.
        assumptions: settings.
        shared: what others share and the fits began from; None: nothing.
    """
    columns = piston_life_columns(lives)
    incidence, problem = _incidence(columns)
    counts = (
        lives.filter(pl.col("mode").is_not_null())
        .group_by("mode", maintain_order=True)
        .agg(n_failures=pl.len().cast(pl.Int64))
        .sort("n_failures", "mode", descending=[True, False])
    )
    return FleetEvidence(
        curves=tuple(life_curve(columns, mode) for mode in MODES_AT_STAKE),
        incidence=incidence,
        incidence_problem=problem,
        effects=hazard_effects(fits, assumptions),
        mode_counts=counts,
        n_sets=lives.height,
        n_running=lives.filter(pl.col("state") == "running").height,
        n_without_hours=columns.n_without_hours,
        second=second_fit(spells, fits, assumptions),
        shared=shared,
    )


def life_curve(columns: PistonLifeColumns, mode: str) -> LifeCurve:
    """Kaplan-Meier and Weibull towards one mode, each with what stands in its way if anything."""
    is_mode = np.array([cause == mode for cause in columns.cause], dtype=bool)
    steps = pl.DataFrame(schema=dict.fromkeys(("at_h", "estimate", "low", "high"), pl.Float64))
    at_risk = pl.DataFrame(schema={"at_h": pl.Float64, "at_risk": pl.Float64, "failed": pl.Int64})
    problem: str | None = None
    warnings: tuple[str, ...] = ()
    try:
        table = kaplan_meier(columns.exit, is_mode, entry=columns.entry)
        steps = pl.DataFrame(
            {
                "at_h": np.concatenate(([0.0], table.time)),
                "estimate": np.concatenate(([1.0], table.estimate)),
                "low": np.concatenate(([1.0], table.low)),
                "high": np.concatenate(([1.0], table.high)),
            }
        )
        ticks = round_ages(float(columns.exit.max()))
        at_risk = pl.DataFrame(
            {
                "at_h": ticks,
                "at_risk": [_at_risk(columns, tick) for tick in ticks],
                "failed": [int((is_mode & (columns.exit <= tick)).sum()) for tick in ticks],
            }
        )
        warnings = table.warnings
    except LifeDataError as error:
        problem = str(error)
    fit, weibull_problem = _weibull(columns, mode) if problem is None else (None, problem)
    # a straight line through one or two failures would look like evidence
    is_enough = is_mode.sum() >= FEW_FAILURES
    return LifeCurve(
        mode=mode,
        n_failures=int(is_mode.sum()),
        n_sets=len(columns.cause),
        steps=steps,
        at_risk=at_risk,
        smooth=_smooth(fit, columns),
        weibull=_weibull_rows(fit),
        problem=problem,
        weibull_problem=weibull_problem,
        warnings=warnings,
        is_doubtful=is_mode.sum() < FEW_FAILURES,
        plot=probability_plot(columns.of_mode(mode), fit) if fit and is_enough else None,
    )


def round_ages(longest_h: float) -> list[float]:
    """Zero and round ages up to the longest life, as an axis would name them."""
    steps = (step * 10.0**power for power in range(6) for step in (1, 2, 5))
    step = next(step for step in steps if longest_h / step <= MOST_TICKS)
    return [step * place for place in range(int(longest_h // step) + 1)]


def hazard_effects(fits: FleetFits, assumptions: Assumptions) -> pl.DataFrame:
    """Hazard ratios per step of ring-land fracture: with priors, without, and by Cox."""
    confidence = assumptions.number("survival.confidence")
    fit = fits.ring_land
    rows = []
    if fit.hazard is not None:
        for effect in fit.effects(confidence):
            common = {"factor": effect.name, "step": effect.step, "n_failures": fit.n_failures}
            rows.append(
                common
                | {
                    "model": PRIOR_MODEL,
                    "hazard_ratio": effect.hazard_ratio,
                    "low": effect.low,
                    "high": effect.high,
                    "prior_share": effect.prior_share,
                }
            )
            if effect.unaided_ratio is not None and effect.unaided_log_error is not None:
                half = normal_deviate(confidence) * effect.unaided_log_error
                rows.append(
                    common
                    | {
                        "model": UNAIDED_MODEL,
                        "hazard_ratio": effect.unaided_ratio,
                        "low": effect.unaided_ratio * float(np.exp(-half)),
                        "high": effect.unaided_ratio * float(np.exp(half)),
                    }
                )
    if fits.cox.fit is not None:
        limits = fits.cox.fit.limits(confidence)
        for name, coef, (low, high) in zip(
            fits.cox.fit.names, fits.cox.fit.coef, limits, strict=True
        ):
            step = assumptions.number(f"step.{name}")
            rows.append(
                {
                    "factor": name,
                    "step": step,
                    "n_failures": fits.cox.fit.n_events,
                    "model": COX_MODEL,
                    "hazard_ratio": float(np.exp(coef * step)),
                    "low": float(np.exp(low * step)),
                    "high": float(np.exp(high * step)),
                }
            )
    frame = pl.DataFrame(
        rows,
        schema={
            "model": pl.String,
            "factor": pl.String,
            "step": pl.Float64,
            "hazard_ratio": pl.Float64,
            "low": pl.Float64,
            "high": pl.Float64,
            "prior_share": pl.Float64,
            "n_failures": pl.Int64,
        },
    )
    models = (PRIOR_MODEL, UNAIDED_MODEL, COX_MODEL)
    return frame.sort(
        pl.col("factor").replace_strict({name: i for i, name in enumerate(COVARIATES)}),
        pl.col("model").replace_strict({name: i for i, name in enumerate(models)}),
    )


def _incidence(columns: PistonLifeColumns) -> tuple[pl.DataFrame, str | None]:
    schema = {"mode": pl.String} | dict.fromkeys(("at_h", "estimate", "low", "high"), pl.Float64)
    try:
        found = aalen_johansen(
            columns.exit, columns.cause, entry=columns.entry, cluster=columns.hull_id
        )
    except LifeDataError as error:
        return pl.DataFrame(schema=schema), str(error)
    parts = [
        pl.DataFrame(
            {
                "at_h": np.concatenate(([0.0], found.time)),
                "estimate": np.concatenate(([0.0], found.incidence[row])),
                "low": np.concatenate(([0.0], found.low[row])),
                "high": np.concatenate(([0.0], found.high[row])),
            }
        ).with_columns(mode=pl.lit(cause))
        for row, cause in enumerate(found.causes)
        if cause != "removed"
    ]
    return pl.concat(
        [pl.DataFrame(schema=schema), *(part.select(list(schema)) for part in parts)]
    ), None


def _at_risk(columns: PistonLifeColumns, age: float) -> float:
    """Sets under observation just after `age`."""
    return float(((columns.entry <= age) & (columns.exit > age)).sum())


def _weibull(columns: PistonLifeColumns, mode: str) -> tuple[LifeFit | None, str | None]:
    try:
        return fit_life(columns.of_mode(mode)), None
    except (NoFiniteFitError, LifeDataError) as error:
        return None, str(error)


def _smooth(fit: LifeFit | None, columns: PistonLifeColumns) -> pl.DataFrame:
    if fit is None:
        return pl.DataFrame(schema={"at_h": pl.Float64, "estimate": pl.Float64})
    hours = np.linspace(0, columns.exit.max(), SMOOTH_POINTS)
    return pl.DataFrame({"at_h": hours.round(2), "estimate": fit.survival(hours)})


def _weibull_rows(fit: LifeFit | None) -> pl.DataFrame:
    schema = {"quantity": pl.String} | dict.fromkeys(("value", "low", "high"), pl.Float64)
    if fit is None:
        return pl.DataFrame(schema=schema)
    rows = []
    for name, quantity in (("shape", SHAPE), ("scale", SCALE), ("b10", B10)):
        found = profile_limits(fit, quantity)
        rows.append((name, found.value, found.low, found.high))
    return pl.DataFrame(rows, schema=schema, orient="row")
